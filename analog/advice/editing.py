"""Writes changes into the text of a design file; everything else, comments too, stays as it is."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import tomlkit
from tomlkit.items import Table, Trivia

from analog.advice.changes import Edit


def edited_text(text: str, edits: Iterable[Edit], noted: bool = False) -> str:
    """Return the text with the edits made; with `noted` each says what stood there before.

    A section that is missing is appended. Keys are ``section.name``.
    """
    document = tomlkit.parse(text)
    for edit in edits:
        section, _, name = edit.key.partition(".")
        if section not in document:
            document.add(section, tomlkit.table())
        table = document[section]
        if isinstance(table, Table):
            _edit(table, name, edit.text, noted)
        else:  # an inline table has no room for a remark
            _edit_inline(table, name, edit.text)
    return tomlkit.dumps(document)


def _edit_inline(table: Any, name: str, text: str | None) -> None:
    if text is None:
        table.pop(name, None)
    else:
        table[name] = text


def _edit(table: Table, name: str, text: str | None, noted: bool) -> None:
    before = table.get(name)
    if text is None:
        if before is not None:
            table.remove(name)
        return
    item = tomlkit.string(text)
    if before is None:
        if noted:
            item.comment("added")
        _append(table, name, item)
        return
    _keep_remark(before.trivia, item.trivia, f"was {before}" if noted else "")
    table[name] = item


def _append(table: Table, name: str, item: Any) -> None:
    """Add a key below the table's last key, above the blank lines and remarks that follow."""
    keys = [key for key, _ in table.value.body if key is not None]
    if keys:
        table.value._insert_after(keys[-1], name, item)
    else:
        table.add(name, item)


def _keep_remark(old: Trivia, new: Trivia, note: str) -> None:
    new.indent, new.trail = old.indent, old.trail
    said = [old.comment.lstrip("# ").rstrip()] if old.comment else []
    said += [note] if note else []
    if said:
        new.comment_ws = old.comment_ws or " "
        new.comment = "# " + "; ".join(said)


def with_verdict(text: str, verdict: str) -> str:
    """Return the text with `verdict` as what is expected, and without measures that fail."""
    document = tomlkit.parse(text)
    expect: Any = document["expect"]
    expect["verdict"] = verdict
    if verdict != "fail":
        expect.pop("fails", None)
    return tomlkit.dumps(document)
