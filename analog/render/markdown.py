"""Results as a short Markdown summary that fits a pull-request comment."""

from __future__ import annotations

import re

from analog.render.words import (
    SYMBOLS,
    VERDICT_WORDS,
    expectation_sentence,
    is_exact,
    judged,
    limit_words,
    quantity,
    share,
    verdict_sentence,
)
from analog.results.records import MeasureRow, Results

_ACTIVE = re.compile(r"([\\`*_{}\[\]#!|<>~&$:]|(?<=[wW]{3})\.)")
_ROWS = 40


def escaped(text: str) -> str:
    """Return text that shows as it is: no markup, mention, link, table cell or line break.

    A zero-width space after @ keeps a hosted page from notifying whoever bears that name.
    """
    flat = "".join(c if c.isprintable() else " " for c in " ".join(text.split()))
    return _ACTIVE.sub(r"\\\1", flat).replace("@", "@\u200b")


def _margin_cells(row: MeasureRow) -> tuple[str, str]:
    if is_exact(row) and row.verdict == "pass":
        return "met", ""
    return escaped(quantity(row.margin, row.unit)), escaped(share(row.margin_share))


def summary(results: Results) -> str:
    """Return the summary: verdict, table of margins with the thinnest first, where it came from."""
    verdict = VERDICT_WORDS[results.verdict] if results.verdict else "not judged"
    title = escaped(results.design.title or results.design.name)
    lines = [
        f"## {SYMBOLS[results.verdict]} {title}: {verdict}",
        "",
        escaped(verdict_sentence(results)),
    ]
    expected = expectation_sentence(results)
    if expected:
        lines += ["", escaped(expected)]
    rows = judged(results)
    if rows:
        lines += ["", "| | measure | worst | limit | margin | |", "|---|---|---:|---|---:|---:|"]
    for bench, row in rows[:_ROWS]:
        cells = (
            f"{SYMBOLS[row.verdict]} {VERDICT_WORDS[row.verdict]}",
            f"{escaped(bench.bench)} {escaped(row.measure)}",
            escaped(quantity(row.worst, row.unit)),
            escaped(limit_words(row.limit, row.unit)),
            *_margin_cells(row),
        )
        lines.append(f"| {' | '.join(cells)} |")
    if len(rows) > _ROWS:
        lines.append(f"\n… and {len(rows) - _ROWS} more, with wider margins; see index.html.")
    failed = sum(bench.failed_runs for bench in results.benches)
    runs = sum(bench.runs for bench in results.benches)
    made = (
        f"edgeproof {results.package_version}, {results.engine.name} {results.engine.version}, "
        f"design {results.design.sha256[:12]}, {runs} simulations, {failed} without data."
    )
    lines += ["", escaped(made), ""]
    return "\n".join(lines)
