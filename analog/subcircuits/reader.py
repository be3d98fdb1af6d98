"""Reads a sub-circuit file: text to record, or an `InputError` with everything that is wrong."""

from __future__ import annotations

import codecs
import difflib

from analog.subcircuits.definitions import File, read_file
from analog.subcircuits.limits import LARGEST_BYTES
from analog.subcircuits.lines import cards
from analog.subcircuits.nesting import check_nesting
from analog.subcircuits.problems import START, Faults, Place, shown
from analog.subcircuits.record import Reading, Subcircuit
from analog.subcircuits.resolve import Resolver
from analog.subcircuits.scope import Scope
from analog.subcircuits.statements import Definition


def decode(content: bytes, filename: str) -> str:
    """Return the text of a file's bytes; InputError when it is too large or no text."""
    faults = Faults(filename)
    if len(content) > LARGEST_BYTES:
        rule = f"the file is over {LARGEST_BYTES // 1000} kB"
        faults.add(START, rule, "Keep to the sub-circuit and what it uses")
    elif content.startswith(codecs.BOM_UTF8):
        faults.add(START, "the file begins with a byte-order mark", "Save it as UTF-8 without one")
    else:
        try:
            return content.decode("utf-8")
        except UnicodeDecodeError as error:
            before = content[: error.start]
            line = before.count(b"\n") + 1
            column = error.start - (before.rfind(b"\n") + 1) + 1
            faults.add(Place(line, column), "this is not text in UTF-8", "Save it as plain text")
    faults.check()
    return ""  # never: a fault was noted


def read_subcircuit(text: str, filename: str, name: str | None = None) -> Reading:
    """Return the sub-circuit called `name`, or the only one, of a file's text.

    `filename` is what problems name. Raises InputError with all problems found: those of form
    first, and those of meaning once the form is right.
    """
    faults = Faults(filename)
    if len(text) > LARGEST_BYTES:
        rule = f"the file is over {LARGEST_BYTES // 1000} kB"
        faults.add(START, rule, "Keep to the sub-circuit and what it uses")
        faults.check()
    file = read_file(cards(text, faults), faults)
    check_nesting(file, faults)
    faults.check()
    top = _chosen(file, name, faults)
    faults.check()
    outer = Scope(file.outside.parameters)
    with faults.gathered():
        for key, (_, place) in file.outside.parameters.items():
            outer.parameter(key, place)
    found = Resolver(file, faults, outer)
    circuit = found.flat(top)
    for other in file.definitions.values():
        if other is not top:
            Resolver(file, faults, outer).flat(other)
    faults.check()
    return _reading(top, circuit, found)


def _chosen(file: File, name: str | None, faults: Faults) -> Definition:
    known = list(file.definitions)
    if name is None:
        if len(known) > 1:
            rule = f"the file has {len(known)} sub-circuits: {shown(', '.join(known), 200)}"
            faults.add(START, rule, "Name the one to use in the design: subcircuit_name")
        return file.definitions[known[0]]
    folded = name.lower()
    if folded not in file.definitions:
        near = difflib.get_close_matches(folded, known, 1, 0.6)
        remedy = f"Nearest: {near[0]}" if near else f"It has {shown(', '.join(known), 200)}"
        faults.add(START, f"the file has no sub-circuit '{shown(name)}'", remedy)
        return file.definitions[known[0]]
    return file.definitions[folded]


def _reading(top: Definition, circuit: Subcircuit, found: Resolver) -> Reading:
    parts = {
        statement.name: found.places[0, statement.name]
        for statement, use in found.spelled
        if use.number == 0
    }
    remarks = [
        f"{statement.name.upper()} = {statement.milli} was read as milliohms, as SPICE does: "
        "mega is meg."
        for statement, _ in found.spelled
        if statement.milli
    ]
    return Reading(circuit, top.name, top.ports, parts, tuple(dict.fromkeys(remarks)))
