"""The card format: every shipped file obeys it, and each rule refuses what breaks it."""

from __future__ import annotations

import pickle
import re
from pathlib import Path

import jsonschema
import pytest

from analog.cards import (
    CardFileError,
    MissingFigureError,
    UnknownMakerError,
    UnknownPartError,
    all_cards,
    count_sources,
    family_figures,
    find_card,
    low_confidence,
    model_text,
    models_folder,
    nearest_names,
    part_records,
    parts_schema,
    technology,
    technology_names,
    transformer_for,
)
from analog.cards.loader import read_card_file
from analog.errors import MachineError

MINIMAL = """
card = 1
identifier = "X1"
kind = "schmitt"
title = "a part"
typical_spread = 0.3
[sources]
ti = "TI X1"
[[column]]
maker = "TI"
[column.figures.V_P]
unit = "V"
vdd = [5, 10]
min = [2, 4]
typ = [3, 6]
max = [4, 8]
source = "ti: table 1"
"""


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "x1.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_minimal_card_reads(tmp_path: Path) -> None:
    (card,) = read_card_file(written(tmp_path, MINIMAL), {})
    figure = card.column("ti").figure("V_P", vdd=10)
    assert (figure.minimum, figure.typical, figure.maximum) == (4, 6, 8)
    assert str(figure.source) == "TI X1, table 1"


@pytest.mark.parametrize(
    ("old", "new", "rule"),
    [
        ('title = "a part"', 'title = "a part"\ncolour = "red"', "Extra inputs"),
        ('unit = "V"', 'unit = "furlong"', "unit"),
        ("typ = [3, 6]", "typ = [5, 6]", "min <= typ <= max"),
        ("typ = [3, 6]", "typ = [3, 6, 9]", "as long as vdd"),
        ("vdd = [5, 10]", "vdd = [10, 5]", "vdd must rise"),
        ("typ = [3, 6]", "typ = 3", "lists go with vdd"),
        ("max = [4, 8]", "max = [4, nan]", "finite"),
        ("min = [2, 4]", 'min = ["2", "4"]', "min"),
        ('source = "ti: table 1"', 'source = "st: table 1"', "not in [sources]"),
        ('source = "ti: table 1"', 'source = "memory: sure"', "high, medium or low"),
        ('source = "ti: table 1"', 'source = "computed"', "needs the method"),
        ('source = "ti: table 1"', "", "source"),
        ('maker = "TI"', 'maker = "TI"\n[[column]]\nmaker = "ti"', "two columns have one maker"),
        ('kind = "schmitt"', 'kind = "capacitor"', "[technology]"),
        ('kind = "schmitt"', 'kind = "valve"', "kind"),
        ('identifier = "X1"', 'identifier = "X1\\n.control"', "identifier"),
        ("typical_spread = 0.3", 'typical_spread = 0.3\nfamily = "9000"', "has no file"),
        ("typical_spread = 0.3", "typical_spread = 0.3\nonly_variants = true", "needs variants"),
        ("card = 1", "card = 2", "card"),
        ("card = 1", "card = = 1", "line 2"),
    ],
)
def test_broken_card_is_refused(tmp_path: Path, old: str, new: str, rule: str) -> None:
    assert old in MINIMAL
    with pytest.raises(CardFileError) as caught:
        read_card_file(written(tmp_path, MINIMAL.replace(old, new)), {})
    assert rule in str(caught.value)
    assert caught.value.file == "x1.toml"


def test_all_faults_of_a_card_come_together(tmp_path: Path) -> None:
    text = MINIMAL.replace('unit = "V"', 'unit = "furlong"').replace("card = 1", "card = 3")
    with pytest.raises(CardFileError) as caught:
        read_card_file(written(tmp_path, text), {})
    assert len(caught.value.faults) == 2


def test_a_variant_replaces_joins_and_drops_figures(tmp_path: Path) -> None:
    text = MINIMAL + (
        '[column.figures]\nC_in = { unit = "F", typ = 5e-12, source = "ti" }\n'
        '[[variant]]\nidentifier = "X2"\nwithout = ["V_P"]\n'
        '[variant.figures]\nV_N = { unit = "V", typ = 1, source = "ti" }\n'
        '[[variant]]\nidentifier = "X3"\nbase = "X2"\n'
        '[variant.figures]\nC_in = { unit = "F", typ = 9e-12, source = "ti" }\n'
    )
    main, second, third = read_card_file(written(tmp_path, text), {})
    assert main.columns[0].has("V_P")
    assert not main.columns[0].has("V_N")
    assert not second.columns[0].has("V_P")
    assert third.columns[0].figure("V_N").typical == 1
    assert third.columns[0].figure("C_in").typical == 9e-12
    assert second.columns[0].figure("C_in").typical == 5e-12


def test_every_shipped_card_is_valid_and_named_once() -> None:
    cards = all_cards()
    assert len({card.identifier for card in cards}) == len(cards)
    for card in cards:
        assert find_card(card.identifier) is card
        for alias in card.aliases:
            assert find_card(alias) is card
        assert card.technology is not None or any(column.tables for column in card.columns)


