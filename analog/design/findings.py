"""What is wrong with a design, before it has a line number, and the draft the rules look at."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from analog.design.locator import Path, Place
from analog.errors import Problem

_SHOWN_CHARACTERS = 60


@dataclass(frozen=True, slots=True)
class Finding:
    """A broken rule at a key path. `offset` is the character inside the text, None for the whole.

    With `at_key` the key itself is wrong, not its value.
    """

    path: Path
    rule: str
    remedy: str
    offset: int | None = None
    at_key: bool = False

    def problem(self, file: str, data: Any, places: dict[Path, Place]) -> Problem:
        """Return the finding with its place in the file and the value found there."""
        line, column = self._place(places)
        value = "" if self.at_key else _shown_value(_lookup(data, self.path))
        return Problem(file, line, column, dotted(self.path), value, self.rule, self.remedy)

    def _place(self, places: dict[Path, Place]) -> tuple[int, int]:
        path = self.path
        while path and path not in places:
            path = path[:-1]
        place = places.get(path)
        if place is None:
            return 1, 1
        if self.at_key or path != self.path:
            return place.key_line, place.key_column
        inside = 1 + self.offset if place.plain and self.offset is not None else 0
        return place.line, place.column + inside


def finding(key: str, rule: str, remedy: str) -> Finding:
    """Return a finding about the value at a dotted key."""
    return Finding(tuple(key.split(".")), rule, remedy)


def dotted(path: Path) -> str:
    """Return a path as the reader sees it: ``limits[0].reason``."""
    text = ""
    for step in path:
        if isinstance(step, int):
            text += f"[{step}]"
        else:
            text += ("." if text else "") + printable(step)
    return text


def one_line(text: str) -> str:
    """Return `text` with everything escaped that could break a line or a terminal."""
    return "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text
    )


def printable(text: str) -> str:
    """Return `text` on one line, long texts shortened."""
    escaped = one_line(text)
    return escaped if len(escaped) <= _SHOWN_CHARACTERS else escaped[:_SHOWN_CHARACTERS] + "…"


def _lookup(data: Any, path: Path) -> Any:
    for step in path:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            return None
    return data


def _shown_value(value: Any) -> str:
    if value is None or isinstance(value, dict | list):
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return printable(value if isinstance(value, str) else repr(value))


@dataclass(slots=True)
class Draft:
    """The sections as far as they could be read, for the rules about meaning.

    A section that is absent is None. One with faults in it has None for what could not be read,
    so that the rules can still judge the rest.
    """

    mains: Any = None
    environment: Any = None
    supply: Any = None
    line_sense: Any = None
    conditioner: Any = None
    clocked: Any = None
    reset: Any = None
    gate_drive: Any = None
    load: Any = None
    expect: Any = None
    limits: list[Any] = field(default_factory=list)
    spread: list[Any] = field(default_factory=list)
    broken: set[Path] = field(default_factory=set)
    """Key paths already found at fault."""

    def value(self, key: str) -> Any:
        """Return the value at ``section.name``, None when section or value is missing."""
        section, name = key.split(".")
        return getattr(getattr(self, section), name, None)

    def given(self, key: str) -> bool:
        """Tell whether the design gives the value at ``section.name``, readable or not."""
        section, name = key.split(".")
        broken = {(section,), (section, name)} & self.broken
        return bool(broken) or self.value(key) is not None
