"""A finding as text that fits a terminal: measured, limit, margin, source, where the worst lies."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping

from analog.results import MeasureRow

WIDTH = 80


def row_message(
    place: str, bench: str, row: MeasureRow, units: Mapping[str, str], width: int = WIDTH
) -> str:
    """Return what is to be known of one row.

    `place` is FILE:LINE of what sets the limit; `units` has the unit of each design key.
    """
    from analog.render.sweepwords import yield_words
    from analog.render.words import limit_words, quantity, share

    limit = row.limit.id if row.limit else ""
    never = row.worst is None and bool(row.worst_at)
    places = (f"{k} {quantity(value, units.get(k, '1'))}" for k, value in row.worst_at.items())
    boards = yield_words(row.yield_) if row.yield_ is not None else ""
    facts = [
        ("measured", "it never happens" if never else quantity(row.worst, row.unit)),
        ("nominal", quantity(row.nominal, row.unit)),
        ("limit", limit_words(row.limit, row.unit)),
        ("margin", quantity(row.margin, row.unit) + _bracketed(share(row.margin_share))),
        ("boards", boards),
        ("source", row.limit.source if row.limit else ""),
        ("because", row.reason),
        ("worst at", ", ".join(places)),
    ]
    lines = [f"{place}: {bench}.{row.measure} [{limit}]: {row.verdict or 'not judged'}"]
    lines += [_fact(name, text, width) for name, text in facts if text]
    return "\n".join(lines).replace("\N{NO-BREAK SPACE}", " ")


def _bracketed(text: str) -> str:
    return f" ({text})" if text else ""


def _fact(name: str, text: str, width: int) -> str:
    start = f"  {name:9}"
    wrapped = textwrap.wrap(text, width, initial_indent=start, subsequent_indent=" " * len(start))
    return "\n".join(wrapped)


def fitted(text: str, width: int = WIDTH) -> str:
    """Return text no wider than a terminal, without letters that would act on it.

    A hosted CI that reads the log finds no command in it.
    """
    from analog.design.findings import one_line
    from analog.render.annotations import disarmed

    lines: list[str] = []
    for line in text.replace("\N{NO-BREAK SPACE}", " ").split("\n"):
        indent = " " * (len(line) - len(line.lstrip()) + 2)
        lines += textwrap.wrap(one_line(line), width, subsequent_indent=indent) or [""]
    return disarmed("\n".join(lines))
