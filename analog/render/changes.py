"""What changed between two results, in words: the same at the terminal, in reports and in CI."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analog.render.words import quantity
from analog.results.compare import Breach, Cause, Change, causes, compare, lost_share
from analog.results.records import Results

_FIELDS = {
    "row": "judged",
    "verdict": "verdict",
    "nominal": "nominal",
    "worst": "worst",
    "margin": "margin",
    "limit.min": "lower limit",
    "limit.max": "upper limit",
    "unit": "unit",
}


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """One change ready to show; `how` says "worse", "better" or is empty."""

    bench: str
    measure: str
    limit: str
    what: str
    before: str
    after: str
    how: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """Everything a reader wants to know of two results: why they may differ, and what did."""

    before: str
    after: str
    causes: tuple[str, ...]
    rows: tuple[ChangeRow, ...]
    worse: int

    @property
    def sentence(self) -> str:
        """Say in one sentence how much changed."""
        if not self.rows:
            return "Nothing changed within the stated accuracy."
        count = f"{len(self.rows)} difference{'' if len(self.rows) == 1 else 's'}"
        return f"{count}, {self.worse or 'none'} of them for the worse."


def comparison(before: Results, after: Results) -> Comparison:
    """Return two results compared, those changes first that are for the worse."""
    changes = sorted(compare(before, after), key=lambda change: not change.worse)
    return Comparison(
        made_from(before),
        made_from(after),
        cause_words(causes(before, after)),
        tuple(_row(change) for change in changes),
        sum(change.worse for change in changes),
    )


def made_from(results: Results) -> str:
    """Say which design and tool a result comes from."""
    return (
        f"{results.design.name} {results.design.sha256[:12]}, "
        f"edgeproof {results.package_version}, {results.engine.name} {results.engine.version}"
    )


def cause_words(found: Sequence[Cause]) -> tuple[str, ...]:
    """Return causes as words; when there are none, that is said."""
    said = tuple(cause.what for cause in found)
    return said or ("design, limits and tool are the same",)


def breach_words(breach: Breach) -> str:
    """Return a broken baseline as one sentence: what, from where to where, how much, and why."""
    change = breach.change
    limit = f" [{change.limit}]" if change.limit else ""
    said = (
        f"{change.bench}.{change.measure}{limit}: {_FIELDS[change.field]} "
        f"from {value_words(change.before, change.unit)} to "
        f"{value_words(change.after, change.unit)}"
    )
    if breach.lost is not None:
        said += f", {100 * breach.lost:.3g} % of it lost"
    return f"{said} ({'; '.join(cause_words(breach.causes))})".replace("\N{NO-BREAK SPACE}", " ")


def value_words(value: float | str | None, unit: str) -> str:
    """Return one side of a change: a quantity, a word, or "none"."""
    if isinstance(value, str):
        return value
    return "none" if value is None else quantity(value, unit)


def _row(change: Change) -> ChangeRow:
    return ChangeRow(
        change.bench,
        change.measure,
        change.limit or "",
        _FIELDS[change.field],
        value_words(change.before, change.unit),
        value_words(change.after, change.unit),
        _how(change),
    )


def _how(change: Change) -> str:
    if change.worse:
        return "worse"
    lost = lost_share(change)
    better = (lost is not None and lost < 0) or change.field == "verdict"
    return "better" if better else ""
