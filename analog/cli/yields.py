"""A swept design as a person reads it at the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analog.cli.display import Column, note, say, show_table
from analog.cli.verdicts import explain

if TYPE_CHECKING:
    from analog.results.records import BenchResult, MeasureRow
    from analog.workflows.sweep import Forecast, Swept

LONG_S = 20.0
"""A sweep that takes longer is announced."""

_COLUMNS = (
    Column("measure"),
    Column("median", right=True),
    Column("worst board", right=True),
    Column("limit"),
    Column("capability"),
    Column("verdict"),
)

_SENTENCES = 5
"""Measures of which the terminal says what drives them: those with the least capability."""


def show_forecast(name: str, found: Forecast, jobs: int) -> None:
    """Say what a long sweep will cost, on standard error."""
    soon_s, most_s = (runs * found.seconds_each / jobs for runs in (found.soonest, found.most))
    if most_s >= LONG_S:
        note(
            f"{name}: {found.scenes} circuits a board; {found.soonest} simulations, about "
            f"{_duration(soon_s)}, if the claim is proved at the first chance, at most "
            f"{found.most}, about {_duration(most_s)}. Ctrl-C keeps what is done."
        )


def show_swept(swept: Swept) -> None:
    """Print a design's table of measures, the yields, and what the claim came to."""
    from analog.render.sweepwords import yield_words
    from analog.render.words import judged

    results = swept.results
    stated = [(b, row) for b in results.benches for row in b.measures if row.verdict is None]
    ordered = [*judged(results), *stated]
    title = f"{results.design.name}: {results.design.title}".rstrip(": ")
    show_table(title, _COLUMNS, [_cells(bench, row) for bench, row in ordered])
    for bench, row in ordered:
        # What a refuted design leaves open about its other limits is in the table.
        if row.verdict == "fail" or (row.verdict == "undecided" and swept.outcome == "open"):
            say(f"{row.verdict}: {bench.bench}.{row.measure}: {explain(row)}")
    _show_drivers(swept)
    for bench in results.benches:
        if bench.yield_ is not None:
            say(f"{bench.bench}: {yield_words(bench.yield_)}.")
    say(f"{results.design.name}: {claim_words(swept)}")
    cost = swept.runs.cost
    kept = f", {cost.stored} more were in the store" if cost.stored else ""
    say(f"Simulations: {cost.runs}{kept}. Engine: {results.engine.name} {results.engine.version}.")
    say()


def claim_words(swept: Swept) -> str:
    """Return what became of the claim, for all benches jointly."""
    from analog.render.sweepwords import percent, yield_words
    from analog.workflows.board_runs import tally
    from analog.workflows.sweep_rows import needed_words

    found = swept.results.yield_
    if found is None:
        return "nothing is judged, so there is nothing to claim."
    claim = swept.order.claim
    said = f"at least {percent(claim.share)} of boards work in every bench together: "
    said += f"{swept.outcome}. {yield_words(found)}"
    if swept.outcome == "open":
        said += f"; {needed_words(tally(swept.status), claim)}"
    return f"{said}. {found.method[0].upper()}{found.method[1:]}."


def _show_drivers(swept: Swept) -> None:
    from analog.render.sweepwords import driver_sentence, rare_words

    rows = [row for bench in swept.results.benches for row in bench.measures if row.limit]
    thin = sorted((row for row in rows if row.drivers), key=_capability)
    sentences = [driver_sentence(row, swept.design) for row in thin[:_SENTENCES]]
    for sentence in dict.fromkeys(sentences):
        say(sentence)
    for row in rows:
        if row.rare is not None and row.limit is not None:
            say(f"{row.measure} [{row.limit.id}]: {rare_words(row.rare)}.")


def _capability(row: MeasureRow) -> float:
    found = row.spread.capability if row.spread else None
    return float("inf") if found is None else found.value


def _cells(bench: BenchResult, row: MeasureRow) -> list[str]:
    from analog.render.sweepwords import capability_words
    from analog.render.words import limit_words, quantity

    percentiles = row.spread.percentiles if row.spread else ()
    median = next((one.at.value for one in percentiles if one.share == 0.5), None)
    return [
        f"{bench.bench}.{row.measure}",
        quantity(median, row.unit),
        "never" if row.worst is None and row.worst_at else quantity(row.worst, row.unit),
        limit_words(row.limit, row.unit),
        capability_words(row),
        row.verdict or "stated",
    ]


def _duration(seconds: float) -> str:
    if seconds < 90:
        return f"{max(1.0, seconds):.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5400 else f"{seconds / 3600:.1f} h"
