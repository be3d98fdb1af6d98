"""The design record: built from notation or from numbers, frozen, completed from the cards."""

from __future__ import annotations

import hashlib
import pickle

import pydantic
import pytest

from analog.cards import technology
from analog.design import (
    Design,
    Environment,
    LimitOverride,
    LineSense,
    Load,
    Mains,
    PartValue,
    Reset,
    Spread,
    Supply,
    parse_design,
)

RESET = """\
edgeproof = 1
[design]
name = "only-reset"
[environment]
ambient_minimum = "-10 °C"
ambient_maximum = "60 °C"
[supply]
rail = "12 V 5%"
transformer_voltage = "15 V"
transformer_rating = "2.2 VA"
[reset]
resistor = "1M"
capacitor = "10u"
receiver = "4093"
driven = "4013"
"""


def test_notation_becomes_numbers_and_keys() -> None:
    design = parse_design(RESET, "it.toml")
    assert design.supply.rail == Spread(
        low=11.4, nominal=12.0, high=12.6, key="supply.rail", text="12 V 5%"
    )
    assert design.reset is not None
    assert design.reset.resistor.key == "reset.resistor"
    assert design.environment.ambient_minimum == -10.0
    assert type(design.reset.resistor.text) is str


def test_what_is_not_said_is_taken_from_the_technology_and_said_so() -> None:
    reset = parse_design(RESET, "it.toml").reset
    assert reset is not None
    carbon, electrolytic = technology("carbon-film"), technology("electrolytic")
    assert (reset.resistor.tolerance_low, reset.resistor.tolerance_high) == (
        carbon.tolerance_low,
        carbon.tolerance_high,
    )
    assert reset.resistor.technology == "carbon-film"
    assert reset.resistor.assumed == ("technology carbon-film", "tolerance ±5 %")
    assert reset.capacitor.technology == "electrolytic"
    assert reset.capacitor.tolerance_high == electrolytic.tolerance_high
    assert reset.capacitor.rating is None


def test_a_technology_is_named_by_any_alias_and_kept_by_its_card() -> None:
    text = RESET.replace('"10u"', '"1u 10% MKT 63V"')
    reset = parse_design(text, "it.toml").reset
    assert reset is not None
    assert reset.capacitor == PartValue(
        nominal=1e-6,
        tolerance_low=-0.1,
        tolerance_high=0.1,
        technology="film",
        rating=63.0,
        key="reset.capacitor",
        text="1u 10% MKT 63V",
    )


def test_what_the_file_leaves_to_cards_and_other_sections_stays_open() -> None:
    design = parse_design(RESET.replace('driven = "4013"\n', ""), "it.toml")
    assert design.reset is not None
    assert (design.reset.driven, design.reset.valid_supply) == (None, None)
    assert design.supply.transformer_regulation is None
    assert (design.mains, design.load, design.clocked) == (None, None, None)


def test_own_regulation_and_valid_supply_are_read() -> None:
    text = RESET.replace('"2.2 VA"', '"2.2 VA"\ntransformer_regulation = "30 %"')
    design = parse_design(text + 'valid_supply = "4 V"\n', "it.toml")
    assert design.supply.transformer_regulation == 0.3
    assert design.reset is not None
    assert (design.reset.driven, design.reset.valid_supply) == ("4013", 4.0)


def test_a_half_wave_sense_may_have_its_own_winding() -> None:
    sense = LineSense(
        topology="half-wave",
        series_resistor="100k 5%",
        capacitor="10n Y5V",
        winding_voltage="9 V",
        winding_rating="0.5 VA",
    )
    assert (sense.winding_voltage, sense.winding_rating) == (9.0, 0.5)
    assert sense.capacitor.assumed == ("tolerance -20 +80 %",)


@pytest.mark.parametrize(
    ("voltage", "frequency", "low", "high"),
    [("230 V", "50 Hz", 198.0, 253.0), ("120 V", "60 Hz", 104.0, 132.0)],
)
def test_usual_mains_ranges(voltage: str, frequency: str, low: float, high: float) -> None:
    mains = Mains(voltage=voltage, frequency=frequency)
    assert (mains.voltage_minimum, mains.voltage_maximum) == (low, high)
    assert mains.frequency_tolerance == 0.01  # EN 50160: 10-s mean within ±1 %


def test_other_mains_take_ten_per_cent_either_way() -> None:
    mains = Mains(voltage=100.0, frequency=50.0)
    assert mains.voltage_minimum == pytest.approx(90.0)
    assert mains.voltage_maximum == pytest.approx(110.0)


def test_supply_times_and_load_have_defaults() -> None:
    supply = Supply(rail="5 V 5%")
    assert (supply.rise_time.low, supply.rise_time.nominal, supply.rise_time.high) == (
        0.01,
        0.05,
        0.2,
    )
    assert supply.rise_time.key == "supply.rise_time"


def test_winding_capacitance_belongs_to_inductive_loads() -> None:
    fan = Load(kind="inductive", power="18 W 10%", power_factor=0.6)
    mat = Load(kind="resistive", power="45 W")
    assert (fan.winding_capacitance, mat.winding_capacitance) == (100e-12, 0.0)


def test_limits_keep_their_unit() -> None:
    in_volts = LimitOverride(measure="a.b", minimum="1 V", maximum="20 V", reason="mine")
    plain = LimitOverride(measure="a.b", maximum=0.1, reason="mine")
    assert (in_volts.minimum, in_volts.maximum, in_volts.unit) == (1.0, 20.0, "V")
    assert (plain.maximum, plain.unit) == (0.1, "1")


def test_records_from_plain_numbers_equal_records_from_notation() -> None:
    plain = Reset(
        resistor=PartValue(
            nominal=47e3,
            tolerance_low=-0.01,
            tolerance_high=0.01,
            technology="metal-film",
            key="reset.resistor",
            text="47k 1% metal-film",
        ),
        capacitor="1u 10% film",
        receiver="40106",
    )
    assert plain == Reset(resistor="47k 1% metal-film", capacitor="1u 10% film", receiver="40106")


def test_records_are_frozen_and_refuse_unknown_names() -> None:
    room = Environment(ambient_minimum="0 °C", ambient_maximum="40 °C")
    with pytest.raises(pydantic.ValidationError, match="frozen"):
        room.ambient_minimum = 3.0
    with pytest.raises(pydantic.ValidationError, match="ambient_maximun"):
        Environment(ambient_minimum=0.0, ambient_maximum=40.0, ambient_maximun=3.0)


def test_design_pickles_and_hashes_its_own_text() -> None:
    design = parse_design(RESET, "it.toml")
    again = pickle.loads(pickle.dumps(design))
    assert again == design
    assert isinstance(again, Design)
    assert design.sha256 == hashlib.sha256(RESET.encode()).hexdigest()
    other = parse_design(RESET + "# a comment\n", "it.toml")
    assert other.sha256 != design.sha256
