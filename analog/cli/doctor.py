"""`edgeproof doctor`: what this machine has, and whether its ngspice computes correctly."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import click

from analog.cli import options

if TYPE_CHECKING:
    from analog.engine.doctor import Examination, ExaminedLibrary


@click.command()
@options.as_json
def command(as_json: bool) -> int:
    """Say which Python and ngspice are used and check one circuit of known answer."""
    from analog.engine.doctor import doctor

    found = doctor()
    if as_json:
        click.echo(json.dumps(found.as_dict(), ensure_ascii=False))
    else:
        _show(found)
    return found.exit_code


def _show(found: Examination) -> None:
    from analog.cli.display import say

    say(f"edgeproof {found.package_version}, Python {found.python}, {found.system}")
    say(", ".join(f"{name} {version or 'missing'}" for name, version in found.packages.items()))
    for library in found.libraries:
        say(f"libngspice: {_line(library)}")
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


def _line(library: ExaminedLibrary) -> str:
    used = "used" if library.used else "not used"
    state = library.problem or f"version {library.version}"
    return f"{library.path} ({library.reason}; {used}; {state})"
