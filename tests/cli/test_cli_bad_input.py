"""Bad input, case by case: exit 2, one located message each, nothing written, no traceback."""

from __future__ import annotations

import importlib
import json
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest
from cli_cases import PASSING, ROOT, assert_located, listing, run, written

from analog.cards import MissingFigureError

ERRORS_SCHEMA = json.loads((ROOT / "analog/cli/schemas/errors.json").read_text(encoding="utf-8"))


def changed(old: str, new: str) -> str:
    assert old in PASSING
    return PASSING.replace(old, new)


# What is wrong, the file's text, and words the message must have.
WRONG_TEXT = {
    "empty file": ("", "empty"),
    "TOML syntax": (changed('name = "holds"', 'name = "holds'), "design.toml:4:14:"),
    "unknown key": (changed("resistor =", "resitor ="), "resitor"),
    "unknown section": (PASSING + "\n[resett]\n", "resett"),
    "misspelt part": (changed('"40106"', '"40160"'), "40106"),
    "wrong unit": (changed('"9 V 5%"', '"9 A 5%"'), "V"),
    "negative resistance": (changed("470k 5%", "-470k 5%"), "reset.resistor"),
    "zero resistance": (changed("470k 5%", "0R 5%"), "reset.resistor"),
    "not a number": (changed("470k 5%", "nan"), "reset.resistor"),
    "beyond any number": (changed("470k 5%", "1e999"), "reset.resistor"),
    "TOML's own nan": (changed('"470k 5% carbon-film"', "nan"), "reset.resistor"),
    "tolerance over 100 %": (changed("470k 5%", "470k 120%"), "reset.resistor"),
    "minimum over maximum": (changed('"5 °C"', '"60 °C"'), "ambient"),
    "12 V on a 74HC part": (
        changed("9 V 5%", "12 V 5%").replace('"40106"', '"74HC14"'),
        "74HC14",
    ),
    "a section without the one it needs": (
        PASSING + '\n[conditioner]\npart = "40106"\n',
        "conditioner",
    ),
    "a newline in a name": (changed('"holds"', '"holds\\n.control"'), "design.name"),
    "a control command in a part": (changed('"40106"', '".control"'), "reset.receiver"),
    "a shell command in a value": (changed("470k 5%", "470k shell rm"), "reset.resistor"),
    "braces in a value": (changed("470k 5%", "{470k}"), "reset.resistor"),
    "a path in the name": (changed('"holds"', '"../../x"'), "design.name"),
    "a limit on no measure": (
        PASSING + '\n[[limits]]\nmeasure = "reset.nothing"\nminimum = 1.0\nreason = "x"\n',
        "reset.nothing",
    ),
}


@pytest.mark.parametrize("case", WRONG_TEXT)
def test_wrong_text(case: str, tmp_path: Path) -> None:
    text, words = WRONG_TEXT[case]
    path = written(tmp_path, "design.toml", text)
    assert_refused(["check", path], words, tmp_path)
    assert_refused(["report", path, "--out", str(tmp_path / "out")], words, tmp_path)


def missing(folder: Path) -> str:
    return str(folder / "nothing.toml")


def directory(folder: Path) -> str:
    (folder / "folder.toml").mkdir()
    return str(folder / "folder.toml")


def binary(folder: Path) -> str:
    (folder / "binary.toml").write_bytes(bytes(range(256)))
    return str(folder / "binary.toml")


@pytest.mark.parametrize("make", [missing, directory, binary])
def test_what_is_no_text_file(make: Callable[[Path], str], tmp_path: Path) -> None:
    path = make(tmp_path)
    assert_refused(["check", path], path, tmp_path)


def assert_refused(arguments: list[str], words: str, folder: Path) -> None:
    before = listing(folder)
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert_located(result.stderr)
    assert words in result.stderr
    machine = run(*arguments, "--json")
    assert machine.exit_code == 2
    assert machine.stderr == ""
    found = json.loads(machine.stdout)
    jsonschema.validate(found, ERRORS_SCHEMA)
    assert len(found["errors"]) == len(result.stderr.splitlines())
    assert listing(folder) == before


def test_all_errors_come_at_once(tmp_path: Path) -> None:
    text = changed("470k 5%", "470x").replace('"40106"', '"nonsense"')
    result = run("check", written(tmp_path, "design.toml", text))
    assert result.exit_code == 2
    assert "reset.resistor" in result.stderr
    assert "reset.receiver" in result.stderr


