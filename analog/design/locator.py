"""Finds the line and column of every key and value of a TOML text.

`tomllib` gives values without places. This walks the same text once more, which is simple
because it is only asked about texts that `tomllib` has already accepted.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from dataclasses import dataclass, field
from typing import Final

Path = tuple[str | int, ...]

_BLANK: Final = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE: Final = re.compile(r"[ \t]*")
_BARE_KEY: Final = re.compile(r"[A-Za-z0-9_\-]+")
_BARE_VALUE: Final = re.compile(r"[^,\]}#\n]+")
_STRINGS: Final = (
    re.compile(r'"""(?:[^"\\]|\\.|"{1,2}(?!"))*"{3,5}', re.DOTALL),
    re.compile(r"'''(?:[^']|'{1,2}(?!'))*'{3,5}", re.DOTALL),
    re.compile(r'"(?:[^"\\]|\\.)*"'),
    re.compile(r"'[^']*'"),
)


@dataclass(frozen=True, slots=True)
class Place:
    """Where a key and its value stand; lines and columns count from 1, columns in characters.

    `plain` says that the value is a one-line string without escapes, so that its n-th character
    stands `column` + n from the opening quote.
    """

    line: int
    column: int
    key_line: int
    key_column: int
    plain: bool = False


def locate(text: str) -> dict[Path, Place]:
    """Return the place of every key path of a valid TOML text, tables and array items included.

    An array item's place, and that of a table, is that of the item or of its header.
    """
    walker = _Walker(text)
    walker.walk()
    return walker.places


@dataclass(slots=True)
class _Walker:
    text: str
    position: int = 0
    table: Path = ()
    places: dict[Path, Place] = field(default_factory=dict)
    lengths: dict[Path, int] = field(default_factory=dict)
    line_starts: list[int] = field(default_factory=list)

    def walk(self) -> None:
        newlines = (index + 1 for index, sign in enumerate(self.text) if sign == "\n")
        self.line_starts = [0, *newlines]
        self._skip(_BLANK)
        while self.position < len(self.text):
            if self.text[self.position] == "[":
                self._header()
            else:
                self._key_value(self.table)
            self._skip(_BLANK)

    def _skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.position)
        if match is None:
            raise ValueError(f"no {pattern.pattern!r} at character {self.position}")
        self.position = match.end()
        return match.group()

    def _line_column(self, position: int) -> tuple[int, int]:
        line = bisect_right(self.line_starts, position)
        return line, position - self.line_starts[line - 1] + 1

    def _header(self) -> None:
        """Read ``[a.b]`` or ``[[a.b]]``."""
        repeated = self.text.startswith("[[", self.position)
        self.position += 2 if repeated else 1
        names = self._dotted_key()
        self.position += 2 if repeated else 1
        path: Path = ()
        for index, (name, position) in enumerate(names):
            path = (*path, name)
            if repeated and index == len(names) - 1:
                self.lengths[path] = self.lengths.get(path, 0) + 1
            self._note_table(path, position)
            if path in self.lengths:
                path = (*path, self.lengths[path] - 1)
                self._note_table(path, position)
        self.table = path

    def _dotted_key(self) -> list[tuple[str, int]]:
        """Read a dotted key; return its names with their positions."""
        names = []
        while True:
            self._skip(_SPACE)
            start = self.position
            names.append((self._key_name(), start))
            self._skip(_SPACE)
            if self.text[self.position] != ".":
                return names
            self.position += 1

    def _key_name(self) -> str:
        if self.text[self.position] in "\"'":
            quoted = self._skip(_STRINGS[2 if self.text[self.position] == '"' else 3])
            return str(tomllib.loads(f"key = {quoted}")["key"])
        return self._skip(_BARE_KEY)

    def _key_value(self, table: Path) -> None:
        names = self._dotted_key()
        self.position += 1  # the equals sign
        self._skip(_SPACE)
        path = table
        for name, position in names[:-1]:
            path = (*path, name)
            self._note_table(path, position)
        self._value((*path, names[-1][0]), names[-1][1])

    def _value(self, path: Path, key_position: int) -> None:
        start = self.position
        sign = self.text[start]
        plain = False
        if sign in "\"'":
            raw = self._string()
            plain = not raw.startswith(('"""', "'''")) and (sign == "'" or "\\" not in raw)
        elif sign == "[":
            self._array(path)
        elif sign == "{":
            self._inline_table(path)
        else:
            self._skip(_BARE_VALUE)
        self._note(path, start, key_position, plain)

    def _string(self) -> str:
        for pattern in _STRINGS:
            match = pattern.match(self.text, self.position)
            if match:
                self.position = match.end()
                return match.group()
        raise ValueError(f"no string at character {self.position}")

    def _array(self, path: Path) -> None:
        self.position += 1
        index = 0
        while self._next_item("]"):
            self._value((*path, index), self.position)
            index += 1

    def _inline_table(self, path: Path) -> None:
        self.position += 1
        while self._next_item("}"):
            self._key_value(path)

    def _next_item(self, closing: str) -> bool:
        """Pass over blanks and a comma; tell whether another item follows."""
        self._skip(_BLANK)
        if self.text[self.position] == ",":
            self.position += 1
            self._skip(_BLANK)
        if self.text[self.position] == closing:
            self.position += 1
            return False
        return True

    def _note(self, path: Path, position: int, key_position: int, plain: bool) -> None:
        line, column = self._line_column(position)
        self.places[path] = Place(line, column, *self._line_column(key_position), plain)

    def _note_table(self, path: Path, position: int) -> None:
        if path not in self.places:
            self._note(path, position, position, plain=False)
