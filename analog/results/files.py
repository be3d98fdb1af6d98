"""`results.json`: writing, reading and the shipped schema.

Numbers are SI without prefixes; NaN and infinity never get in (None plus a reason stands for
"never happened"), which writing checks. Reading accepts only what the schema version says.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from analog.errors import EdgeproofError
from analog.results.records import SCHEMA, Results

_FILE_NAMES = {"yield_": "yield"}
_FIELD_NAMES = {"yield": "yield_"}


class ResultsError(EdgeproofError):
    """A results file that is not one, or one of another version."""

    exit_code = 2

    def __init__(self, file: str, reason: str) -> None:
        super().__init__(file, reason)
        self.file = file
        self.reason = reason

    def __str__(self) -> str:
        return f"{self.file}:1:1: {self.reason}"


def to_data(results: Results) -> dict[str, Any]:
    """Return the results as plain JSON data; ValueError names the place of a NaN or infinity."""
    data = _plain(results, "results")
    if not isinstance(data, dict):
        raise TypeError("results became no mapping")
    return data


def to_json(results: Results, indent: int | None = None) -> str:
    """Return the results as JSON text, on one line unless `indent` is given."""
    return json.dumps(to_data(results), ensure_ascii=False, allow_nan=False, indent=indent)


def write_results(results: Results, path: Path) -> None:
    """Write `results.json`, whole or not at all."""
    text = to_json(results, indent=2) + "\n"
    draft = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        draft.write_text(text, encoding="utf-8")
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)


def read_results(path: Path) -> Results:
    """Read a results file; ResultsError says what is wrong with it."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "the file is not text in UTF-8"
        raise ResultsError(str(path), str(reason)) from None
    try:
        data = json.loads(text, parse_constant=_no_constant)
    except ValueError as error:
        raise ResultsError(str(path), f"this is not JSON: {error}") from None
    return from_data(data, str(path))


def from_data(data: object, file: str = "results") -> Results:
    """Turn plain JSON data into results; `file` is what a ResultsError names."""
    found = data.get("schema") if isinstance(data, dict) else None
    if found != SCHEMA:
        raise ResultsError(file, f"the schema is {found!r}; this version reads {SCHEMA!r}")
    try:
        return _reader().validate_json(json.dumps(_renamed(data)))
    except ValidationError as error:
        fault = error.errors()[0]
        place = ".".join(_FILE_NAMES.get(str(step), str(step)) for step in fault["loc"])
        raise ResultsError(file, f"{place}: {fault['msg']}") from None


def results_schema() -> dict[str, Any]:
    """Return the shipped JSON Schema of `results.json`."""
    text = files("analog.results").joinpath("results.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def _reader() -> TypeAdapter[Results]:
    return TypeAdapter(Results)


def _plain(value: object, place: str) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        return {
            _FILE_NAMES.get(own.name, own.name): _plain(
                getattr(value, own.name), f"{place}.{own.name}"
            )
            for own in fields(value)
            if not (own.metadata.get("left_out_when_none") and getattr(value, own.name) is None)
        }
    if isinstance(value, Mapping):
        return {str(key): _plain(inner, f"{place}.{key}") for key, inner in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(inner, f"{place}[{index}]") for index, inner in enumerate(value)]
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"{place} is {value}; results hold None and a reason instead")
    return value


def _renamed(value: object) -> object:
    if isinstance(value, dict):
        return {_FIELD_NAMES.get(key, key): _renamed(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_renamed(inner) for inner in value]
    return value


def _no_constant(text: str) -> float:
    raise ValueError(f"{text} is no JSON number")
