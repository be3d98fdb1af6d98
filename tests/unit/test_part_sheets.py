"""Model arguments and curves that a card's page shows."""

from __future__ import annotations

import json

import jsonschema
import pytest

from analog.cards import all_cards, find_card, parts_schema
from analog.circuits.part_models import part_model, tied_inputs
from analog.workflows.part_sheets import (
    BLOCKS,
    curve_sheets,
    model_sheets,
    part_sheets,
    sparkline,
)


def test_every_card_has_its_sheet_and_the_schema_describes_it() -> None:
    records = json.loads(json.dumps(part_sheets(all_cards()), allow_nan=False))
    jsonschema.validate(records, parts_schema())
    modelled = {part["identifier"] for part in records["parts"] if part["models"]}
    assert {"40106", "4013", "3063", "BTA06-C", "7809", "1N4148", "2N7000"} <= modelled
    assert not modelled & {"X7R", "metal-film", "PC817", "4011UB"}


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


def test_sparkline() -> None:
    assert sparkline([0, 1], [0, 7], width=8) == BLOCKS
    assert sparkline([0, 1], [7, 0], width=8) == BLOCKS[::-1]
    assert set(sparkline([0, 1], [2, 2], width=5)) == {BLOCKS[4]}
    assert sparkline([0, 1, 10], [0, 7, 7], width=11) == BLOCKS[0] + BLOCKS[-1] * 10


def test_curves_of_a_triac_fall_with_temperature() -> None:
    sheets = {sheet.name: sheet for sheet in curve_sheets(find_card("BTA06-C"))}
    assert set(sheets) == {"I_GT_ratio", "I_H_ratio", "V_GT_ratio"}
    trigger = sheets["I_GT_ratio"]
    assert trigger.text.startswith("-40 °C █")
    assert trigger.text.endswith("▁ 125 °C, 0.435 to 2.28")


def test_laws_of_a_capacitor() -> None:
    sheets = curve_sheets(find_card("X7R"))
    assert [sheet.name for sheet in sheets] == ["lowest", "typical", "highest"]
    assert sheets[0].smallest == pytest.approx(-0.15)
