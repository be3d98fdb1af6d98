"""One bad example per rule: the edit that breaks it, where it is reported, and in which words.

Every example is an edit of one good design. The line expected is counted in the edited text,
not taken from the reader.
"""

from __future__ import annotations

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


def problems(text: str) -> tuple[Problem, ...]:
    with pytest.raises(InputError) as caught:
        parse_design(text, "it.toml")
    return caught.value.problems


def edited(old: str, new: str) -> str:
    assert GOOD.count(old) == 1, f"{old!r} must occur once"
    return GOOD.replace(old, new)


def line_of(text: str, marker: str) -> int:
    return text[: text.index(marker)].count("\n") + 1


def test_the_good_design_is_good() -> None:
    assert parse_design(GOOD, "it.toml").name == "good-one"
    assert parse_design(GOOD + LIMIT, "it.toml").limits[0].minimum == 1e-3


#: (old text, new text, text on the line blamed, column, key, words of the rule, of the remedy)
FORM = [
    ("edgeproof = 1", "edgeproof = 1\nlimits = 3", "limits", 10, "limits", "a list", "[[limits]]"),
    (
        'kind = "resistive"',
        'kind = "inductive"\npower_factor = nan',
        "power_factor",
        16,
        "load.power_factor",
        "no number",
        "text",
    ),
    (
        'kind = "resistive"',
        'kind = "inductive"\npower_factor = 1.5',
        "power_factor",
        16,
        "load.power_factor",
        "over 1",
        "at most",
    ),
    ("edgeproof = 1", "", "\n", 1, "edgeproof", "version is missing", "edgeproof = 1"),
    ("edgeproof = 1", "edgeproof = 2", "edgeproof", 13, "edgeproof", "not known", "edgeproof = 1"),
    ("edgeproof = 1", 'edgeproof = "1"', "edgeproof", 13, "edgeproof", "not known", "= 1"),
    ("[reset]", "[rest]", "[rest]", 2, "rest", "not known", "Nearest: reset"),
    ("[reset]", "[wifi]", "[wifi]", 2, "wifi", "not known", "Known here: edgeproof, design"),
    (
        "discharge_diode =",
        "discharge_doide =",
        "discharge_doide",
        1,
        "reset.discharge_doide",
        "not known",
        "Nearest: discharge_diode",
    ),
    ('rail = "9 V 5%"\n', "", "[supply]", 2, "supply.rail", "missing", 'rail = "9 V 5%"'),
    ('kind = "resistive"\n', "", "[load]", 2, "load.kind", "missing", "resistive, inductive"),
    ('opto = "MOC3053"\n', "", "[gate_drive]", 2, "gate_drive.opto", "missing", "Add it"),
    (
        "[environment]\n",
        "[mains.x]\n",
        "edgeproof",
        1,
        "environment",
        "section [environment]",
        "ambient",
    ),
    ('"good-one"', '"Good One"', "name =", 9, "design.name", "small letters", "propagator-mat"),
    ('"good-one"', '"../../x"', "name =", 9, "design.name", "small letters", "propagator-mat"),
    ('"good-one"', '"a\\nb"', "name =", 8, "design.name", "small letters", "propagator-mat"),
    ('"good-one"', '"a\\n"', "name =", 8, "design.name", "small letters", "propagator-mat"),
    ('"good-one"', '"' + "a" * 65 + '"', "name =", 9, "design.name", "longer than 64", "Shorten"),
    ('"good-one"', "7", "name =", 8, "design.name", "no text", "quotes"),
    ('"A design without a fault"', '"a\\nb"', "title", 9, "design.title", "one line", "notes"),
    ('"9 V 5%"', "9", "rail", 8, "supply.rail", "bare number has no unit", '"9 V 5%"'),
    ('"9 V 5%"', "true", "rail", 8, "supply.rail", "no value", "text"),
    ('"9 V 5%"', '"9 A 5%"', "rail", 11, "supply.rail", "'A' is not the unit V", "12 V"),
    ('"9 V 5%"', '"9 5%"', "rail", 11, "supply.rail", "'5%' is not the unit V", "12 V"),
    ('"9 V 5%"', '"9 V 120%"', "rail", 13, "supply.rail", "100 % or more", "under 100 %"),
    ('"9 V 5%"', '"9 V .. 8 V"', "rail", 9, "supply.rail", "minimum is over", "LOW .. "),
    ('"9 V 5%"', '"-9 V 5%"', "rail", 9, "supply.rail", "not above 0", "above"),
    ('"230 V"', '"0 V"', "voltage", 12, "mains.voltage", "not above 0", "above"),
    ('"230 V"', '"1e999"', "voltage", 13, "mains.voltage", "powers of ten", "12 V"),
    ('"230 V"', '"nan V"', "voltage", 12, "mains.voltage", "begin with a number", "12 V"),
    ('"230 V"', "nan", "voltage", 11, "mains.voltage", "bare number", "text"),
    ('"60 W 10%"', '"60 W 100%"', "power", 15, "load.power", "100 % or more", "under 100 %"),
    (
        '"680R"',
        '"-680R"',
        "led_resistor",
        17,
        "gate_drive.led_resistor",
        "not above zero",
        "4k7",
    ),
    ('"680R"', '"0R"', "led_resistor", 17, "gate_drive.led_resistor", "not above zero", "4k7"),
    ('"680R"', '"680"', "led_resistor", 20, "gate_drive.led_resistor", "Ω is missing", "4k7"),
    ('"680R"', '"680 V"', "led_resistor", 21, "gate_drive.led_resistor", "'V' is not", "4k7"),
    ('"680R"', '"680R 5% teflon"', "led_", 25, "gate_drive.led_resistor", "technology", "Known"),
    ('"680R"', '"680R 5% x7r"', "led_", 25, "gate_drive.led_resistor", "a capacitor", "Known"),
    ('"680R"', '"680 TΩ"', "led_", 17, "gate_drive.led_resistor", "over 1e+12", "M is mega"),
    (
        '"1u 10% film 63V"',
        '"1 MF film"',
        'capacitor = "1 MF',
        14,
        "reset.capacitor",
        "over 1",
        "M is mega",
    ),
    ('"40106"\n\n[clocked]', '"40106;quit"\n\n[clocked]', "part", 9, "conditioner.part", "", ""),
    ('"MOC3053"', '".control"', "opto", 9, "gate_drive.opto", "letters, digits", "parts"),
    ('"MOC3053"', '"{shell rm}"', "opto", 9, "gate_drive.opto", "letters, digits", "parts"),
    ('"MOC3053"', '"../../x"', "opto", 9, "gate_drive.opto", "letters, digits", "parts"),
    ('"MOC3053"', '"MOC3053\\nR1 1 0 1"', "opto", 8, "gate_drive.opto", "letters", "parts"),
    ('"MOC3053"', '"MOC3053\\n"', "opto", 8, "gate_drive.opto", "letters, digits", "parts"),
    ('"npn"', '"pnp"', "driver =", 10, "gate_drive.driver", "known words", "'npn'"),
    ('part = "4040"', 'part = "4040"\ncount = 0', "count", 9, "clocked.count", "greater", ""),
    ('part = "4040"', 'part = "4040"\ncount = "2"', "count", 9, "clocked.count", "whole", "whole"),
    (
        'receiver = "40106"',
        'receiver = "40106"\nbutton = "yes"',
        "button",
        10,
        "reset.button",
        "true nor false",
        "without quotes",
    ),
    ('"5 °C"', '"-80 °C"', "ambient_m", 20, "environment.ambient_minimum", "at least -65", ""),
    ('"pass"', '"maybe"', "verdict", 11, "expect.verdict", "known words", "'pass'"),
    (
        END,
        'verdict = "fail"\nfails = "reset.hold_time"\n',
        "fails",
        9,
        "expect.fails",
        "no list",
        "list",
    ),
    (
        END,
        'verdict = "fail"\nfails = ["reset.hold_time", "oops"]\n',
        "fails",
        30,
        "expect.fails[1]",
        "bench.measure",
        "turn_on_voltage",
    ),
    ("[load]", "[[load]]", "[[load]]", 3, "load", "no table", "[section]"),
]

