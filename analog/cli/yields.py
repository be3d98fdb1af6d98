"""A swept design as a person reads it at the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analog.cli.display import Column, say, show_table
from analog.cli.verdicts import explain

if TYPE_CHECKING:
    from analog.results.records import BenchResult, MeasureRow, Yield
    from analog.workflows.sweep import Swept

_COLUMNS = (
    Column("measure"),
    Column("worst board", right=True),
    Column("limit"),
    Column("margin", right=True),
    Column("share", right=True),
    Column("verdict"),
)


def show_swept(swept: Swept) -> None:
    """Print a design's table of measures, the yields, and what the claim came to."""
    from analog.render.words import judged

    results = swept.results
    stated = [(b, row) for b in results.benches for row in b.measures if row.verdict is None]
    ordered = [*judged(results), *stated]
    title = f"{results.design.name}: {results.design.title}".rstrip(": ")
    show_table(title, _COLUMNS, [_cells(bench, row) for bench, row in ordered])
    for bench, row in ordered:
        if row.verdict in ("fail", "undecided"):
            say(f"{row.verdict}: {bench.bench}.{row.measure}: {explain(row)}")
    for bench in results.benches:
        if bench.yield_ is not None:
            say(f"{bench.bench}: {yield_words(bench.yield_)}")
    say(f"{results.design.name}: {claim_words(swept)}")
    cost = swept.runs.cost
    say(f"Simulations: {cost.runs}, {cost.stored} more from the store. "
        f"Engine: {results.engine.name} {results.engine.version}.")  # fmt: skip
    say()


def yield_words(found: Yield) -> str:
    """Return a yield with its interval, per cent."""
    seen = "none seen" if found.estimate is None else f"{100 * found.estimate:.4g} %"
    return (
        f"{seen} of boards work, between {100 * found.low:.4g} % and {100 * found.high:.4g} % "
        f"({100 * found.confidence:g} % confidence, {found.n} boards)"
    )


def claim_words(swept: Swept) -> str:
    """Return what became of the claim, for all benches jointly."""
    from analog.workflows.board_runs import tally
    from analog.workflows.sweep_rows import needed_words

    found = swept.results.yield_
    if found is None:
        return "nothing is judged, so there is nothing to claim."
    claim = swept.order.claim
    said = f"at least {100 * claim.share:g} % of boards work in every bench together: "
    said += f"{swept.outcome}. {yield_words(found)}"
    if swept.outcome == "open":
        said += f"; {needed_words(tally(swept.status), claim)}"
    return f"{said}. {found.method[0].upper()}{found.method[1:]}."


def _cells(bench: BenchResult, row: MeasureRow) -> list[str]:
    from analog.render.words import limit_words, quantity, share

    return [
        f"{bench.bench}.{row.measure}",
        "never" if row.worst is None and row.worst_at else quantity(row.worst, row.unit),
        limit_words(row.limit, row.unit),
        quantity(row.margin, row.unit) if row.margin is not None else "",
        share(row.margin_share),
        row.verdict or "stated",
    ]
