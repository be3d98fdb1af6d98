"""Sub-circuit files on the command line: exit 2, every fault located in the file it stands in."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cli_cases import LOCATED, PASSING, run

from analog.subcircuits.limits import LARGEST_BYTES

SENSED = PASSING.replace(
    "[reset]",
    """transformer_voltage = "12 V"
transformer_rating = "3 VA"

[mains]
voltage = "230 V"
frequency = "50 Hz"

[clocked]
part = "4040"

[line_sense]
topology = "subcircuit"
subcircuit = "filter.cir"
subcircuit_ports = { line = "in", pin = "out", ground = "gnd" }

[reset]""",
)
HEAD = ".subckt low in out gnd\nR1 in out 1k\n"
WRONG = {
    "a command": (HEAD + ".control\nshell touch here\n.endc\n.ends\n", 3, "'.control'"),
    "another file": (HEAD + '.include "other.lib"\n.ends\n', 3, "'.include'"),
    "a code model": (HEAD + "A1 [in] [out] d\n.ends\n", 3, "code models"),
    "global ground": (HEAD + "C1 out 0 10n\n.ends\n", 3, "'0' is no port"),
    "a hidden line": (HEAD + "C1 out gnd 10n\r.include x\n.ends\n", 3, "not printable"),
    "itself": (HEAD + "X1 in out gnd low\n.ends\n", 3, "holds itself"),
    "time": (HEAD + "B1 out gnd i=time\n.ends\n", 3, "depends on time"),
    "no end": (HEAD, 1, "not ended"),
    "too much": ("*" * (LARGEST_BYTES + 1), 1, "kB"),
}


@pytest.mark.parametrize("case", WRONG)
def test_a_bad_file_is_refused_where_it_is_bad(
    case: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text, line, words = WRONG[case]
    folder = tmp_path / "designs"
    folder.mkdir()
    (folder / "own.toml").write_text(SENSED, encoding="utf-8")
    (folder / "filter.cir").write_bytes(text.encode())
    monkeypatch.chdir(tmp_path)
    for command in (("check",), ("netlist", "--bench", "line_sense"), ("sweep",)):
        result = run(*command, "designs/own.toml")
        assert result.exit_code == 2
        lines = result.stderr.splitlines()
        assert all(LOCATED.match(one) for one in lines), lines
        assert any(f"filter.cir:{line}:" in one and words in one for one in lines), lines
    assert sorted(path.name for path in tmp_path.rglob("*")) == [
        "designs",
        "filter.cir",
        "own.toml",
    ]


def test_json_names_both_files(tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_text(SENSED.replace("1u 10%", "1x 10%"), encoding="utf-8")
    (tmp_path / "filter.cir").write_text(HEAD + ".end\n.ends\n", encoding="ascii")
    result = run("check", "--json", str(tmp_path / "own.toml"))
    assert result.exit_code == 2
    files = {Path(one["file"]).name for one in json.loads(result.stdout)["errors"]}
    assert files == {"own.toml", "filter.cir"}


def test_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    folder = tmp_path / "designs"
    folder.mkdir()
    (tmp_path / "secret.cir").write_text(HEAD + ".ends\n", encoding="ascii")
    (folder / "filter.cir").symlink_to(tmp_path / "secret.cir")
    (folder / "own.toml").write_text(SENSED, encoding="utf-8")
    result = run("check", str(folder / "own.toml"))
    assert result.exit_code == 2
    assert "line_sense.subcircuit" in result.stderr
    assert "outside the design's folder" in result.stderr


def test_a_netlist_of_it_holds_its_parts_only(tmp_path: Path) -> None:
    text = ".subckt low zqin zqout zqgnd\nRzq zqin zqout {2*zq}\nCzq zqout zqgnd 10n\n"
    (tmp_path / "filter.cir").write_text(text + ".param zq=50k ; zq\n.ends\n", encoding="ascii")
    design = SENSED.replace('"in"', '"zqin"').replace('"out"', '"zqout"').replace("gnd", "zqgnd")
    (tmp_path / "own.toml").write_text(design, encoding="utf-8")
    result = run("netlist", "--bench", "line_sense", str(tmp_path / "own.toml"))
    assert result.exit_code == 0, result.stderr
    assert "Rown1 tap pin 100000.0" in result.stdout
    assert "zq" not in result.stdout
