"""The netlists beside a report: every scene at nominal and where each judged measure is worst."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analog.engine import netlist
from analog.workflows import Case, Checked, CheckedBench, CheckedScene


@dataclass(frozen=True, slots=True)
class Deck:
    """A netlist file: its name, what it is in words, its text."""

    name: str
    title: str
    text: str


def netlists(checked: Checked) -> tuple[Deck, ...]:
    """Return the netlists of all benches, measures that are worst at the same point sharing one."""
    return tuple(deck for bench in checked.benches for deck in _of_bench(bench))


def nominal_decks(bench: CheckedBench) -> tuple[Deck, ...]:
    """Return the netlist of every scene of a bench at nominal."""
    return tuple(
        _deck(bench, scene.nominal, _nominal_name(bench, scene), "nominal")
        for scene in bench.scenes
    )


def _nominal_name(bench: CheckedBench, scene: CheckedScene) -> str:
    return f"{bench.plan.bench}-{scene.scene.identifier}-nominal"


def _of_bench(bench: CheckedBench) -> Iterator[Deck]:
    judged = {row.measure for row in bench.result.measures if row.limit is not None}
    for scene in (*bench.scenes, *bench.trials):
        name = f"{bench.plan.bench}-{scene.scene.identifier}"
        # Of what was only tried, the worst of judged measures is enough.
        if scene in bench.scenes:
            yield _deck(bench, scene.nominal, f"{name}-nominal", "nominal")
        groups: dict[tuple[tuple[str, float], ...], list[str]] = {}
        for measure, case in bench.worst.items():
            if case.scene == scene.scene.identifier and measure in judged and not case.failed:
                groups.setdefault(tuple(case.row.items()), []).append(measure)
        for row, measures in groups.items():
            if row != tuple(scene.nominal.row.items()):
                words = ", ".join(measure.replace("_", " ") for measure in measures)
                case = bench.worst[measures[0]]
                yield _deck(bench, case, f"{name}-worst-{measures[0]}", f"worst case of {words}")


def _deck(bench: CheckedBench, case: Case, name: str, words: str) -> Deck:
    scene = bench.scene(case.scene).scene
    title = f"{bench.plan.title}, {scene.title}: {words}"
    return Deck(f"{name}.cir", title, netlist(scene.experiment, dict(case.row), title))
