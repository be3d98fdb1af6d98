"""One design's results as a person reads them at the terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from analog.cli.display import Column, say, show_table

if TYPE_CHECKING:
    from analog.results.records import BenchResult, MeasureRow, Results
    from analog.workflows import FineRow

_COLUMNS = (
    Column("measure"),
    Column("nominal", right=True),
    Column("worst", right=True),
    Column("limit"),
    Column("margin", right=True),
    Column("share", right=True),
    Column("verdict"),
)


def show_results(results: Results) -> None:
    """Print a design's table of verdicts, thinnest margins first, then what failed and why."""
    from analog.render.words import judged, verdict_sentence

    stated = [(b, row) for b in results.benches for row in b.measures if row.verdict is None]
    title = f"{results.design.name}: {results.design.title}".rstrip(": ")
    ordered = [*judged(results), *stated]
    show_table(title, _COLUMNS, [_cells(bench, row) for bench, row in ordered])
    for bench, row in ordered:
        if row.verdict in ("fail", "undecided"):
            say(f"{row.verdict}: {bench.bench}.{row.measure}: {explain(row)}")
    word = results.verdict or "nothing judged"
    say(f"{results.design.name}: {word}. {verdict_sentence(results)}")
    say(_runs(results))
    say()


def explain(row: MeasureRow) -> str:
    """Say why a row failed or is open: limit and source, what is known, where the worst lies."""
    from analog.render.words import limit_words

    said = []
    if row.limit is not None:
        said.append(f"limit {limit_words(row.limit, row.unit)} ({row.limit.source})")
    if row.reason:
        said.append(row.reason)
    if row.worst_at:
        said.append(f"worst at {place_words(row.worst_at)}")
    return "; ".join(said)


def place_words(place: Mapping[str, float]) -> str:
    """Return where a worst case lies: every design key with its SI value."""
    return ", ".join(f"{key} = {value:.4g}" for key, value in place.items())


def show_fine(rows: Sequence[FineRow]) -> None:
    """Print what a tenth of the step changes."""
    from analog.render.words import quantity, share

    columns = (
        Column("measure"),
        Column("case"),
        Column("as checked", right=True),
        Column("finer", right=True),
        Column("change, of the scale", right=True),
    )
    cells = [
        [
            f"{row.bench}.{row.measure}",
            row.case,
            quantity(row.value, row.unit),
            quantity(row.fine, row.unit),
            share(row.share),
        ]
        for row in rows
    ]
    show_table("Simulated again with a tenth of the step", columns, cells)


def _cells(bench: BenchResult, row: MeasureRow) -> list[str]:
    from analog.render.words import limit_words, quantity, share

    return [
        f"{bench.bench}.{row.measure}",
        quantity(row.nominal, row.unit),
        # With data but without a value: the thing did not happen.
        "never" if row.worst is None and row.worst_at else quantity(row.worst, row.unit),
        limit_words(row.limit, row.unit),
        quantity(row.margin, row.unit) if row.margin is not None else "",
        share(row.margin_share),
        row.verdict or "stated",
    ]


def _runs(results: Results) -> str:
    """Return how many simulations it took, and how many of them gave no data."""
    parts = []
    for bench in results.benches:
        lost = f" ({bench.failed_runs} without data)" if bench.failed_runs else ""
        parts.append(f"{bench.bench} {bench.runs}{lost}")
    return (
        f"Simulations: {', '.join(parts)}. Engine: {results.engine.name} {results.engine.version}."
    )
