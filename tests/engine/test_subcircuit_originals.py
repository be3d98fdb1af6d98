"""A rewritten sub-circuit against the user's own text, both under plain ``ngspice -b``."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from subcircuit_cases import CASES, batch, simulate

from analog.subcircuits import read_subcircuit, write_subcircuit
from analog.subcircuits.devices import MODEL_PARAMETERS
from analog.subcircuits.functions import FUNCTIONS

TOLERANCE = 1e-3
"""Of the largest voltage: both runs choose their own steps at reltol 1e-5."""


@pytest.mark.parametrize("title", CASES)
def test_the_rewritten_circuit_gives_the_voltages_of_the_original(
    title: str, tmp_path: Path, figure: Callable[[str], None]
) -> None:
    case = CASES[title]
    written = simulate(case, case.text, case.name, tmp_path / "original", case.handed_over)
    text = case.text.replace("n=3", case.handed_over) if case.handed_over else case.text
    ours = write_subcircuit(read_subcircuit(text, "case.cir", case.name).circuit)
    rewritten = simulate(case, ours, "block", tmp_path / "rewritten")
    worst = 0.0
    for vector in case.vectors:
        level = np.interp(written["time"], rewritten["time"], rewritten[vector])
        largest = np.ptp(written[vector])
        assert largest > 0.1  # something happens there
        worst = max(worst, float(np.abs(level - written[vector]).max() / largest))
    figure(f"largest difference {100 * worst:.2g} % of the swing")
    assert worst < TOLERANCE


@pytest.mark.parametrize("name", FUNCTIONS)
def test_functions_have_the_values_ngspice_gives_them(name: str, tmp_path: Path) -> None:
    """Ours while reading, ngspice's own in a source."""
    arguments = (-2.5, -0.75, 0.0, 0.5, 1.0, 3.5)
    calls = []
    for x in arguments:
        more = ",1.5" if FUNCTIONS[name][0] == 2 else ""
        shift = 4.0 if name in ("ln", "log", "log10", "sqrt") else 0.0
        scale = 0.25 if name in ("acos", "asin") else 1.0
        first = abs(x) if name == "pow" else x * scale + shift
        calls.append(f"{name}(({first}){more})")
    deck = ["functions"]
    for k, call in enumerate(calls):
        deck += [f"B{k} n{k} 0 v={call}", f"R{k} n{k} 0 1k"]
    values = batch("\n".join([*deck, ".op", ".end", ""]), tmp_path)
    for k, call in enumerate(calls):
        text = f".subckt a b c\nV1 b c {{{call}}}\n.ends"
        (part,) = read_subcircuit(text, "f.cir").circuit.parts
        ours = part.value.numbers[0]
        assert ours == pytest.approx(values[f"n{k}"][0], rel=1e-6, abs=1e-12), call


NUMBERS = "1t 1g 1meg 1MEG 1k 10M 1m 1mil 1u 1n 1p 1f 2.2kohm 5 .5 5. 1e-3 1E3k 1e3meg 100nF 3hz 7v"


@pytest.mark.parametrize("text", NUMBERS.split())
def test_numbers_have_the_values_ngspice_reads(text: str, tmp_path: Path) -> None:
    values = batch(f"numbers\nV1 a 0 {text}\nR1 a 0 1k\n.op\n.end\n", tmp_path)
    (part,) = read_subcircuit(f".subckt x b c\nV1 b c {text}\n.ends", "n.cir").circuit.parts
    assert part.value.numbers[0] == pytest.approx(values["a"][0], rel=1e-9)


@pytest.mark.parametrize(
    ("kind", "element"),
    [
        ("d", "D1 a 0 m"),
        ("npn", "Q1 a b 0 m"),
        ("pnp", "Q1 a b 0 m"),
        ("nmos", "M1 a b 0 0 m"),
        ("pmos", "M1 a b 0 0 m"),
        ("njf", "J1 a b 0 m"),
        ("pjf", "J1 a b 0 m"),
    ],
)
def test_every_model_parameter_is_one_ngspice_knows(
    kind: str, element: str, tmp_path: Path
) -> None:
    names = {*MODEL_PARAMETERS[kind] - {"level"}, "bogus"}
    unknown = set(names)
    # A MOSFET's parameter belongs to one level at least.
    for level in ("level=1", "level=2", "level=3") if "mos" in kind else ("",):
        values = " ".join(f"{name}=0.5" for name in sorted(names))
        lines = ["models", "V1 a 0 1", "V2 b 0 0.5", element, f".model m {kind} ({level} {values})"]
        said = heard("\n".join([*lines, ".op", ".end", ""]), tmp_path)
        unknown &= {name for name in names if f"unrecognized parameter ({name})" in said}
    assert unknown == {"bogus"}


def heard(deck: str, folder: Path) -> str:
    """Return all that ngspice says about a deck, in lower case."""
    (folder / "deck.cir").write_text(deck, encoding="ascii")
    (folder / ".spiceinit").touch()
    done = subprocess.run(
        ["ngspice", "-b", "deck.cir"], cwd=folder, capture_output=True, text=True, check=False
    )
    return (done.stdout + done.stderr).lower()
