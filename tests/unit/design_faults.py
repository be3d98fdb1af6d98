"""A design without a fault, and the check that one edit of it is reported where it stands."""

from __future__ import annotations

from typing import NamedTuple

import pytest

from analog.design import parse_design
from analog.errors import InputError, Problem

GOOD = """\
edgeproof = 1

[design]
name = "good-one"
title = "A design without a fault"

[mains]
voltage = "230 V"
frequency = "50 Hz"

[environment]
ambient_minimum = "5 °C"
ambient_maximum = "50 °C"

[supply]
rail = "9 V 5%"
load_current = "5 mA .. 15 mA .. 30 mA"
transformer_voltage = "12 V"
transformer_rating = "3 VA"

[line_sense]
topology = "bridge-leg"
series_resistor = "100k 5% carbon-film 0.25W"
capacitor = "10n 10% film 63V"
bleed_resistor = "10k"

[conditioner]
part = "40106"

[clocked]
part = "4040"

[reset]
resistor = "470k 5% carbon-film"
capacitor = "1u 10% film 63V"
discharge_diode = "1N4148"
receiver = "40106"

[gate_drive]
driver = "npn"
driver_part = "2N3904"
base_resistor = "10k"
source = "4013"
led_resistor = "680R"
opto = "MOC3053"
gate_resistor = "390R 5% carbon-film 0.5W"
triac = "BTA06-SW"

[load]
kind = "resistive"
power = "60 W 10%"

[expect]
verdict = "pass"
"""

LIMIT = '\n[[limits]]\nmeasure = "reset.hold_time"\nminimum = "1 ms"\nreason = "the display"\n'
END = 'verdict = "pass"\n'


class Fault(NamedTuple):
    """An edit of GOOD and how it must be reported.

    `marker` begins on the blamed line: in the new text when it occurs there, else its first
    occurrence in the file. `rule` and `remedy` are words of the message.
    """

    old: str
    new: str
    marker: str
    column: int
    key: str
    rule: str
    remedy: str


def check_fault(fault: Fault) -> None:
    """Assert that the edited design is refused at that line, column and key, in those words.

    The line is counted in the edited text, not taken from the reader.
    """
    assert GOOD.count(fault.old) == 1, f"{fault.old!r} must occur once"
    text = GOOD.replace(fault.old, fault.new)
    problem = next(found for found in problems(text) if found.key == fault.key)
    start = text.index(fault.new) if fault.marker in fault.new else 0
    line = text.count("\n", 0, text.index(fault.marker, start)) + 1
    assert (problem.line, problem.column) == (line, fault.column), problem
    assert fault.rule in problem.rule
    assert fault.remedy in problem.remedy
    assert str(problem).startswith(f"it.toml:{line}:{fault.column}: ")


def problems(text: str) -> tuple[Problem, ...]:
    """Return what is wrong with a design."""
    with pytest.raises(InputError) as caught:
        parse_design(text, "it.toml")
    return caught.value.problems


def name_of(fault: Fault) -> str:
    """Return a test's name."""
    return f"{fault.key or 'file'}: {fault.rule}"
