"""What is offered as stock: values of IEC 60063, in what a technology is made in."""

from __future__ import annotations

import math
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analog.advice.changes import edits_of, size, steps_between
from analog.advice.editing import edited_text
from analog.advice.knobs import knobs_of
from analog.advice.stock import KEPT, rewritten, value_text, values
from analog.cards import find_card, technology, technology_names
from analog.design import PartValue, parse_design, starter_text
from analog.errors import InputError
from analog.quantities import SERIES, decade, read_component, read_quantity

STARTER = parse_design(starter_text("starter"), "starter.toml")
MAT = {
    knob.name: knob
    for knob in knobs_of(
        parse_design(
            files("analog.scenarios").joinpath("propagator-mat.toml").read_text("utf-8"), "mat.toml"
        )
    )
}
KNOBS = {knob.name: knob for knob in knobs_of(STARTER)}


def part(text: str, nominal: float, make: str) -> PartValue:
    return PartValue(
        nominal=nominal, tolerance_low=-0.1, tolerance_high=0.1, technology=make, text=text
    )


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (4700.0, "Ω", "4k7"),
        (220.0, "Ω", "220R"),
        (0.22, "Ω", "0R22"),
        (1e6, "Ω", "1M"),
        (1.5e6, "Ω", "1M5"),
        (10.0, "Ω", "10R"),
        (4990.0, "Ω", "4k99"),
        (2.2e-6, "F", "2u2"),
        (1e-8, "F", "10n"),
        (4.7e-10, "F", "470p"),
        (4.7e-3, "F", "4700u"),
        (1e-12, "F", "1p"),
    ],
)
def test_values_are_written_as_the_trade_does(value: float, unit: str, text: str) -> None:
    assert value_text(value, unit) == text


@given(st.sampled_from(SERIES), st.integers(0, 191), st.integers(0, 6), st.sampled_from(["Ω", "F"]))
def test_every_stock_value_is_read_back_exactly(
    series: str, index: int, exponent: int, unit: str
) -> None:
    digits = decade(series)  # type: ignore[arg-type]  # hypothesis knows no literals
    shift = exponent if unit == "Ω" else exponent - 12
    value = float(digits[index % len(digits)].scaleb(shift))
    assert float(read_quantity(value_text(value, unit), unit)) == value


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("100k 5% carbon-film 0.25W", "Ω", "4k7 5% carbon-film 0.25W"),
        ("100 kΩ ±5 %", "Ω", "4k7 ±5 %"),
        ("0R22J", "Ω", "4k7J"),
        ("1M", "Ω", "4k7"),
    ],
)
def test_what_follows_the_value_is_kept(text: str, unit: str, expected: str) -> None:
    assert rewritten(part(text, 1.0, "carbon-film"), 4700.0, unit) == expected


def test_every_technology_with_a_card_has_its_stock() -> None:
    makes = {technology(name).identifier for name in technology_names()}
    assert set(KEPT) == makes


@pytest.mark.parametrize("make", sorted(KEPT))
def test_values_are_of_the_series_and_inside_what_is_kept(make: str) -> None:
    kept = KEPT[make]
    middle = math.sqrt(kept.low * kept.high)
    found = values(part("x", middle, make), make, None)
    digits = {float(digit) for digit in decade(kept.series)}
    assert found
    for value in found:
        assert kept.low <= value <= kept.high
        mantissa = value / 10 ** math.floor(math.log10(value) + 1e-9)
        assert min(abs(mantissa - digit) for digit in digits) < 1e-9


def test_capacitors_come_no_finer_than_their_technology() -> None:
    film = part("10n film", 10e-9, "film")
    assert values(film, "film", "E24") == values(film, "film", None)
    assert len(values(film, "film", "E3")) < len(values(film, "film", None))
    resistor = part("10k", 10e3, "carbon-film")
    assert len(values(resistor, "carbon-film", "E96")) > len(values(resistor, "carbon-film", None))


def test_a_step_is_one_of_e24() -> None:
    assert steps_between(10.0, 100.0) == pytest.approx(24.0)
    assert steps_between(100.0, 10.0) == pytest.approx(24.0)
    assert steps_between(10.0, 11.0) == pytest.approx(24 * math.log10(1.1))


