"""Examining this machine: every libngspice, the one used, and whether it computes right."""

from __future__ import annotations

import json
import math
import platform
import tempfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from importlib import metadata, resources
from pathlib import Path
from typing import Any

from analog import __version__
from analog.engine.engine import TESTED_VERSIONS
from analog.engine.known_circuit import TOLERANCE
from analog.engine.library import REMEDY, Library, find_libraries, used_library
from analog.engine.process import end_all, greeting, start_process
from analog.engine.protocol import Hello, Setup
from analog.errors import MachineError

SCHEMA = "edgeproof-doctor-1"

_PACKAGES = ("numpy", "scipy", "PySpice", "pydantic", "matplotlib", "schemdraw", "jinja2")
_LIMIT_S = 10.0


@dataclass(frozen=True, slots=True)
class ExaminedLibrary:
    """One libngspice: where it is, why it was found, and how the known circuit came out.

    `error_share` is the largest deviation from the closed form as a share of the level, None when
    the circuit did not run; `problem` then tells why.
    """

    path: str
    reason: str
    used: bool
    version: str | None
    error_share: float | None
    problem: str


@dataclass(frozen=True, slots=True)
class KnownCircuit:
    """The used library's answer to the RC charging whose closed form is known."""

    error_share: float
    tolerance: float
    right: bool


@dataclass(frozen=True, slots=True)
class Examination:
    """Everything found out; `doctor_schema.json` describes its JSON form."""

    schema: str
    package_version: str
    python: str
    system: str
    packages: dict[str, str | None]
    libraries: tuple[ExaminedLibrary, ...]
    used: str | None
    engine_version: str | None
    known_circuit: KnownCircuit | None
    notes: tuple[str, ...]

    @property
    def exit_code(self) -> int:
        """Return 0 for a right answer, 1 for a wrong one, 3 for no engine."""
        if self.known_circuit is None:
            return 3
        return 0 if self.known_circuit.right else 1

    def as_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return asdict(self)


def doctor() -> Examination:
    """Examine this machine. Raises nothing on purpose: what is missing stands in the notes."""
    notes: list[str] = []
    try:
        chosen: Library | None = used_library()
    except MachineError as problem:
        chosen = None
        notes.append(str(problem))
    libraries = _examine_all(find_libraries(), chosen)
    used = next((library for library in libraries if library.used), None)
    if used is not None:
        notes += _remarks(used)
    return Examination(
        schema=SCHEMA,
        package_version=__version__,
        python=platform.python_version(),
        system=platform.platform(),
        packages={name: _package_version(name) for name in _PACKAGES},
        libraries=libraries,
        used=used.path if used else None,
        engine_version=used.version if used else None,
        known_circuit=_known(used) if used else None,
        notes=tuple(notes),
    )


def doctor_schema() -> dict[str, Any]:
    """Return the JSON Schema of an examination."""
    text = resources.files("analog.engine").joinpath("doctor_schema.json").read_text("utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def _examine_all(
    libraries: Sequence[Library], chosen: Library | None
) -> tuple[ExaminedLibrary, ...]:
    with tempfile.TemporaryDirectory(prefix="edgeproof-") as folder:
        return tuple(
            _examine(library, Path(folder) / f"library-{number}", library == chosen)
            for number, library in enumerate(libraries)
        )


def _examine(library: Library, folder: Path, used: bool) -> ExaminedLibrary:
    """Let a process of its own load the library: a broken one may end it."""
    worker = start_process(Setup(library.path, folder, None, _LIMIT_S))
    hello = greeting(worker) or Hello("", math.nan, "it was killed from outside")
    end_all([worker])
    wrong = hello.problem or ("" if math.isfinite(hello.error_share) else "the circuit did not run")
    return ExaminedLibrary(
        str(library.path),
        library.reason,
        used,
        hello.version or None,
        None if wrong else hello.error_share,
        wrong,
    )


def _known(used: ExaminedLibrary) -> KnownCircuit | None:
    if used.error_share is None:
        return None
    return KnownCircuit(used.error_share, TOLERANCE, used.error_share <= TOLERANCE)


def _remarks(used: ExaminedLibrary) -> list[str]:
    if used.problem:
        return [f"The library in use does not work: {used.problem}. {REMEDY}"]
    major = (used.version or "").split(".")[0].rstrip("+")
    if major in TESTED_VERSIONS:
        return []
    return [f"ngspice {used.version} is not among the tested versions {', '.join(TESTED_VERSIONS)}"]


def _package_version(name: str) -> str | None:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return None
