"""Reads design files: text to `Design`, or an `InputError` with everything that is wrong."""

from __future__ import annotations

import codecs
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from analog.design.findings import Draft, Finding, one_line
from analog.design.form import read_form
from analog.design.locator import locate
from analog.design.own import load_all
from analog.design.parts import part_rules
from analog.design.ranges import range_rules
from analog.design.record import Design
from analog.design.sections import section_rules
from analog.errors import InputError, Problem

_LARGEST_BYTES: Final = 1_000_000
_TOML_PLACE: Final = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
_RULES: Final = (section_rules, part_rules, range_rules)


@dataclass(frozen=True, slots=True)
class ReadDesigns:
    """Designs that could be read, each with the path it was named by, and all that is wrong."""

    designs: tuple[tuple[str, Design], ...]
    problems: tuple[Problem, ...]


def read_designs(paths: Iterable[Path | str]) -> ReadDesigns:
    """Read several design files; two of one name are a problem of the later one."""
    designs: list[tuple[str, Design]] = []
    problems: list[Problem] = []
    files: dict[str, str] = {}
    for path in paths:
        try:
            design = read_design(path)
        except InputError as error:
            problems += error.problems
            continue
        first = files.setdefault(design.name, str(path))
        if first == str(path) and all(name != first for name, _ in designs):
            designs.append((str(path), design))
        else:
            rule = f"another design of this command has this name: {one_line(first)}"
            remedy = "Give every design its own name; it names the report's folder"
            problems.append(problem_at(design, str(path), "design.name", rule, remedy))
    return ReadDesigns(tuple(designs), tuple(problems))


def read_design(path: Path | str) -> Design:
    """Read the design file at `path`. Raises InputError with every problem found."""
    return parse_design(_file_text(Path(path)), str(path))


def parse_design(text: str, filename: str) -> Design:
    """Turn the text of a design file into a `Design`; `filename` is what problems name.

    A sub-circuit that it names is read from the folder of `filename`. Raises InputError with all
    problems of form and of meaning, in the order of their lines, then those of such files.
    """
    data = _toml(text, filename)
    draft, findings = read_form(data)
    findings += _meaning(draft)
    loaded = load_all(draft, Path(filename).parent)
    findings += (finding for one in loaded.values() for finding in one.findings)
    problems = tuple(problem for one in loaded.values() for problem in one.problems)
    if findings or problems:
        raise InputError((*_problems(findings, data, text, filename), *problems))
    for section, one in loaded.items():
        data[section]["own"] = one.own
    header = data.pop("design")
    del data["edgeproof"]
    limits, spread = (tuple(data.pop(name, ())) for name in ("limits", "spread"))
    return Design(**header, **data, limits=limits, spread=spread, text=text)


def problem_at(design: Design, filename: str, key: str, rule: str, remedy: str) -> Problem:
    """Return a problem at a dotted key of a design that has been read, for later stages."""
    data = tomllib.loads(design.text) if design.text else {}
    return Finding(_path(key), rule, remedy).problem(one_line(filename), data, locate(design.text))


def _path(key: str) -> tuple[str | int, ...]:
    """Turn ``limits[0].measure`` into a path."""
    steps = re.findall(r"[^.\[\]]+", key)
    return tuple(int(step) if step.isdigit() else step for step in steps)


def _meaning(draft: Draft) -> list[Finding]:
    return [finding for rules in _RULES for finding in rules(draft)]


def _problems(
    findings: list[Finding], data: Mapping[str, Any], text: str, filename: str
) -> tuple[Problem, ...]:
    places, file = locate(text), one_line(filename)
    found = [finding.problem(file, data, places) for finding in findings]
    return tuple(sorted(found, key=lambda problem: (problem.line, problem.column)))


def _file_text(path: Path) -> str:
    """Return a file's text as it is, line ends included."""
    if path.is_dir():
        raise _whole_file(path, "this is a folder, not a file", "Name a design file")
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        remedy = "Check the path, or make a design with 'edgeproof new NAME'"
        raise _whole_file(path, "there is no such file", remedy) from None
    except (OSError, ValueError) as error:  # ValueError: a null byte in the path
        reason = getattr(error, "strerror", None) or str(error)
        raise _whole_file(path, f"the file cannot be read: {reason}", "Check the path") from None
    if len(content) > _LARGEST_BYTES:
        raise _whole_file(path, "the file is over 1 MB", "A design file is a few kilobytes of text")
    if content.startswith(codecs.BOM_UTF8):
        rule = "the file begins with a byte-order mark"
        raise _whole_file(path, rule, "Save it as UTF-8 without one")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        remedy = "Save the design as plain text in UTF-8"
        raise _whole_file(path, "the file is not text in UTF-8", remedy) from None


def _whole_file(path: Path | str, rule: str, remedy: str) -> InputError:
    return InputError((Problem(one_line(str(path)), 1, 1, "", "", rule, remedy),))


def _toml(text: str, filename: str) -> dict[str, Any]:
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError((_syntax_problem(str(error), text, filename),)) from None
    except RecursionError:
        raise _whole_file(filename, "the values are nested too deeply", "Write flat keys") from None
    if not data:
        remedy = "Start one with 'edgeproof new NAME'"
        raise _whole_file(filename, "the file holds no design", remedy)
    return data


def _syntax_problem(message: str, text: str, filename: str) -> Problem:
    place = _TOML_PLACE.search(message)
    lines = text.split("\n")
    line, column = len(lines), len(lines[-1]) + 1
    if place and place.group(1):
        line, column = int(place.group(1)), int(place.group(2))
    reason = _TOML_PLACE.sub("", message)
    rule = f"this is not TOML: {reason[:1].lower()}{reason[1:]}"
    remedy = "Mend the line; texts stand in quotes, sections in [brackets]"
    return Problem(one_line(filename), line, column, "", "", rule, remedy)