def test_choices_come_smallest_first_and_are_read_as_written() -> None:
    for knob in KNOBS.values():
        sizes = [size((choice,)) for choice in knob.fine]
        assert sizes == sorted(sizes)
        assert all(steps > 0 for steps in sizes)
        for choice in knob.fine:
            rules = broken_rules(edited_text(STARTER.text, edits_of((choice,))))
            # a rule about meaning may refuse it, never one about its form
            assert not any(rule.startswith("this is no") for rule in rules), (choice, rules)


def broken_rules(text: str) -> list[str]:
    try:
        parse_design(text, "changed.toml")
    except InputError as error:
        return [problem.rule for problem in error.problems]
    return []


def test_a_triac_is_only_replaced_by_one_of_its_class_or_above() -> None:
    present = find_card("BTA06-SW").columns[0]
    for choice in KNOBS["gate_drive.triac"].fine:
        other = find_card(choice.edits[0].text or "").columns[0]
        for name in ("V_DRM", "I_T_rms"):
            assert other.figure(name).high >= present.figure(name).high, choice
    names = {choice.edits[0].text for choice in KNOBS["gate_drive.triac"].fine}
    assert "BTA06-C" in names
    assert "T410" not in names  # 4 A


def test_an_opto_triac_fires_as_the_one_it_replaces() -> None:
    names = {choice.edits[0].text for choice in KNOBS["gate_drive.opto"].fine}
    assert "MOC3052" in names  # written as the design writes it
    for name in names:
        card = find_card(name or "")
        assert not card.columns[0].has("V_INH"), name
        assert card.columns[0].figure("V_DRM").high >= 600.0


def test_rated_size_and_steadier_make_are_offered() -> None:
    texts = {choice.edits[0].text for choice in KNOBS["line_sense.series_resistor"].fine}
    assert "100k 5% carbon-film 0.5W" in texts
    assert "100k 1% metal-film 0.25W" in texts
    for text in texts:
        assert read_component(text or "", "Ω", "W").technology in ("carbon-film", "metal-film")


def test_what_the_topology_has_room_for_is_offered() -> None:
    bare = STARTER.text.replace('discharge_diode = "1N4148"\n', "").replace(
        'bleed_resistor = "10k 5% carbon-film 0.25W"', ""
    )
    names = {knob.name for knob in knobs_of(parse_design(bare, "bare.toml"))}
    assert {"reset.discharge_diode", "line_sense.bleed_resistor", "gate_drive.snubber"} <= names
    assert "reset.discharge_diode" not in KNOBS


def test_a_lagging_load_is_offered_a_varistor_and_a_warm_triac_a_heatsink() -> None:
    """A varistor only of a rated voltage over the highest mains; neither to a small heat mat."""
    text = files("analog.scenarios").joinpath("proofing-cabinet.toml").read_text(encoding="utf-8")
    bare = parse_design(text.replace('varistor = "10K275"\n', ""), "bare.toml")
    offered = {knob.name: knob for knob in knobs_of(bare)}
    names = {choice.edits[0].text for choice in offered["gate_drive.varistor"].fine}
    assert {"10K275", "14K275"} <= names
    assert "10K130" not in names
    assert "gate_drive.heatsink" not in offered
    warm = parse_design(text.replace('"18 W 10%"', '"180 W 10%"'), "warm.toml")
    heatsinks = {knob.name: knob for knob in knobs_of(warm)}["gate_drive.heatsink"]
    assert [choice.edits[0].text for choice in heatsinks.fine] == ["20 K/W", "10 K/W", "5 K/W"]
    assert not {"gate_drive.varistor", "gate_drive.heatsink"} & MAT.keys()


def test_a_reservoir_is_offered_larger_and_for_more_volts() -> None:
    texts = {choice.edits[0].text for choice in MAT["supply.reservoir"].fine}
    assert {
        "1000u 20% electrolytic 35V",
        "470u 20% electrolytic 50V",
        "1000u 20% electrolytic 63V",
    } <= texts
    assert "470u 20% electrolytic 25V" not in texts
    assert not any("film" in (text or "") for text in texts)


def test_a_regulator_is_only_replaced_by_one_of_its_output() -> None:
    assert [choice.edits[0].text for choice in MAT["supply.regulator"].fine] == ["78L09"]
