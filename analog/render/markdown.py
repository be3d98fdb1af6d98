"""Results as a short Markdown summary that fits a pull-request comment."""

from __future__ import annotations

import re

from analog.render.changes import comparison
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
_WORSE = 10


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


def summary(results: Results, baseline: Results | None = None) -> str:
    """Return the summary: verdict, table of margins with the thinnest first, what changed since
    an accepted `baseline`, where it came from."""
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
    if baseline is not None:
        lines += ["", *_changes(baseline, results)]
    lines += ["", escaped(_made(results)), ""]
    return "\n".join(lines)


def _made(results: Results) -> str:
    failed = sum(bench.failed_runs for bench in results.benches)
    runs = sum(bench.runs for bench in results.benches)
    return (
        f"edgeproof {results.package_version}, {results.engine.name} {results.engine.version}, "
        f"design {results.design.sha256[:12]}, {runs} simulations, {failed} without data."
    )


def _changes(baseline: Results, results: Results) -> list[str]:
    """Return what is worse than accepted, as a list of at most `_WORSE` lines."""
    found = comparison(baseline, results)
    lines = [escaped(f"Since the accepted baseline: {found.sentence}")]
    worse = [row for row in found.rows if row.how == "worse"]
    for row in worse[:_WORSE]:
        limit = f" ({row.limit})" if row.limit else ""
        text = f"{row.bench} {row.measure}{limit}: {row.what} from {row.before} to {row.after}"
        lines.append(f"- {escaped(text)}")
    if len(worse) > _WORSE:
        lines.append(f"- … and {len(worse) - _WORSE} more")
    if found.rows:
        lines += ["", escaped(f"What differs in the making: {'; '.join(found.causes)}.")]
    return lines