def test_two_designs_of_one_name(tmp_path: Path) -> None:
    one, two = written(tmp_path, "one.toml", PASSING), written(tmp_path, "two.toml", PASSING)
    result = run("check", one, two, "--json")
    assert result.exit_code == 2
    assert '"holds"' in result.stdout


def test_a_card_that_lacks_a_figure_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def lacking(*_arguments: object) -> None:
        raise MissingFigureError("4013", "TI", "V_IH")

    # By its module: the package has a function of the same name.
    monkeypatch.setattr(importlib.import_module("analog.workflows.check"), "make_plans", lacking)
    path = written(tmp_path, "design.toml", PASSING)
    assert_refused(["check", path], "does not give V_IH", tmp_path)


def test_a_file_name_with_a_newline_stays_on_one_line(tmp_path: Path) -> None:
    path = written(tmp_path, "a\nb.toml", PASSING)
    result = run("check", path, "--baseline", str(tmp_path))
    assert result.exit_code == 2
    other = run("netlist", path, "--bench", "reset", "--at", "worst:nothing")
    assert other.exit_code == 2
    assert_located(result.stderr + other.stderr)


def test_a_bench_the_design_does_not_have(tmp_path: Path) -> None:
    path = written(tmp_path, "design.toml", PASSING)
    assert_refused(["check", path, "--bench", "gate_drive"], "reset", tmp_path)


def test_a_report_folder_that_cannot_be_written(tmp_path: Path) -> None:
    path = written(tmp_path, "design.toml", PASSING)
    occupied = written(tmp_path, "occupied", "a file, not a folder")
    assert_refused(["report", path, "--out", occupied], "occupied", tmp_path)
    assert_refused(["report", path, "--out", f"{occupied}/below"], "occupied", tmp_path)
    result = run("demo", "--out", occupied)
    assert result.exit_code == 2
    assert_located(result.stderr)


def test_a_report_in_a_folder_without_rights(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rights do not bind root, so the answer of the system is put in its mouth."""
    path = written(tmp_path, "design.toml", PASSING)
    monkeypatch.setattr("os.access", lambda *_args, **_more: False)
    assert_refused(["report", path, "--out", str(tmp_path / "out")], "cannot be written", tmp_path)


def test_a_report_folder_the_kernel_refuses(tmp_path: Path) -> None:
    """Nobody, root included, can make a folder in /proc; that shows only when it is tried."""
    path = written(tmp_path, "design.toml", PASSING)
    result = run("report", path, "--out", "/proc/reports")
    assert result.exit_code == 2
    assert_located(result.stderr)


def test_a_junit_file_that_is_a_folder(tmp_path: Path) -> None:
    path = written(tmp_path, "design.toml", PASSING)
    assert_refused(["check", path, "--junit", str(tmp_path)], "folder", tmp_path)


@pytest.mark.parametrize("text", ["", "[]", '{"schema": "other"}', "\0\1"])
def test_a_baseline_that_is_none(text: str, tmp_path: Path) -> None:
    path = written(tmp_path, "design.toml", PASSING)
    baseline = written(tmp_path, "baseline.json", text)
    assert_refused(["check", path, "--baseline", baseline], "baseline.json", tmp_path)


@pytest.mark.parametrize("name", ["../x", "Holds", "a\nb", "", ".control", "a" * 65])
def test_new_refuses_what_is_no_design_name(name: str, tmp_path: Path) -> None:
    result = run("new", name)
    assert result.exit_code == 2
    assert_located(result.stderr)
    assert listing(tmp_path) == set()


def test_new_leaves_an_existing_file_alone(tmp_path: Path) -> None:
    written(tmp_path, "mine.toml", "mine")
    result = run("new", "mine")
    assert result.exit_code == 2
    assert_located(result.stderr)
    assert (tmp_path / "mine.toml").read_text(encoding="utf-8") == "mine"


def test_parts_names_the_nearest(tmp_path: Path) -> None:
    assert_refused(["parts", "4016O"], "40106", tmp_path)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--bench", "reset", "--at", "worst:nothing"], "worst:hold_time"),
        (["--bench", "reset", "--at", "best"], "nominal"),
        (["--bench", "reset", "--scene", "nothing"], "power-up"),
        (["--bench", "conditioner"], "reset"),
    ],
)
def test_netlist_says_what_there_is(arguments: list[str], words: str, tmp_path: Path) -> None:
    result = run("netlist", written(tmp_path, "design.toml", PASSING), *arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert_located(result.stderr)
    assert words in result.stderr
