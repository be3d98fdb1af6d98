"""`edgeproof doctor`: what this machine has, and whether its ngspice computes correctly."""

from __future__ import annotations

import json
import platform
from dataclasses import asdict, dataclass

import click

from analog import __version__
from analog.cli import exits, options

DOCTOR_SCHEMA = "edgeproof-doctor-1"


@dataclass(frozen=True, slots=True)
class FoundLibrary:
    """A copy of libngspice on this machine, and how it was found."""

    path: str
    reason: str


@dataclass(frozen=True, slots=True)
class KnownCircuit:
    """The RC charge that was simulated: `error_share` is its largest deviation, as a share."""

    error_share: float
    tolerance: float
    right: bool


@dataclass(frozen=True, slots=True)
class Examination:
    """Everything `doctor` found; None where it could not get that far."""

    schema: str
    package_version: str
    python: str
    system: str
    libraries: tuple[FoundLibrary, ...]
    used: str | None
    engine_version: str | None
    known_circuit: KnownCircuit | None
    notes: tuple[str, ...]

    @property
    def exit_code(self) -> int:
        """Return 0 for a right answer, 1 for a wrong one, 3 for none."""
        if self.known_circuit is None:
            return exits.UNDECIDED
        return exits.PASSED if self.known_circuit.right else exits.FAILED


@click.command()
@options.as_json
def command(as_json: bool) -> int:
    """Say which Python and ngspice are used and check one circuit of known answer."""
    found = examine()
    if as_json:
        click.echo(json.dumps(asdict(found), ensure_ascii=False))
    else:
        _show(found)
    return found.exit_code


def examine() -> Examination:
    """Look for libraries, open the engine, simulate the known circuit."""
    from analog.engine.library import find_libraries
    from analog.errors import MachineError, RunError

    libraries = tuple(FoundLibrary(str(lib.path), lib.reason) for lib in find_libraries())
    used = version = known = None
    notes: list[str] = []
    try:
        used, version, known, remark = _try_engine()
        notes += [remark] if remark else []
    except (MachineError, RunError) as error:
        notes.append(str(error))
    return Examination(
        DOCTOR_SCHEMA,
        __version__,
        platform.python_version(),
        platform.platform(),
        libraries,
        used,
        version,
        known,
        tuple(notes),
    )


def _try_engine() -> tuple[str, str, KnownCircuit, str]:
    """Return library, version, the known circuit's answer and the engine's note."""
    import numpy as np

    from analog.engine import open_engine
    from analog.engine.known_circuit import KNOWN_CIRCUIT, KNOWN_ROW, TOLERANCE

    with open_engine(jobs=1) as engine:
        row = np.array(list(KNOWN_ROW.values()))
        run = engine.traces(KNOWN_CIRCUIT, tuple(KNOWN_ROW), row)
        share = run.values["error_share"]
        known = KnownCircuit(share, TOLERANCE, share <= TOLERANCE)
        return str(engine.library.path), engine.version, known, engine.note


def _show(found: Examination) -> None:
    from analog.cli.display import say

    say(f"edgeproof {found.package_version}, Python {found.python}, {found.system}")
    for library in found.libraries:
        used = "used" if library.path == found.used else "not used"
        say(f"libngspice: {library.path} ({library.reason}; {used})")
    if not found.libraries:
        say("libngspice: none found")
    if found.engine_version is not None:
        say(f"ngspice {found.engine_version}")
    if found.known_circuit is not None:
        known = found.known_circuit
        word = "right" if known.right else "WRONG"
        say(
            f"known circuit (an RC charging, closed form): {word}, off by "
            f"{known.error_share:.1e} of the level, allowed {known.tolerance:.0e}"
        )
    for remark in found.notes:
        say(remark)
