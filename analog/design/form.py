"""First stage: is every key known, every value well-formed? Never stops at the first fault."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping
from decimal import Decimal
from functools import cache
from types import SimpleNamespace
from typing import Any, Final

from pydantic import TypeAdapter, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from analog.design.basis import Record, notation_marks
from analog.design.fields import Notation, Wording
from analog.design.findings import Draft, Finding
from analog.design.locator import Path
from analog.design.record import (
    Clocked,
    Conditioner,
    Environment,
    GateDrive,
    Header,
    LineSense,
    Load,
    Mains,
    Reset,
    Supply,
)
from analog.design.wishes import Expect, LimitOverride, SpreadRule

VERSION: Final = 1

SECTIONS: Final[dict[str, type[Record]]] = {
    cls.section: cls
    for cls in (
        Header,
        Mains,
        Environment,
        Supply,
        LineSense,
        Conditioner,
        Clocked,
        Reset,
        GateDrive,
        Load,
        Expect,
    )
}
_REQUIRED: Final = ("design", "environment", "supply")
_LISTS: Final[dict[str, type[Record]]] = {"limits": LimitOverride, "spread": SpreadRule}
_TOP_LEVEL: Final = ("edgeproof", *SECTIONS, *_LISTS)

_TYPES: Final = {
    "bool_type": ("this is neither true nor false", "Write true or false, without quotes"),
    "int_type": ("this is no whole number", "Write a whole number, without quotes"),
    "string_type": ("this is no text", "Put the value in quotes"),
    "tuple_type": ("this is no list", 'Write a list like ["reset.hold_time"]'),
    "dict_type": ("this is no table", 'Write it like { pin = "out" } or under a header of its own'),
    "model_type": ("this is no table", "Write it as a [section] of keys"),
}


def read_form(data: Mapping[str, Any]) -> tuple[Draft, list[Finding]]:
    """Read all sections of a parsed file as far as they go; return them with all faults found."""
    findings = [*_version(data), *_unknown(data, (), _TOP_LEVEL)]
    draft = Draft()
    for name, cls in SECTIONS.items():
        if name in data:
            view, faults = read_section(cls, data[name], (name,))
            findings += faults
            if name != "design":
                setattr(draft, name, view)
        elif name in _REQUIRED:
            rule = f"the section [{name}] is missing"
            findings.append(Finding((name,), rule, _section_remedy(cls), at_key=True))
    for name in _LISTS:
        findings += _read_list(name, data.get(name, []), draft)
    draft.broken.update(fault.path for fault in findings)
    return draft, findings


def _version(data: Mapping[str, Any]) -> list[Finding]:
    found = data.get("edgeproof")
    if found == VERSION and type(found) is int:
        return []
    rule = "the format version is missing" if found is None else "this format version is not known"
    return [Finding(("edgeproof",), rule, f"Write edgeproof = {VERSION} as the first line")]


def _read_list(name: str, tables: Any, draft: Draft) -> list[Finding]:
    if not isinstance(tables, list):
        noun = "limits are" if name == "limits" else f"{name} is"
        return [Finding((name,), f"{noun} a list", f"Write each one under [[{name}]]")]
    findings: list[Finding] = []
    for index, table in enumerate(tables):
        view, faults = read_section(_LISTS[name], table, (name, index))
        getattr(draft, name).append(view)
        findings += faults
    return findings


def read_section(cls: type[Record], table: Any, path: Path) -> tuple[Any, list[Finding]]:
    """Read one table as `cls`; return the record, or what could be read of it, and all faults."""
    if not isinstance(table, dict):
        return _partial(cls, {}), [Finding(path, *_TYPES["model_type"])]
    names = file_keys(cls)
    findings = _unknown(table, path, names)
    good: dict[str, Any] = {}
    for name in names:
        if name in table:
            faults = _check_field(cls, name, table[name], (*path, name))
            if not faults:
                good[name] = _as_notation(cls.model_fields[name], table[name])
            findings += faults
        elif cls.model_fields[name].is_required():
            rule = f"the key {name} is missing"
            findings.append(Finding((*path, name), rule, _field_remedy(cls, name), at_key=True))
    if findings:
        return _partial(cls, good), findings
    try:
        return cls.model_validate(good), []
    except ValidationError as error:
        return _partial(cls, good), [_finding(details, path) for details in error.errors()]


def file_keys(cls: type[Record]) -> tuple[str, ...]:
    """Return the keys a section of the file may hold."""
    return tuple(name for name in cls.model_fields if name not in cls.hidden)


def _unknown(table: Mapping[str, Any], path: Path, names: tuple[str, ...]) -> list[Finding]:
    findings = []
    for key in table:
        if key not in names:
            near = difflib.get_close_matches(key, names, 1, 0.6)
            remedy = f"Nearest: {near[0]}" if near else f"Known here: {', '.join(names)}"
            findings.append(Finding((*path, key), "this key is not known", remedy, at_key=True))
    return findings


def _check_field(cls: type[Record], name: str, value: Any, path: Path) -> list[Finding]:
    field = cls.model_fields[name]
    notation = _notation(field)
    if notation is not None and not isinstance(value, str):
        fault = _number_fault(notation, value)
        if fault:
            return [Finding(path, *fault)]
    try:
        _adapter(cls, name).validate_python(
            cls.written(name, _as_notation(field, value)), strict=True
        )
    except ValidationError as error:
        return [_finding(details, path) for details in error.errors()]
    return []


def _number_fault(notation: Notation, value: Any) -> tuple[str, str] | None:
    """Say what is wrong with a value that is not text where notation is expected."""
    remedy = f'Write it as text, like "{notation.sample}"'
    if isinstance(value, bool) or not isinstance(value, int | float):
        return "this is no value", remedy
    if not notation.numbers:
        return "a bare number has no unit", remedy
    if not math.isfinite(value):
        return "this is no number", remedy
    return None


def _as_notation(field: FieldInfo, value: Any) -> Any:
    """Turn a bare number into text where notation takes both, so that one rule judges both."""
    notation = _notation(field)
    if notation is None or isinstance(value, str):
        return value
    return format(Decimal(repr(value)), "f")


def _notation(field: FieldInfo) -> Notation | None:
    marks = (mark for mark in notation_marks(field) if isinstance(mark, Notation))
    return next(marks, None)


@cache
def _adapter(cls: type[Record], name: str) -> TypeAdapter[Any]:
    return TypeAdapter(cls.model_fields[name].rebuild_annotation())


def _finding(details: ErrorDetails, path: Path) -> Finding:
    """Translate one fault of the validator into a rule and a remedy."""
    context = details.get("ctx", {})
    full = (*path, *details["loc"])
    kind = details["type"]
    if kind == "notation":
        return Finding(full, context["rule"], context["remedy"], context["offset"])
    if kind == "literal_error":
        known = context["expected"]
        return Finding(full, "this is none of the known words", f"Write {known}")
    if kind in _TYPES:
        return Finding(full, *_TYPES[kind])
    return Finding(full, details["msg"][0].lower() + details["msg"][1:], "Change the value")


def _partial(cls: type[Record], good: dict[str, Any]) -> SimpleNamespace:
    """Return a stand-in for a section with faults: what is right, defaults, None elsewhere."""
    view = SimpleNamespace()
    for name, field in cls.model_fields.items():
        if name in good:
            value = _adapter(cls, name).validate_python(cls.written(name, good[name]), strict=True)
        elif field.default_factory is None and not field.is_required():
            value = field.default
        else:
            value = None
        setattr(view, name, value)
    return view


def _field_remedy(cls: type[Record], name: str) -> str:
    field = cls.model_fields[name]
    notation = _notation(field)
    if notation is not None:
        return f'Add it, like {name} = "{notation.sample}"'
    words = getattr(field.annotation, "__args__", ())
    if words and all(isinstance(word, str) for word in words):
        return f"Add it; it is one of {', '.join(words)}"
    wording = next((mark for mark in field.metadata if isinstance(mark, Wording)), None)
    return f"Add it. {wording.remedy}" if wording else "Add it"


def _section_remedy(cls: type[Record]) -> str:
    needed = [name for name in file_keys(cls) if cls.model_fields[name].is_required()]
    return f"Add [{cls.section}] with {', '.join(needed)}"
