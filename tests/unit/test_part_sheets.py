"""Model arguments and curves that a card's page shows."""

from __future__ import annotations

import json

import jsonschema
import pytest

from analog.cards import all_cards, find_card, parts_schema
from analog.circuits.part_models import part_model, tied_inputs
from analog.circuits.part_sheets import (
    argument_unit,
    curve_sheets,
    model_sheets,
    part_sheets,
)


def test_every_card_has_its_sheet_and_the_schema_describes_it() -> None:
    records = json.loads(json.dumps(part_sheets(all_cards()), allow_nan=False))
    jsonschema.validate(records, parts_schema())
    modelled = {part["identifier"] for part in records["parts"] if part["models"]}
    assert {"40106", "4011UB", "4013", "3063", "BTA06-C", "7809", "1N4148", "PC817"} <= modelled
    assert not modelled & {"X7R", "metal-film"}


def test_schmitt_has_a_model_per_maker_and_supply() -> None:
    """TI CD40106B, SCHS097F, section 6.5: typical thresholds at 10 V are 5.9 V and 3.9 V."""
    sheets = model_sheets(find_card("40106"))
    assert len(sheets) == 9
    (sheet,) = [s for s in sheets if s.maker == "TI" and s.model.supply_v == 10]
    assert sheet.title == "models/schmitt.lib at 10 V"
    arguments = sheet.model.as_dict()
    assert (arguments["v_p"], arguments["v_n"], arguments["i_ol"]) == (5.9, 3.9, 2.6e-3)
    assert arguments["v_oh"] == pytest.approx(0.5)
    assert model_sheets(find_card("1N4148"))[0].title == "built in D"


def test_logic_model_asks_for_the_supply() -> None:
    card = find_card("40106")
    with pytest.raises(ValueError, match="give vdd"):
        part_model(card, card.columns[0])


def test_tied_inputs_raise_both_thresholds() -> None:
    """ST HCF4093B, DC table: 7.0 V and 5.1 V with both inputs tied, at 10 V."""
    column = find_card("4093").column("ST")
    assert tied_inputs(column, 10.0) == {"v_p": 7.0, "v_n": 5.1}


def test_three_quadrant_triac_never_fires_in_the_fourth() -> None:
    arguments = model_sheets(find_card("BTA06-CW"))[0].model.as_dict()
    assert arguments["IGT4"] == 1e3
    assert arguments["DVDT"] == pytest.approx(400)
    assert arguments["DIDTC"] == pytest.approx(3.5)


def test_units_of_arguments() -> None:
    schmitt = model_sheets(find_card("40106"))[0].model
    units = {name: argument_unit(schmitt, name) for name in schmitt.as_dict()}
    assert (units["v_p"], units["i_ol"], units["t_pd"], units["vto"]) == ("V", "A", "s", "V")
    triac = model_sheets(find_card("BTA06-C"))[0].model
    units = {name: argument_unit(triac, name) for name in triac.as_dict()}
    assert (units["IGT1"], units["VGT"], units["RD"], units["DVDT"]) == ("A", "V", "Ω", "V/µs")
    assert argument_unit(model_sheets(find_card("1N4148"))[0].model, "IS") == ""


def test_model_says_where_it_comes_from() -> None:
    assert model_sheets(find_card("40106"))[0].source == "the typical figures above"
    assert model_sheets(find_card("2N3904"))[0].source.startswith("Fairchild 2N3904")


def test_curves_of_a_triac_fall_with_temperature() -> None:
    """ST BTA06/BTB06 (Feb 2006), figure 7: 2.28 at −40 °C, 0.435 at 125 °C."""
    sheets = {sheet.name: sheet for sheet in curve_sheets(find_card("BTA06-C"))}
    assert set(sheets) == {"I_GT_ratio", "I_H_ratio", "V_GT_ratio"}
    trigger = sheets["I_GT_ratio"]
    assert trigger.title == "I_GT_ratio (ST)"
    assert trigger.lines[1].split() == ["2.28", "+*"]
    assert trigger.lines[11].split()[0] == "0.435"
    assert trigger.lines[11].endswith("*")
    assert trigger.lines[13].split() == ["-40", "42.5", "125"]
    assert trigger.lines[14].strip() == "temperature, °C"
    assert "figure 7" in trigger.source


def test_laws_of_a_capacitor_share_one_figure() -> None:
    (sheet,) = curve_sheets(find_card("X7R"))
    assert sheet.title == "temperature law"
    assert sheet.lines[-1].split() == ["*", "lowest", "+", "typical", "o", "highest"]
    assert sheet.lines[1].split()[0] == "15"


def test_every_curve_of_every_card_has_its_figure() -> None:
    for card in all_cards():
        wanted = sum(len(column.curves) for column in card.columns)
        wanted += card.technology is not None
        assert len(curve_sheets(card)) == wanted
