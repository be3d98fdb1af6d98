"""`edgeproof parts NAME`: limits, columns, sources, model parameters and figures of curves."""

from __future__ import annotations

import json
import re

import jsonschema
import pytest
from cli_cases import run

from analog.cards import all_cards, parts_schema


def shown(*arguments: str) -> str:
    result = run("parts", *arguments)
    assert result.exit_code == 0
    return result.stdout


def row(text: str, *start: str) -> list[str]:
    """Return the cells of the first line that begins with the cells `start`."""
    cells = [re.split(r"  +", line.strip()) for line in text.splitlines()]
    return next(line for line in cells if line[: len(start)] == list(start))


def test_schmitt_shows_columns_limits_sources_and_model_parameters() -> None:
    """TI CD40106B, SCHS097F, section 6.5: V_P 4.6/5.9/7.1 V at 10 V."""
    text = shown("40106")
    for maker in ("TI", "Philips", "National"):
        assert f"\n{maker}\n" in text
        assert f"Model of {maker}: models/schmitt.lib" in text
    assert row(text, "V_P", "10 V")[:5] == ["V_P", "10 V", "4.6 V", "5.9 V", "7.1 V"]
    assert "SCHS097F" in row(text, "V_P", "5 V")[-1]
    model = text[text.index("Model of TI") :]
    assert row(model, "argument") == ["argument", "at 5 V", "at 10 V", "at 15 V"]
    assert row(model, "v_p") == ["v_p", "2.9 V", "5.9 V", "8.8 V"]
    assert row(model, "t_pd") == ["t_pd", "140 ns", "70 ns", "60 ns"]
    assert "from: the typical figures above" in model


def test_built_in_device_names_the_source_of_its_parameters() -> None:
    text = shown("2N3904")
    assert "Model of Fairchild: SPICE's own NPN" in text
    assert "from: Fairchild 2N3904" in text


def test_curves_are_drawn_with_axes_units_and_source() -> None:
    text = shown("BTA06-C")
    figure = text[text.index("I_GT_ratio (ST)\n") :]
    lines = figure.splitlines()
    assert lines[1].strip() == "typical trigger current over that at 25 °C"
    assert lines[2].split() == ["2.28", "+*"]
    assert lines[15].strip() == "temperature, °C"
    assert lines[16].strip().startswith("source: ST BTA06/BTB06")


def test_technology_shows_tolerance_leakage_and_its_laws() -> None:
    text = shown("X7R")
    assert row(text, "tolerance")[1] == "-10% +10%"
    assert "at the applied voltage" in row(text, "leakage, largest")[1]
    assert "* lowest   + typical   o highest" in text


def test_plain_output_has_no_control_characters() -> None:
    for name in ("40106", "BTA06-C", "X7R"):
        assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f]", shown(name))


def test_object_carries_models_and_figures() -> None:
    found = json.loads(shown("BTA06-C", "--json"))
    jsonschema.validate(found, parts_schema())
    (part,) = found["parts"]
    assert part["models"][0]["arguments"]["IL"] == pytest.approx(40e-3)
    assert [plot["name"] for plot in part["plots"]] == ["I_GT_ratio", "I_H_ratio", "V_GT_ratio"]
    assert part["plots"][0]["lines"][1].split() == ["2.28", "+*"]


def test_every_card_can_be_shown_and_listed() -> None:
    listed = shown()
    for card in all_cards():
        assert card.identifier in listed
        assert shown(card.identifier).startswith(f"{card.identifier}: {card.title}")
