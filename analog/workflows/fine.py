"""The finer run: nominal and worst cases again with a tenth of the step and tighter tolerance."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from analog.benches.base import Measure
from analog.engine import Engine, refined
from analog.workflows.checked import Case, CheckedBench, FineRow
from analog.workflows.scenes import rerun


def fine_rows(benches: Sequence[CheckedBench], engine: Engine) -> tuple[FineRow, ...]:
    """Return nominal and worst of every measure of every scene, as checked and finer."""
    return tuple(row for bench in benches for row in _bench_rows(bench, engine))


def _bench_rows(bench: CheckedBench, engine: Engine) -> Iterator[FineRow]:
    measures = {measure.identifier: measure for measure in bench.plan.measures}
    for scene in bench.scenes:
        experiment = refined(scene.scene.experiment)
        known: dict[tuple[float, ...], Case] = {}
        for name in scene.scene.measures:
            cases = {"nominal": scene.nominal, f"worst:{name}": bench.worst.get(name)}
            for label, own in cases.items():
                if own is None or own.scene != scene.scene.identifier or own.failed:
                    continue
                key = tuple(own.row.values())
                if key not in known:
                    known[key] = rerun(engine, experiment, own)
                yield _row(bench.plan.bench, measures[name], label, own, known[key])


def _row(bench: str, measure: Measure, label: str, checked: Case, finer: Case) -> FineRow:
    name = measure.identifier
    value, fine = _number(checked, name), _number(finer, name)
    difference = fine - value if value is not None and fine is not None else None
    share = None if difference is None else difference / measure.scale
    return FineRow(bench, name, measure.unit, label, value, fine, difference, share)


def _number(of: Case, measure: str) -> float | None:
    value = of.values[measure]
    return None if of.failed or math.isnan(value) else value
