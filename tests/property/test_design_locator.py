"""Every leaf of a random design is found at its line and column, however the TOML is laid out.

The file is written out here piece by piece, so that the place of each value is known before the
locator sees it; `tomllib` confirms that the file says what it should.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from typing import Any

import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analog.design.locator import Path, locate

BARE = st.text("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-", min_size=1)
ODD = st.text(st.characters(codec="utf-8", exclude_characters="\x7f", min_codepoint=32))
KEYS = st.one_of(BARE, ODD)
TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), max_size=12)
SCALARS = st.one_of(TEXTS, st.integers(-(10**6), 10**6), st.booleans(), st.floats(-1e3, 1e3))
SPACES = st.text(" \t", max_size=3)


@dataclass
class Writer:
    """Writes a TOML text and notes where each value begins."""

    draw: Any
    text: str = ""
    where: dict[Path, tuple[int, int]] = field(default_factory=dict)
    headers: set[Path] = field(default_factory=set)

    def here(self) -> tuple[int, int]:
        return self.text.count("\n") + 1, len(self.text) - (self.text.rfind("\n") + 1) + 1

    def noise(self) -> None:
        """Write blank lines and comments that look like TOML."""
        for _ in range(self.draw(st.integers(0, 2))):
            line = st.sampled_from(["", "# [not] a = 'table'", '  # """', "\t# ]] }", "#"])
            self.text += self.draw(line) + self.draw(st.sampled_from(["\n", "\r\n"]))

    def space(self) -> None:
        self.text += self.draw(SPACES)

    def key(self, name: str) -> None:
        bare = name != "" and name.isascii() and name.replace("-", "").replace("_", "").isalnum()
        if bare and self.draw(st.booleans()):
            self.text += name
        elif "'" not in name and self.draw(st.booleans()):
            self.text += f"'{name}'"
        else:
            self.text += tomlkit.string(name).as_string()

    def pair(self, path: Path, value: Any) -> None:
        self.key(str(path[-1]))
        self.space()
        self.text += "="
        self.space()
        self.value(path, value)

    def value(self, path: Path, value: Any) -> None:
        self.where[path] = self.here()
        if isinstance(value, list):
            self.listed(path, value)
        elif isinstance(value, dict):
            self.inline(path, value)
        elif isinstance(value, str):
            self.string(value)
        else:
            self.text += tomlkit.item(value).as_string()

    def string(self, value: str) -> None:
        literal = "'" not in value
        style = self.draw(st.sampled_from(["basic", "literal", "long", "long literal"]))
        if style == "literal" and literal:
            self.text += f"'{value}'"
        elif style == "long literal" and literal:
            self.text += f"'''\n{value}'''"
        elif style == "long":
            escaped = tomlkit.string(value).as_string()[1:-1]
            self.text += f'"""\n{escaped}"""'
        else:
            self.text += tomlkit.string(value).as_string()

    def listed(self, path: Path, items: list[Any]) -> None:
        self.text += "["
        for index, item in enumerate(items):
            self.noise()
            self.space()
            self.value((*path, index), item)
            self.space()
            self.text += ","
        self.noise()
        self.text += "]"

    def inline(self, path: Path, table: dict[str, Any]) -> None:
        self.text += "{"
        for index, (name, item) in enumerate(table.items()):
            self.text += ", " if index else " "
            self.pair((*path, name), item)
        self.text += " }"

    def table(self, path: Path, header: str, table: dict[str, Any]) -> None:
        self.noise()
        self.space()
        self.text += header + "\n"
        self.headers.add(path)
        for name, value in table.items():
            self.noise()
            self.space()
            self.pair((*path, name), value)
            self.space()
            self.text += self.draw(st.sampled_from(["\n", "\r\n", " # = 'x'\n"]))


VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=2),
    max_leaves=5,
)
CALM = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
TABLES = st.dictionaries(KEYS, VALUES, max_size=4)


def written(draw: Any) -> Writer:
    """Write a design-like file: top-level keys, sections, sub-tables and repeated tables."""
    writer = Writer(draw)
    top = draw(st.dictionaries(BARE.map(lambda name: f"top-{name}"), VALUES, max_size=3))
    writer.table((), "", top)
    for name, table in draw(st.dictionaries(BARE, TABLES, max_size=3)).items():
        section = f"section-{name}"
        writer.table((section,), f"[ {section} ]", table)
        writer.table((section, "sub-a.b"), f"[{section} . 'sub-a.b']", draw(TABLES))
    limits = draw(st.lists(TABLES, max_size=3))
    for index, table in enumerate(limits):
        writer.table(("limits", index), "[[limits]]", table)
        writer.table(("limits", index, "deep"), "[limits.deep]", {"x": 1})
    return writer


def leaves(value: Any, path: Path = ()) -> list[Path]:
    items = value.items() if isinstance(value, dict) else enumerate(value)
    found: list[Path] = []
    for step, item in items:
        nested = isinstance(item, dict | list)
        found += leaves(item, (*path, step)) if nested and item else [(*path, step)]
    return found


def branches(value: Any) -> set[Path]:
    """Return the paths of all values that hold further values."""
    return {path[:depth] for path in leaves(value) for depth in range(1, len(path))}


@CALM
@given(st.data())
def test_every_leaf_is_located(data: st.DataObject) -> None:
    writer = written(data.draw)
    parsed = tomllib.loads(writer.text)
    places = locate(writer.text)
    assert set(leaves(parsed)) - writer.headers == set(writer.where) - branches(parsed)
    for path, place in writer.where.items():
        assert (places[path].line, places[path].column) == place, writer.text


@CALM
@given(st.data())
def test_plain_strings_point_at_their_characters(data: st.DataObject) -> None:
    writer = written(data.draw)
    lines = writer.text.split("\n")
    for path, place in locate(writer.text).items():
        if not place.plain:
            continue
        value: Any = tomllib.loads(writer.text)
        for step in path:
            value = value[step]
        rest = lines[place.line - 1][place.column - 1 :]
        assert rest[1 : 1 + len(value)] == value
