"""Reading whole files: what cannot be read, all faults at once, two designs of one name."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from analog.design import parse_design, problem_at, read_design, read_designs
from analog.errors import InputError, Problem

SMALL = """\
edgeproof = 1
[design]
name = "small"
[environment]
ambient_minimum = "0 °C"
ambient_maximum = "40 °C"
[supply]
rail = "9 V 5%"
[reset]
resistor = "470k"
capacitor = "1u film"
receiver = "40106"
"""


def only_problem(caught: pytest.ExceptionInfo[InputError]) -> Problem:
    (problem,) = caught.value.problems
    return problem


def refused(path: Path) -> Problem:
    with pytest.raises(InputError) as caught:
        read_design(path)
    problem = only_problem(caught)
    assert str(problem).startswith(f"{path}:{problem.line}:{problem.column}: ")
    assert problem.remedy
    return problem


def test_missing_file(tmp_path: Path) -> None:
    problem = refused(tmp_path / "nowhere.toml")
    assert (problem.line, problem.column) == (1, 1)
    assert "no such file" in problem.rule


def test_folder(tmp_path: Path) -> None:
    assert "is a folder" in refused(tmp_path).rule


@pytest.mark.parametrize("content", [b"\x7fELF\x02\x01\xff\xfe", b'name = "\xe9"', b"\xff\xfea"])
def test_binary(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "design.toml"
    path.write_bytes(content)
    assert "not text in UTF-8" in refused(path).rule


def test_byte_order_mark(tmp_path: Path) -> None:
    path = tmp_path / "design.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SMALL.encode())
    assert "byte-order mark" in refused(path).rule


@pytest.mark.parametrize("content", ["", "\n\n", "# only a comment\n"])
def test_empty(tmp_path: Path, content: str) -> None:
    path = tmp_path / "design.toml"
    path.write_text(content)
    problem = refused(path)
    assert "holds no design" in problem.rule
    assert "edgeproof new" in problem.remedy


def test_huge_file(tmp_path: Path) -> None:
    path = tmp_path / "design.toml"
    path.write_text("#" * 1_000_001)
    assert "over 1 MB" in refused(path).rule


def test_path_that_no_file_can_have() -> None:
    with pytest.raises(InputError) as caught:
        read_design("design\0.toml")
    assert "cannot be read" in only_problem(caught).rule
    assert "\0" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "line", "column"),
    [
        ("edgeproof = 1\n[design\n", 2, 8),
        ("edgeproof = 1\nname = unquoted\n", 2, 8),
        ("edgeproof = 1\nedgeproof = 1\n", 2, 14),
        ("edgeproof = ", 1, 13),
        ("edgeproof = 1\nx = 'a", 2, 7),
        ("a = 1\n\x00", 2, 1),
        ("a = " + "[" * 3000, None, None),
    ],
)
def test_syntax_errors_have_a_place(text: str, line: int | None, column: int | None) -> None:
    with pytest.raises(InputError) as caught:
        parse_design(text, "it.toml")
    problem = only_problem(caught)
    assert problem.file == "it.toml"
    assert "not TOML" in problem.rule or "nested too deeply" in problem.rule
    if line is not None:
        assert (problem.line, problem.column) == (line, column)


def test_a_syntax_error_after_windows_line_ends_keeps_its_line() -> None:
    with pytest.raises(InputError) as caught:
        parse_design("edgeproof = 1\r\n\r\nname = x\r\n", "it.toml")
    assert only_problem(caught).line == 3


def test_faults_of_both_stages_come_together_in_order_of_lines() -> None:
    text = (
        SMALL.replace('"0 °C"', '"50 °C"')
        .replace('"9 V 5%"', '"9 A"')
        .replace('"470k"', '"47O"')
        .replace('receiver = "40106"', 'receiver = "40160"\ncapasitor = 1')
    )
    with pytest.raises(InputError) as caught:
        parse_design(text, "it.toml")
    found = [(problem.line, problem.key) for problem in caught.value.problems]
    assert found == [
        (5, "environment.ambient_minimum"),
        (8, "supply.rail"),
        (10, "reset.resistor"),
        (12, "reset.receiver"),
        (13, "reset.capasitor"),
    ]
    assert pickle.loads(pickle.dumps(caught.value)).problems == caught.value.problems


def test_a_faulty_value_is_not_called_missing_as_well() -> None:
    drive = """\
[mains]
voltage = "230 V"
frequency = "50 Hz"
[load]
kind = "resistive"
power = "60 W"
[gate_drive]
driver = "npn"
driver_part = "2N3904"
base_resistor = "10k 5% 10%"
source = "4013"
led_resistor = "680R"
opto = "3053"
gate_resistor = "390R"
triac = "BTA06-SW"
"""
    with pytest.raises(InputError) as caught:
        parse_design(SMALL + drive, "it.toml")
    assert only_problem(caught).rule == "the tolerance is given twice"


def test_hostile_texts_stay_on_one_line_of_the_message() -> None:
    text = SMALL.replace('receiver = "40106"', 'receiver = "x\\n.control\\nshell rm"\n"a\\nb" = 1')
    with pytest.raises(InputError) as caught:
        parse_design(text, "it\n.toml")
    assert len(str(caught.value).splitlines()) == len(caught.value.problems) == 2


def test_a_bench_less_design_has_nothing_to_check() -> None:
    with pytest.raises(InputError) as caught:
        parse_design(SMALL[: SMALL.index("[reset]")], "it.toml")
    assert "nothing to check" in only_problem(caught).rule


def test_problem_at_finds_a_key_again() -> None:
    design = parse_design(SMALL, "it.toml")
    problem = problem_at(design, "it.toml", "reset.capacitor", "too small", "Make it larger")
    assert (problem.line, problem.column, problem.value) == (11, 13, "1u film")
    bare = design.model_copy(update={"text": ""})
    assert problem_at(bare, "it.toml", "reset.capacitor", "x", "y").line == 1


def test_two_designs_of_one_name_are_a_problem_of_the_later(tmp_path: Path) -> None:
    for name in ("one", "two", "three", "bad"):
        (tmp_path / f"{name}.toml").write_text(SMALL, encoding="utf-8")
    (tmp_path / "three.toml").write_text(SMALL.replace('"small"', '"other"'), encoding="utf-8")
    (tmp_path / "bad.toml").write_text("x = ", encoding="utf-8")
    paths = [tmp_path / f"{name}.toml" for name in ("one", "bad", "two", "three")]
    read = read_designs(paths)
    assert [design.name for _, design in read.designs] == ["small", "other"]
    assert [path for path, _ in read.designs] == [str(paths[0]), str(paths[3])]
    by_file = {Path(problem.file).name: problem for problem in read.problems}
    assert by_file.keys() == {"bad.toml", "two.toml"}
    assert (by_file["two.toml"].key, by_file["two.toml"].line) == ("design.name", 3)


def test_the_same_file_twice_is_a_problem_too(tmp_path: Path) -> None:
    path = tmp_path / "one.toml"
    path.write_text(SMALL, encoding="utf-8")
    read = read_designs([path, path])
    assert (len(read.designs), len(read.problems)) == (1, 1)
