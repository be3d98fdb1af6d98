"""The report page of one design: gathers what it shows and fills the template."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from analog.engine import Engine
from analog.render.benchview import BenchView, bench_view, title_of
from analog.render.chain import Marked, draw_chain
from analog.render.changes import comparison
from analog.render.drivers import Driver, drivers
from analog.render.form import form
from analog.render.safety import CAUTIONS, SUMMARY
from analog.render.suggestview import Suggestions
from analog.render.sweepview import sweep_view
from analog.render.template import render
from analog.render.words import SYMBOLS, expectation_sentence, judged, verdict_sentence
from analog.results.records import MeasureRow, Results
from analog.workflows import Checked, CheckedBench

_THINNEST = 3

# What enters and what leaves a bench, for the overview.
_PATHS = {
    "line_sense": "mains → sense pin",
    "conditioner": "sense pin → clock",
    "reset": "rail → reset pin",
    "gate_drive": "latch → load",
    "supply": "mains → rail",
}


@dataclass(frozen=True, slots=True)
class Margin:
    """One judged limit, in the order of thinness; `drivers` only for the first few."""

    bench: str
    bench_title: str
    title: str
    row: MeasureRow
    drivers: tuple[Driver, ...] = ()


@dataclass(frozen=True, slots=True)
class Link:
    """A file beside the page."""

    path: str
    title: str


def report_page(
    checked: Checked,
    engine: Engine,
    date: str,
    beside: tuple[Link, ...],
    baseline: Results | None = None,
    sweep: Results | None = None,
    suggested: Suggestions | None = None,
    folder: Path = Path(),
) -> str:
    """Return the page as HTML; simulates the drawn cases and what sets the thinnest margins.

    With an accepted `baseline` it says what changed since, with a `sweep` of the design how
    boards at random come out (its samples may lie in `folder`), with `suggested` what would mend
    the design.
    """
    margins = _margins(checked, engine)
    benches = [bench_view(bench, checked.design, engine) for bench in checked.benches]
    return render(
        "report.html",
        form=form(checked, baseline, sweep, suggested),
        results=checked.results,
        design=checked.design,
        verdict=verdict_sentence(checked.results),
        expectation=expectation_sentence(checked.results),
        margins=margins,
        thinnest=margins[:_THINNEST],
        chain=_chain(benches, margins),
        chain_picture=draw_chain(checked.design, _marked(checked)),
        benches=benches,
        lost=_lost(checked),
        sweep=None if sweep is None else sweep_view(sweep, checked.design, folder),
        suggested=suggested,
        retried=sum(scene.retried for bench in checked.benches for scene in bench.scenes),
        summary_caution=SUMMARY,
        cautions=CAUTIONS,
        date=date,
        beside=beside,
        engine_note=engine.note,
        fine=sorted(checked.fine, key=lambda row: -abs(row.share or 0.0)),
        fine_most=max((abs(row.share or 0.0) for row in checked.fine), default=0.0),
        changes=None if baseline is None else comparison(baseline, checked.results),
    )


def _margins(checked: Checked, engine: Engine) -> list[Margin]:
    found = []
    for number, (result, row) in enumerate(judged(checked.results)):
        bench = checked.bench(result.bench)
        what = _drivers(bench, row, engine) if number < _THINNEST else ()
        title = title_of(bench.plan, row.measure)
        found.append(Margin(bench.plan.bench, bench.plan.title, title, row, what))
    return found


def _drivers(bench: CheckedBench, row: MeasureRow, engine: Engine) -> tuple[Driver, ...]:
    worst = bench.worst.get(row.measure)
    if worst is None:
        return ()
    return drivers(row, bench.scene(worst.scene).scene, engine)


@dataclass(frozen=True, slots=True)
class Station:
    """A bench in the chain from mains to load, with its thinnest margin."""

    view: BenchView
    path: str
    thinnest: Margin | None


def _chain(benches: list[BenchView], margins: list[Margin]) -> list[Station]:
    """Return the benches in signal order, each with its thinnest margin."""
    first: dict[str, Margin] = {}
    for margin in margins:
        first.setdefault(margin.bench, margin)
    return [
        Station(view, _PATHS.get(view.identifier, ""), first.get(view.identifier))
        for view in benches
    ]


def _marked(checked: Checked) -> dict[str, Marked]:
    """Return how each bench is marked in the picture of the chain."""
    return {
        bench.plan.bench: Marked(
            f"{SYMBOLS[bench.result.verdict]} {bench.plan.title}", bench.result.verdict or "none"
        )
        for bench in checked.benches
    }


@dataclass(frozen=True, slots=True)
class Lost:
    """Runs of one bench and scene that gave no data for one reason."""

    bench: str
    scene: str
    kind: str
    reason: str
    count: int
    netlist: str


def _lost(checked: Checked) -> list[Lost]:
    """Return the failed runs, alike ones counted together with the first one's netlist."""
    groups: dict[tuple[str, str, str, str], list[str]] = {}
    for bench in checked.benches:
        for scene in bench.scenes:
            for failed in scene.failed:
                key = (bench.plan.title, scene.scene.title, failed.kind, failed.reason)
                groups.setdefault(key, []).append(failed.netlist)
    return [Lost(*key, len(texts), texts[0]) for key, texts in groups.items()]


def overview_page(several: list[tuple[str, Results]], date: str) -> str:
    """Return the index page over several designs: (link, results) each."""
    rows = [(link, results, judged(results)[:1]) for link, results in several]
    return render(
        "index.html",
        form=form(),
        rows=rows,
        sentence=verdict_sentence,
        expectation=expectation_sentence,
        summary_caution=SUMMARY,
        date=date,
    )
