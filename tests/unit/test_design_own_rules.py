"""A design that brings its own filter: what its keys need and exclude, and what it is hashed by."""

from __future__ import annotations

from pathlib import Path

import pytest

from analog.design import Design, parse_design, read_design
from analog.errors import InputError, Problem

FILTER = ".subckt low IN out gnd\nR1 in out 100k\nC1 out gnd 10n\n.ends\n"
HEAD = """edgeproof = 1
[design]
name = "own-filter"
[mains]
voltage = "230 V"
frequency = "50 Hz"
[environment]
ambient_minimum = "5 °C"
ambient_maximum = "50 °C"
[supply]
rail = "9 V 5%"
transformer_voltage = "12 V"
transformer_rating = "3 VA"
load_current = "5 mA .. 15 mA .. 30 mA"
[conditioner]
part = "40106"
[clocked]
part = "4040"
[line_sense]
"""
OWN = """topology = "subcircuit"
subcircuit = "low.cir"
subcircuit_ports = { line = "in", pin = "out", ground = "gnd" }
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "low.cir").write_text(FILTER, encoding="ascii")
    return tmp_path


def design(folder: Path, keys: str) -> Design:
    return parse_design(HEAD + keys, str(folder / "own.toml"))


def problems(folder: Path, keys: str) -> tuple[Problem, ...]:
    with pytest.raises(InputError) as caught:
        design(folder, keys)
    return caught.value.problems


def test_the_file_is_read_beside_the_design(folder: Path) -> None:
    (folder / "own.toml").write_text(HEAD + OWN, encoding="utf-8")
    found = read_design(folder / "own.toml").line_sense
    assert found is not None
    assert found.own is not None
    assert (found.own.name, found.own.roles) == ("low", ("line", "pin", "ground"))
    assert found.series_resistor is None


def test_the_hash_changes_with_the_file(folder: Path) -> None:
    first = design(folder, OWN).sha256
    (folder / "low.cir").write_text(FILTER.replace("100k", "101k"), encoding="ascii")
    second = design(folder, OWN).sha256
    (folder / "low.cir").write_text(FILTER, encoding="ascii")
    assert first != second
    assert design(folder, OWN).sha256 == first


@pytest.mark.parametrize(
    ("keys", "key", "rule", "remedy"),
    [
        ('topology = "subcircuit"', "subcircuit", "needs subcircuit", "my-filter.cir"),
        (OWN + 'series_resistor = "1k"', "series_resistor", "whole filter", "Drop it"),
        (OWN + 'capacitor = "1n"', "capacitor", "whole filter", "Drop it"),
        (OWN + 'bleed_resistor = "1k"', "bleed_resistor", "", "Drop it"),
        (OWN + 'subcircuit_settling = "1 s"', "subcircuit_settling", "40 mains cycles", "Shorten"),
        (OWN.replace("low.cir", "../low.cir"), "subcircuit", "plain name", "no '..'"),
        (OWN.replace("low.cir", "/etc/passwd"), "subcircuit", "plain name", "my-filter.cir"),
        (OWN.replace("low.cir", "a\\\\b.cir"), "subcircuit", "plain name", "my-filter.cir"),
        (OWN.replace("low.cir", ".hidden"), "subcircuit", "plain name", "my-filter.cir"),
        (OWN.replace("low.cir", "no.cir"), "subcircuit", "no such file", "beside the design"),
        (OWN + 'subcircuit_name = "other"', "", "no sub-circuit 'other'", "low"),
        (OWN + 'subcircuit_name = "a b"', "subcircuit_name", "letters, digits", "as the file"),
        (OWN.replace("out", "uot"), "subcircuit_ports.pin", "no port of this name", "out"),
        (OWN.replace("pin =", "pni ="), "subcircuit_ports.pni", "no port is for this", "pin"),
        (OWN.replace('"out"', "5"), "subcircuit_ports.pin", "no text", "quotes"),
        (OWN.replace("{", "[{").replace("}", "}]"), "subcircuit_ports", "no table", "{ pin"),
        (
            OWN + '[line_sense.subcircuit_tolerances]\nR2 = "5%"',
            "subcircuit_tolerances.R2",
            "so called",
            "r1",
        ),
        (
            OWN + '[line_sense.subcircuit_tolerances]\nR1 = "110%"',
            "subcircuit_tolerances.R1",
            "says nothing",
            "5%",
        ),
        (
            OWN + '[line_sense.subcircuit_tolerances]\nR1 = "five"',
            "subcircuit_tolerances.R1",
            "no tolerance",
            "5%",
        ),
        (
            'topology = "bridge-leg"\nseries_resistor = "1k"\ncapacitor = "1n"\n'
            'subcircuit = "low.cir"',
            "subcircuit",
            "a filter of its own",
            'topology = "subcircuit"',
        ),
        ('topology = "bridge-leg"\ncapacitor = "1n"', "series_resistor", "is missing", "100k"),
        ('topology = "bridge-leg"\nseries_resistor = "1k"', "capacitor", "is missing", "10n"),
    ],
)
def test_keys_that_do_not_go_together(
    folder: Path, keys: str, key: str, rule: str, remedy: str
) -> None:
    found = [one for one in problems(folder, keys) if rule in one.rule]
    wanted = f"line_sense.{key}" if key else ""
    assert wanted in {one.key for one in found}
    chosen = next(one for one in found if one.key == wanted)
    assert remedy in chosen.remedy
    lines = (HEAD + keys).split("\n")
    if key and chosen.line > 1:
        assert (
            key.rpartition(".")[2] in lines[chosen.line - 1]
            or "[line_sense]" in lines[chosen.line - 1]
        )


def test_faults_of_both_files_are_reported_at_once(folder: Path) -> None:
    (folder / "low.cir").write_text(FILTER.replace("100k", "4k7"), encoding="ascii")
    found = problems(folder, OWN + 'clamp = "wrong"')
    assert [Path(one.file).name for one in found] == ["own.toml", "low.cir"]
    assert (found[1].line, found[1].column) == (2, 11)


def test_the_own_record_is_no_key_of_the_file(folder: Path) -> None:
    (found,) = problems(folder, OWN + 'own = "x"')
    assert "not known" in found.rule


STAGE = """topology = "bridge-leg"
series_resistor = "10k"
capacitor = "10n"
"""
STAGE_KEYS = """part = "subcircuit"
subcircuit = "stage.cir"
subcircuit_high = "6 V"
subcircuit_low = "3 V"
"""


def staged(folder: Path, keys: str) -> Design:
    text = ".subckt s in out vdd\nR1 in out 1k\nR2 out vdd 1k\n.ends\n"
    (folder / "stage.cir").write_text(text, encoding="ascii")
    return (
        design(folder, STAGE)
        if not keys
        else parse_design(HEAD.replace('part = "40106"\n', keys) + STAGE, str(folder / "own.toml"))
    )


def test_a_conditioner_may_be_brought_too(folder: Path) -> None:
    found = staged(folder, STAGE_KEYS).conditioner
    assert found is not None
    assert found.own is not None
    assert found.own.roles == ("in", "out", "vdd")
    assert found.subcircuit_inverts
    assert staged(folder, STAGE_KEYS).sha256 != staged(folder, STAGE_KEYS + "\n").sha256


@pytest.mark.parametrize(
    ("keys", "key", "rule", "remedy"),
    [
        (
            STAGE_KEYS.replace('subcircuit = "stage.cir"\n', ""),
            "subcircuit",
            "needs subcircuit",
            "my-stage.cir",
        ),
        (
            STAGE_KEYS.replace('subcircuit_high = "6 V"\n', ""),
            "subcircuit_high",
            "surely high",
            "5 V",
        ),
        (STAGE_KEYS.replace('subcircuit_low = "3 V"\n', ""), "subcircuit_low", "surely low", "5 V"),
        (STAGE_KEYS.replace('"3 V"', '"7 V"'), "subcircuit_low", "over what is", "Swap"),
        (STAGE_KEYS + 'maker = "TI"\n', "maker", "no maker", "Drop"),
        (STAGE_KEYS + 'base_resistor = "1k"\n', "base_resistor", "whole stage", "Drop"),
        (STAGE_KEYS + "inputs_tied = true\n", "inputs_tied", "one input", "Drop"),
        (STAGE_KEYS.replace("stage.cir", "no.cir"), "subcircuit", "no such file", "beside"),
        (
            STAGE_KEYS + 'subcircuit_ports = { in = "in", out = "vdd" }\n',
            "subcircuit_ports",
            "'out' is for",
            "vss",
        ),
        (
            'part = "40106"\nsubcircuit = "stage.cir"\n',
            "subcircuit",
            "no sub-circuit",
            'part = "subcircuit"',
        ),
        ('part = "40106"\nsubcircuit_high = "5 V"\n', "subcircuit_high", "no sub-circuit", "Drop"),
    ],
)
def test_keys_of_a_conditioner_that_do_not_go_together(
    folder: Path, keys: str, key: str, rule: str, remedy: str
) -> None:
    with pytest.raises(InputError) as caught:
        staged(folder, keys)
    found = [one for one in caught.value.problems if rule in one.rule]
    assert [one.key for one in found] == [f"conditioner.{key}"]
    assert remedy in found[0].remedy