def test_every_figure_has_unit_source_and_an_end() -> None:
    tables = [t for card in all_cards() for column in card.columns for t in column.tables.values()]
    tables += [table for family in family_figures().values() for table in family.values()]
    assert len(tables) > 2000
    for table in tables:
        assert table.unit
        assert table.source.kind in ("document", "memory", "practice", "computed")
        assert str(table.source)
        assert (table.source.confidence != "") == (table.source.kind == "memory")
        assert any(end is not None for end in (table.minimum, table.typical, table.maximum))


def test_only_the_parts_of_variant_files_are_parts() -> None:
    with pytest.raises(UnknownPartError) as caught:
        find_card("302x")
    assert "3020" in caught.value.nearest


@pytest.mark.parametrize(
    ("name", "nearest"),
    [
        ("4016", "40106"),
        ("40107", "40106"),
        ("1N4149", "1N4148"),
        ("2N3940", "2N3904"),
        ("MOC3036", "3063"),
        ("BTA06-600D", "BTA06-C"),
        ("74HC4O40", "74HC4040"),
    ],
)
def test_misspelt_part_gets_the_nearest_names(name: str, nearest: str) -> None:
    with pytest.raises(UnknownPartError) as caught:
        find_card(name)
    assert nearest in caught.value.nearest
    assert nearest in str(caught.value)
    assert len(caught.value.nearest) <= 5


def test_a_name_like_nothing_has_no_nearest() -> None:
    assert nearest_names("§§§§§§§§") == ()
    with pytest.raises(UnknownPartError, match="lists all part cards"):
        find_card("../../etc/passwd\n.control")


def test_names_fold_case_spaces_and_hyphens() -> None:
    card = find_card("BTA06-600C")
    for name in ("bta06-600c", "BTA06 600C", "BTA06_600C", "bta06-c"):
        assert find_card(name) is card


def test_voltage_class_of_a_triac_is_its_own_part() -> None:
    low, high = find_card("BTA06-600C").columns[0], find_card("BTA06-800C").columns[0]
    assert low.figure("V_DRM").high == 600
    assert high.figure("V_DRM").high == 800
    assert high.figure("I_GT_1") == low.figure("I_GT_1")


def test_missing_figures_and_makers_are_errors_that_pickle() -> None:
    card = find_card("40106")
    with pytest.raises(MissingFigureError) as missing:
        card.columns[0].figure("I_GT_1")
    with pytest.raises(KeyError):
        card.columns[0].curve("I_GT_ratio")
    with pytest.raises(UnknownMakerError) as maker:
        card.column("Signetics")
    assert "TI, Philips, National" in str(maker.value)
    for error in (missing.value, maker.value, UnknownPartError("a", ("b",))):
        assert str(pickle.loads(pickle.dumps(error))) == str(error)
    assert pickle.loads(pickle.dumps(card)) == card


def test_chosen_columns_are_one_makers_or_all() -> None:
    card = find_card("40106")
    assert card.chosen("national")[0].maker == "National"
    assert card.chosen(None) == card.columns


def test_schmitt_parts_inherit_drive_but_no_input_levels_or_edge_limit() -> None:
    column = find_card("74HC14").columns[0]
    assert column.has("I_OL")
    assert column.has("clamp_current_absolute")
    for name in ("V_IL", "V_IH", "transition_max", "transition_rate_max"):
        assert not column.has(name)
        assert find_card("74HC74").columns[0].has(name)


def test_every_figure_and_curve_name_is_explained_beside_the_cards() -> None:
    text = (models_folder() / "README.md").read_text(encoding="utf-8")
    explained = set(re.findall(r"`([A-Za-z][A-Za-z0-9_]*)`", text))
    columns = [column for card in all_cards() for column in card.columns]
    used = {name for column in columns for name in (*column.tables, *column.curves)}
    assert used <= explained, used - explained


def test_technology_names_and_nearest() -> None:
    assert technology("np0") is technology("C0G")
    assert "X7R" in technology_names("capacitor")
    assert "X7R" not in technology_names("resistor")
    with pytest.raises(UnknownPartError) as caught:
        technology("X8R")
    assert "X7R" in caught.value.nearest
    with pytest.raises(UnknownPartError):
        technology("40106")


def test_transformer_of_the_nearest_rating() -> None:
    wanted = {1.0: "1.5", 2.8: "3", 4.5: "5", 8.0: "10", 60.0: "10"}
    for rating, name in wanted.items():
        assert transformer_for(rating).identifier == f"transformer-{name}VA"


def test_model_text_and_its_refusals() -> None:
    assert ".subckt schmitt in out vdd vss" in model_text("schmitt")
    for name in ("nosuch", "../README", "schmitt.lib", ""):
        with pytest.raises(MachineError):
            model_text(name)
    assert (models_folder() / "LICENSE").is_file()


def test_records_obey_the_shipped_schema() -> None:
    schema = parts_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(part_records(all_cards()), schema)


def test_audit_counts_every_statement_once() -> None:
    counted = count_sources(all_cards())
    assert set(counted) == {"document", "memory", "practice", "computed"}
    one = count_sources([find_card("40106")])
    assert count_sources([find_card("40106"), find_card("40106")]) == one
    assert one["document"] > 15
    assert counted["document"] > 300


def test_low_confidence_figures_are_listed() -> None:
    listed = low_confidence(all_cards())
    assert "4510 (TI): transition_max" in listed
    assert not any(entry.startswith("40106") for entry in listed)