MEANING = [
    (
        'transformer_rating = "3 VA"',
        'transformer_rating = "3 VA"\nregulator = "7812"',
        "regulator",
        13,
        "supply.regulator",
        "makes 11.5 to 12.5 V, the rail is 9 V",
        "rail",
    ),
    (
        'transformer_rating = "3 VA"',
        'transformer_rating = "3 VA"\nregulator = "7890"',
        "regulator",
        13,
        "supply.regulator",
        "no part card",
        "7809",
    ),
    (
        '[conditioner]\npart = "40106"\n\n[clocked]\npart = "4040"\n',
        "",
        "[line_sense]",
        2,
        "line_sense",
        "needs a receiver",
        "[clocked]",
    ),
    (
        '[conditioner]\npart = "40106"\n',
        '[[limits]]\nmeasure = "conditioner.hysteresis"\nminimum = "1 V"\nreason = "mine"\n',
        "measure",
        11,
        "limits[0].measure",
        "no section [conditioner]",
        "add the section",
    ),
    (
        '"5 °C"',
        '"60 °C"',
        "ambient_minimum",
        19,
        "environment.ambient_minimum",
        "over the maximum of 50 °C",
        "Swap",
    ),
    (
        'ambient_maximum = "50 °C"',
        'ambient_maximum = "50 °C"\nambient_typical = "55 °C"',
        "ambient_typical",
        19,
        "environment.ambient_typical",
        "outside 5 to 50 °C",
        "inside",
    ),
    (
        'frequency = "50 Hz"',
        'frequency = "50 Hz"\nvoltage_minimum = "260 V"',
        "voltage_minimum",
        19,
        "mains.voltage_minimum",
        "over the maximum of 253 V",
        "Swap",
    ),
    (
        'frequency = "50 Hz"',
        'frequency = "50 Hz"\nvoltage_minimum = "240 V"',
        "voltage_minimum",
        19,
        "mains.voltage_minimum",
        "over the nominal 230 V",
        "Mend",
    ),
    (
        'frequency = "50 Hz"',
        'frequency = "50 Hz"\nvoltage_maximum = "220 V"',
        "voltage_maximum",
        19,
        "mains.voltage_maximum",
        "under the nominal 230 V",
        "Mend",
    ),
    ("[clocked]\npart", "[design.x]\npart", "[conditioner]", 2, "conditioner", "[clocked]", ""),
    (
        '\n[load]\nkind = "resistive"\npower = "60 W 10%"\n',
        "",
        "[gate_drive]",
        2,
        "gate_drive",
        "needs [load]",
        "Add the section [load]",
    ),
    (
        '[mains]\nvoltage = "230 V"\nfrequency = "50 Hz"\n',
        "",
        "[line_sense]",
        2,
        "line_sense",
        "needs [mains]",
        "[mains]",
    ),
    (
        'transformer_voltage = "12 V"\ntransformer_rating = "3 VA"\n',
        "",
        "[supply]",
        2,
        "supply.transformer_voltage",
        "not described",
        "transformer_rating",
    ),
    (
        'transformer_rating = "3 VA"\n',
        "",
        "transformer_voltage",
        1,
        "supply.transformer_voltage",
        "needs transformer_rating",
        "Add",
    ),
    (
        'bleed_resistor = "10k"',
        'winding_rating = "1 VA"',
        "winding_rating",
        18,
        "line_sense.winding_rating",
        "needs winding_voltage",
        "Add",
    ),
    (
        'bleed_resistor = "10k"',
        'winding_voltage = "9 V"\nwinding_rating = "1 VA"',
        "winding_voltage",
        19,
        "line_sense.winding_voltage",
        "no winding of its own",
        "half-wave",
    ),
    (
        'transformer_voltage = "12 V"',
        'transformer_voltage = "12 V"\nrectifier = "half-wave"',
        "topology",
        12,
        "line_sense.topology",
        "bridge rectifier",
        "bridge",
    ),
    (
        'base_resistor = "10k"\n',
        "",
        "[gate_drive]",
        2,
        "gate_drive.base_resistor",
        "needs base_resistor",
        "Add",
    ),
    (
        'driver_part = "2N3904"\n',
        "",
        "[gate_drive]",
        2,
        "gate_drive.driver_part",
        "needs driver_part",
        "Add",
    ),
    (
        'driver = "npn"\ndriver_part = "2N3904"\n',
        'driver = "logic"\n',
        "base_resistor",
        17,
        "gate_drive.base_resistor",
        "without a transistor",
        "Drop",
    ),
    (
        'opto = "MOC3053"',
        'opto = "MOC3053"\nled_drive = "pulsed"',
        "[gate_drive]",
        2,
        "gate_drive.pulse_width",
        "needs pulse_width",
        "Add",
    ),
    (
        'opto = "MOC3053"',
        'opto = "MOC3053"\npulse_width = "1 ms"',
        "pulse_width",
        15,
        "gate_drive.pulse_width",
        "has no pulse_width",
        "pulsed",
    ),
    (
        'opto = "MOC3053"',
        'opto = "MOC3053"\nled_drive = "pulsed"\npulse_width = "10 ms"',
        "pulse_width",
        15,
        "gate_drive.pulse_width",
        "half-cycle of 10 ms",
        "Shorten",
    ),
    (
        'opto = "MOC3053"',
        'opto = "MOC3053"\nsnubber_resistor = "39R"',
        "snubber_resistor",
        20,
        "gate_drive.snubber_resistor",
        "needs snubber_capacitor",
        "Add",
    ),
    (
        'opto = "MOC3053"',
        'opto = "MOC3053"\nsnubber_capacitor = "100n X2 275V"',
        "snubber_capacitor",
        21,
        "gate_drive.snubber_capacitor",
        "needs snubber_resistor",
        "Add",
    ),
    (
        'opto = "MOC3053"',
        'opto = "MOC3053"\nsnubber_resistor = "39R"\nsnubber_capacitor = "100n film 63V"',
        "snubber_capacitor",
        21,
        "gate_drive.snubber_capacitor",
        "under the 253 V of the mains",
        "higher rated",
    ),
    (
        'receiver = "40106"',
        'receiver = "40106"\nbutton_resistor = "100R"',
        "button_resistor",
        19,
        "reset.button_resistor",
        "needs a button",
        "button = true",
    ),
    (
        'part = "40106"',
        'part = "none"\nmaker = "TI"',
        "maker",
        9,
        "conditioner.maker",
        "has no maker",
        "Drop",
    ),
    (
        'part = "40106"',
        'part = "none"\ninputs_tied = true',
        "inputs_tied",
        15,
        "conditioner.inputs_tied",
        "no inputs",
        "Drop",
    ),
    (
        'kind = "resistive"',
        'kind = "resistive"\npower_factor = 0.6',
        "power_factor",
        16,
        "load.power_factor",
        "power factor of 1",
        "inductive",
    ),
    (
        'kind = "resistive"',
        'kind = "inductive"',
        "[load]",
        2,
        "load.power_factor",
        "needs its power factor",
        "0.6",
    ),
    ('part = "4040"', 'part = "4041x"', 'part = "4041x"', 8, "clocked.part", "no part card", "40"),
    ('"MOC3053"', '"MOC3035"', "opto", 8, "gate_drive.opto", "no part card", "Nearest"),
    ('part = "4040"', 'part = "CD40106"', "part", 8, "clocked.part", "not a clocked part", ""),
    ('"2N3904"', '"2N7000"', "driver_part", 15, "gate_drive.driver_part", "not an NPN", "parts"),
    ('"1N4148"', '"4013"', "discharge_diode", 19, "reset.discharge_diode", "not a diode", "parts"),
    (
        'part = "40106"',
        'part = "40106"\nmaker = "Acme"',
        "maker",
        9,
        "conditioner.maker",
        "no column of this maker",
        "TI",
    ),
    (
        'part = "4040"',
        'part = "74HC4040"',
        'part = "74HC4040"',
        8,
        "clocked.part",
        "rail reaches 9.45 V",
        "another family",
    ),
    (
        '"9 V 5%"',
        '"2.5 V 5%"',
        'part = "40106"',
        8,
        "conditioner.part",
        "rail falls to 2.375 V",
        "another family",
    ),
    (
        '"1u 10% film 63V"',
        '"1u 10% film 6V3"',
        'capacitor = "1u',
        13,
        "reset.capacitor",
        "rated 6.3 V, under the 9.45 V",
        "higher rated",
    ),
    (
        '"10n 10% film 63V"',
        '"10n 10% film 5V"',
        'capacitor = "10n',
        13,
        "line_sense.capacitor",
        "rated 5 V, under the 9.45 V",
        "higher rated",
    ),
    (
        'receiver = "40106"',
        'receiver = "40106"\nvalid_supply = "8.8 V"',
        "valid_supply",
        16,
        "reset.valid_supply",
        "never be valid",
        "below the lowest rail",
    ),
    (
        END,
        'verdict = "fail"\n',
        "verdict",
        11,
        "expect.verdict",
        "needs the measures that fail",
        "fails",
    ),
    (
        END,
        END + 'fails = ["reset.hold_time"]\n',
        "fails",
        9,
        "expect.fails",
        "no failing measures",
        "Drop",
    ),
    (
        END,
        'verdict = "fail"\nfails = ["timing.hold_time"]\n',
        "fails",
        10,
        "expect.fails[0]",
        "no bench timing",
        "line_sense, conditioner",
    ),
    (
        END,
        'verdict = "fail"\nfails = ["reset.a", "reset.a"]\n',
        "fails",
        21,
        "expect.fails[1]",
        "named twice",
        "Drop",
    ),
    (
        END,
        END + LIMIT.replace('minimum = "1 ms"\n', ""),
        "measure",
        11,
        "limits[0].measure",
        "needs an end",
        "minimum",
    ),
    (
        END,
        END + LIMIT.replace('"1 ms"\n', '"1 ms"\nmaximum = "0.1 ms"\n'),
        "minimum",
        11,
        "limits[0].minimum",
        "over the maximum",
        "Swap",
    ),
    (
        END,
        END + LIMIT.replace('"1 ms"\n', '"1 ms"\nmaximum = "3 V"\n'),
        "[[limits]]",
        3,
        "limits[0]",
        "different units",
        "one unit",
    ),
    (
        END,
        END + LIMIT + LIMIT.replace("measure", "measure "),
        "measure  ",
        12,
        "limits[1].measure",
        "given twice",
        "Drop",
    ),
    (
        END,
        END + LIMIT.replace("1 ms", "1 parsec"),
        "minimum",
        12,
        "limits[0].minimum",
        "no value with a unit",
        "20 V",
    ),
    (
        END,
        END + LIMIT.replace("the display", " "),
        "reason",
        11,
        "limits[0].reason",
        "empty",
        "why",
    ),
    (
        END,
        END + LIMIT.replace("minimum =", 'unit = "V"\nminimum ='),
        "unit",
        1,
        "limits[0].unit",
        "not known",
        "Known here",
    ),
]


@pytest.mark.parametrize(
    ("old", "new", "marker", "column", "key", "rule", "remedy"),
    FORM + MEANING,
    ids=lambda value: value if isinstance(value, str) and "." in value[:20] else None,
)
def test_each_rule_has_its_place_and_words(
    old: str, new: str, marker: str, column: int, key: str, rule: str, remedy: str
) -> None:
    text = edited(old, new)
    found = [problem for problem in problems(text) if problem.key == key]
    assert found, problems(text)
    problem = found[0]
    assert rule in problem.rule
    assert remedy in problem.remedy
    section_start = max(text.find(new), 0) if marker in new else 0
    line = line_of(text[section_start:], marker) + text[:section_start].count("\n")
    assert (problem.line, problem.column) == (line, column), problem
    assert str(problem).startswith(f"it.toml:{line}:{column}: ")
