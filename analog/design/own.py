"""A sub-circuit of the user's own as a section of the design names it: file, ports, tolerances.

Reading one is the only time that a design leads to another file. That file lies in the folder of
the design file or below it, links are followed before this is checked, and it is read by the
grammar of `analog.subcircuits`; nothing of its text goes further.
"""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analog.design.findings import Draft, Finding, one_line
from analog.design.values import Spread
from analog.errors import InputError, Problem
from analog.quantities import QuantityError, Tolerance
from analog.quantities.notation import Scanner
from analog.quantities.tolerance import scan_tolerance
from analog.subcircuits import Reading, Subcircuit, decode, read_subcircuit
from analog.subcircuits.limits import LARGEST_BYTES

UNITS = {"R": "Ω", "C": "F", "L": "H"}
"""Parts that may have a tolerance, and the unit of their value."""


@dataclass(frozen=True, slots=True)
class OwnSpread:
    """A part of the sub-circuit with the ends of its value; `place` is that among its parts."""

    place: int
    unit: str
    spread: Spread


@dataclass(frozen=True, slots=True)
class OwnCircuit:
    """A sub-circuit that was read: its record, what its ports are for, which parts vary.

    `file` is the name in the design, `name` the sub-circuit's in the file, `ports` the names of
    its ports there and `roles` what each is for; `sha256` is that of the file's bytes.
    """

    circuit: Subcircuit
    file: str
    name: str
    ports: tuple[str, ...]
    roles: tuple[str, ...]
    sha256: str
    spreads: tuple[OwnSpread, ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Roles:
    """What the ports of a section's sub-circuit are for; `needed` ones must be there."""

    section: str
    needed: tuple[str, ...]
    optional: tuple[str, ...]

    @property
    def known(self) -> tuple[str, ...]:
        """Return all roles."""
        return (*self.needed, *self.optional)


LINE_SENSE = Roles("line_sense", ("line", "pin"), ("ground", "rail", "other"))
CONDITIONER = Roles("conditioner", ("in", "out"), ("vdd", "vss"))


@dataclass(frozen=True, slots=True)
class Loaded:
    """What came of reading one: a sub-circuit, or faults in the design and in the file."""

    own: OwnCircuit | None
    findings: tuple[Finding, ...] = ()
    problems: tuple[Problem, ...] = ()


def load_own(keys: Any, roles: Roles, folder: Path) -> Loaded:
    """Read the sub-circuit that a section names; `keys` has the section's values as attributes.

    `folder` is the design file's. Faults of the design are findings, those of the file problems.
    """
    at = (roles.section, "subcircuit")
    try:
        path = _inside(folder, keys.subcircuit)
        content = _content(path)
    except _RefusedError as refused:
        return Loaded(None, (Finding(at, refused.rule, refused.remedy),))
    shown = one_line(str(folder / keys.subcircuit))
    try:
        text = decode(content, shown)
        reading = read_subcircuit(text, shown, keys.subcircuit_name)
    except InputError as error:
        return Loaded(None, (), error.problems)
    findings = [*_port_findings(reading, keys.subcircuit_ports, roles)]
    spreads = [*_spreads(reading, keys.subcircuit_tolerances, roles, findings)]
    if findings:
        return Loaded(None, tuple(findings))
    return Loaded(
        OwnCircuit(
            reading.circuit,
            keys.subcircuit,
            reading.name,
            reading.ports,
            tuple(_roles_by_port(reading, keys.subcircuit_ports, roles)[p] for p in reading.ports),
            hashlib.sha256(content).hexdigest(),
            tuple(spreads),
            reading.remarks,
        )
    )


def load_all(draft: Draft, folder: Path) -> dict[str, Loaded]:
    """Read the sub-circuits of all sections that name one, by section."""
    loaded = {}
    for roles in (LINE_SENSE, CONDITIONER):
        keys = getattr(draft, roles.section)
        names = ("subcircuit", "subcircuit_name", "subcircuit_ports", "subcircuit_tolerances")
        broken = any((roles.section, name) in {path[:2] for path in draft.broken} for name in names)
        chosen = getattr(keys, "topology" if roles is LINE_SENSE else "part", None)
        unused = chosen != "subcircuit"
        if broken or unused or getattr(keys, "subcircuit", None) is None:
            continue
        loaded[roles.section] = load_own(keys, roles, folder)
    return loaded


class _RefusedError(Exception):
    def __init__(self, rule: str, remedy: str) -> None:
        super().__init__(rule, remedy)
        self.rule = rule
        self.remedy = remedy


def _inside(folder: Path, name: str) -> Path:
    """Return the real path of a file in `folder` or below it."""
    base = folder.resolve()
    try:
        path = (folder / name).resolve(strict=True)
    except FileNotFoundError:
        remedy = "Put it beside the design file, or mend its name"
        raise _RefusedError("there is no such file in the design's folder", remedy) from None
    except (OSError, RuntimeError, ValueError):  # a circle of links, a name too long
        raise _RefusedError("the file cannot be reached", "Mend its name") from None
    if not path.is_relative_to(base):
        remedy = "Copy the file into the design's folder; links out of it are not followed"
        raise _RefusedError("the file lies outside the design's folder", remedy)
    if not path.is_file():
        raise _RefusedError("this is no plain file", "Name a text file with a sub-circuit")
    return path


def _content(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:
            return stream.read(LARGEST_BYTES + 1)
    except OSError as error:
        reason = error.strerror or "unknown reason"
        raise _RefusedError(f"the file cannot be read: {reason}", "Check its rights") from None


def _roles_by_port(
    reading: Reading, stated: Mapping[str, str] | None, roles: Roles
) -> dict[str, str]:
    """Return {port: role}; ports that are called like a role need not be stated."""
    if stated is None:
        return {port: port for port in reading.ports if port in roles.known}
    return {port.lower(): role for role, port in stated.items()}


def _port_findings(
    reading: Reading, stated: Mapping[str, str] | None, roles: Roles
) -> Iterator[Finding]:
    at = (roles.section, "subcircuit_ports")
    listed = ", ".join(reading.ports)
    for role, port in (stated or {}).items():
        if role not in roles.known:
            remedy = _nearest(role, roles.known, f"Known: {', '.join(roles.known)}")
            yield Finding((*at, role), "no port is for this", remedy, at_key=True)
        elif port.lower() not in reading.ports:
            rule = f"the sub-circuit '{reading.name}' has no port of this name"
            yield Finding(
                (*at, role), rule, _nearest(port.lower(), reading.ports, f"It has {listed}")
            )
    found = _roles_by_port(reading, stated, roles)
    if stated is not None and len(found) < len(stated):
        yield Finding(at, "one port is named twice", "Give every port one purpose")
    for port in reading.ports:
        if port not in found:
            rule = f"nothing says what the port '{port}' is for"
            known = ", ".join(roles.known)
            yield Finding(at, rule, f'Add it, like pin = "{port}"; purposes: {known}', at_key=True)
    for role in roles.needed:
        if role not in found.values():
            rule = f"no port of the sub-circuit is for {role}"
            yield Finding(at, rule, f'Add it, like {role} = "{reading.ports[0]}"', at_key=True)


def _spreads(
    reading: Reading, stated: Mapping[str, str] | None, roles: Roles, findings: list[Finding]
) -> Iterator[OwnSpread]:
    section = f"{roles.section}.subcircuit_tolerances"
    for name, text in (stated or {}).items():
        at = (roles.section, "subcircuit_tolerances", name)
        place = reading.parts.get(name.lower())
        part = None if place is None else reading.circuit.parts[place]
        if place is None or part is None or part.kind not in UNITS:
            rule = (
                f"the sub-circuit '{reading.name}' has no resistor, capacitor or inductor so called"
            )
            known = [
                one for one, k in reading.parts.items() if reading.circuit.parts[k].kind in UNITS
            ]
            remedy = _nearest(name.lower(), known, f"It has {', '.join(known[:12]) or 'none'}")
            findings.append(Finding(at, rule, remedy, at_key=True))
            continue
        try:
            tolerance = _tolerance(text)
        except QuantityError as error:
            findings.append(Finding(at, error.rule, error.remedy, error.position))
            continue
        nominal = part.value
        if isinstance(nominal, float):
            low, high = (nominal * (1 + float(end)) for end in (tolerance.low, tolerance.high))
            key = f"{section}.{name}"
            spread = Spread(low=low, nominal=nominal, high=high, key=key, text=text)
            yield OwnSpread(place, UNITS[part.kind], spread)


def _tolerance(text: str) -> Tolerance:
    scanner = Scanner(text)
    scanner.skip_space()
    found = scan_tolerance(scanner)
    scanner.skip_space()
    if found is None or not scanner.at_end:
        raise scanner.refuse("this is no tolerance", "Write it like 5%, ±5 % or -20+80%")
    return found


def _nearest(word: str, known: tuple[str, ...] | list[str], otherwise: str) -> str:
    near = difflib.get_close_matches(word, known, 1, 0.6)
    return f"Nearest: {near[0]}" if near else otherwise
