"""The table of disturbances of the mains, in words for the page."""

from __future__ import annotations

from dataclasses import dataclass

from analog.benches.disturbances import GROUPS, SERVICE
from analog.render.words import quantity
from analog.results.records import BenchResult, DeliveredFigure, DisturbanceRow

TINY = 1e-6
"""A share below it is shown as nothing."""


@dataclass(frozen=True, slots=True)
class DisturbanceLine:
    """One disturbance: what it is, what it does at nominal and at the worst, from when on.

    `look` is pass or fail where stray edges are judged, undecided where it was not delivered, and
    empty where they are only told.
    """

    title: str
    level: str
    source: str
    nominal: str
    worst: str
    where: str
    begins: str
    delivered: str
    look: str


def disturbance_lines(result: BenchResult) -> tuple[DisturbanceLine, ...]:
    """Return the lines of a bench's disturbances; those that are judged first."""
    rows = sorted(result.disturbances or (), key=lambda row: row.group != "service")
    judged = {row.measure for row in result.measures if row.limit is not None}
    return tuple(_line(row, judged) for row in rows)


def _line(row: DisturbanceRow, judged: set[str]) -> DisturbanceLine:
    return DisturbanceLine(
        row.title,
        row.level,
        row.source,
        _edges(row.extra_nominal, row.missing_nominal),
        _edges(row.extra, row.missing),
        _where(row),
        _begins(row),
        "; ".join(map(_delivered, row.delivered)),
        _look(row, judged),
    )


def _edges(extra: int | None, missing: int | None) -> str:
    if extra is None or missing is None:
        return "not known"
    said = [f"{count} {word}" for count, word in ((extra, "extra"), (missing, "missing")) if count]
    return ", ".join(said) or "none stray"


def _where(row: DisturbanceRow) -> str:
    after = "" if row.after is None else f", first {quantity(row.after, 's')} after it begins"
    return "; ".join(part for part in (row.where and f"{row.where}{after}", row.reason) if part)


def _begins(row: DisturbanceRow) -> str:
    if row.begins_at is None and row.tried_to <= 1.0:
        return "none shown at the level"
    if row.begins_at is None:
        return f"none shown up to {row.tried_to:.3g} times the level"
    return f"{row.begins_at:.2g} times the level"


def _delivered(figure: DeliveredFigure) -> str:
    if figure.found is None:
        return f"{figure.figure} not found"
    if not figure.wanted:
        return f"{figure.figure} {0 if abs(figure.found) < TINY else figure.found:.1g}"
    found = quantity(figure.found, figure.unit)
    return f"{figure.figure} {found} of {quantity(figure.wanted, figure.unit)}"


def _look(row: DisturbanceRow, judged: set[str]) -> str:
    group = SERVICE if row.group == "service" else row.group
    if group not in GROUPS:
        return ""
    ending = f"_{group}" if group else ""
    if not {f"extra_edges{ending}", f"missing_edges{ending}"} & judged:
        return ""
    if row.extra is None or row.reason.startswith("not judged"):
        return "undecided"
    return "fail" if row.extra or row.missing else "pass"
