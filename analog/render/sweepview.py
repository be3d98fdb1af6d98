"""What the report shows of a sweep that was made of the same design by the same programs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from analog.design import Design
from analog.render.histogram import histogram
from analog.render.sweepwords import (
    capability_words,
    driver_sentence,
    notes_of,
    percentile_words,
    rare_words,
    yield_words,
)
from analog.results import Results, ResultsError, read_results
from analog.results.records import MeasureRow
from analog.verdicts import Verdict


@dataclass(frozen=True, slots=True)
class SweptLine:
    """One measure against one limit, over boards."""

    bench: str
    row: MeasureRow
    picture: str
    percentiles: str
    capability: str
    drivers: str
    rare: str
    yields: str


@dataclass(frozen=True, slots=True)
class SweepView:
    """A sweep's section of the report; `yields` are (what, verdict, sentence)."""

    verdict: Verdict | None
    yields: tuple[tuple[str, Verdict | None, str], ...]
    lines: tuple[SweptLine, ...]
    notes: tuple[str, ...]
    samples: bool


def stored_sweep(folder: Path, now: Results) -> Results | None:
    """Return the sweep kept in a report folder.

    None when there is none, or when its design, its package or its engine was another.
    """
    try:
        found = read_results(folder / "sweep.json")
    except ResultsError:
        return None
    same = (
        found.design.sha256 == now.design.sha256
        and found.package_version == now.package_version
        and found.engine == now.engine
    )
    return found if same else None


def sweep_view(found: Results, design: Design, folder: Path) -> SweepView:
    """Return the section of a stored sweep; `folder` may hold its samples."""
    yields = [("whole design, all benches jointly", found.verdict, found.yield_)]
    yields += [(bench.bench, bench.verdict, bench.yield_) for bench in found.benches]
    return SweepView(
        found.verdict,
        tuple((name, verdict, yield_words(own)) for name, verdict, own in yields if own),
        tuple(_lines(found, design)),
        notes_of(found),
        (folder / "samples.csv").is_file(),
    )


def _lines(found: Results, design: Design) -> Iterator[SweptLine]:
    for bench in found.benches:
        for row in bench.measures:
            yield SweptLine(
                bench.bench,
                row,
                histogram(row),
                percentile_words(row),
                capability_words(row),
                driver_sentence(row, design),
                "" if row.rare is None else rare_words(row.rare),
                "" if row.yield_ is None else yield_words(row.yield_),
            )
