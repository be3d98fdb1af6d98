"""Sub-circuit files beside a design: which are read, and what their keys must say."""

from __future__ import annotations

import hashlib
import os
import pickle
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from analog.design.own import CONDITIONER, LINE_SENSE, Loaded, load_own
from analog.subcircuits.limits import LARGEST_BYTES

FILTER = """* a filter
.subckt low IN out gnd VDD
R1 in mid 100k
R2 mid out 10k
C1 out gnd 10n
D1 out vdd clamp
X1 mid gnd inner
.model clamp D(is=1n)
.ends
.subckt inner a b
C1 a b 1n
.ends
"""
PORTS = {"line": "in", "pin": "OUT", "ground": "gnd", "rail": "vdd"}


def load(folder: Path, roles: Any = LINE_SENSE, **keys: Any) -> Loaded:
    values = {
        "subcircuit": "low.cir",
        "subcircuit_name": "low",
        "subcircuit_ports": PORTS,
        "subcircuit_tolerances": None,
    }
    return load_own(SimpleNamespace(**(values | keys)), roles, folder)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    inside = tmp_path / "designs"
    inside.mkdir()
    (inside / "low.cir").write_text(FILTER, encoding="ascii")
    (tmp_path / "outside.cir").write_text(FILTER, encoding="ascii")
    return inside


def test_a_file_is_read_with_its_ports_tolerances_and_hash(folder: Path) -> None:
    tolerances = {"R1": "5%", "c1": "-20+80%"}
    loaded = load(folder, subcircuit_tolerances=tolerances)
    own = loaded.own
    assert own is not None
    assert (loaded.findings, loaded.problems) == ((), ())
    assert own.ports == ("in", "out", "gnd", "vdd")
    assert own.roles == ("line", "pin", "ground", "rail")
    assert own.sha256 == hashlib.sha256(FILTER.encode()).hexdigest()
    first, second = own.spreads
    assert (first.place, first.unit, first.spread.key) == (
        0,
        "Ω",
        "line_sense.subcircuit_tolerances.R1",
    )
    assert (first.spread.low, first.spread.high) == pytest.approx((95e3, 105e3))
    assert (second.spread.low, second.spread.high) == pytest.approx((8e-9, 18e-9))
    assert second.unit == "F"
    assert pickle.loads(pickle.dumps(own)) == own


def test_ports_that_are_called_what_they_are_for_need_no_keys(folder: Path) -> None:
    text = ".subckt stage in out vss vdd\nR1 in out 1k\nR2 out vss 1k\nR3 out vdd 1k\n.ends\n"
    (folder / "stage.cir").write_text(text, encoding="ascii")
    loaded = load(
        folder,
        CONDITIONER,
        subcircuit="stage.cir",
        subcircuit_name=None,
        subcircuit_ports=None,
    )
    assert loaded.own is not None
    assert loaded.own.roles == ("in", "out", "vss", "vdd")


def test_folders_below_the_design_are_inside(folder: Path) -> None:
    (folder / "parts").mkdir()
    (folder / "parts" / "low.cir").write_text(FILTER, encoding="ascii")
    assert load(folder, subcircuit="parts/low.cir").own is not None


@pytest.mark.parametrize("name", ["../outside.cir", "parts/../../outside.cir", "{absolute}"])
def test_a_file_outside_the_folder_is_refused(folder: Path, name: str) -> None:
    absolute = str((folder.parent / "outside.cir").resolve())
    loaded = load(folder, subcircuit=name.replace("{absolute}", absolute))
    (found,) = load(folder, subcircuit=name.replace("{absolute}", absolute)).findings
    assert loaded.own is None
    assert "outside" in found.rule or "no such file" in found.rule
    assert found.path == ("line_sense", "subcircuit")


def test_links_out_of_the_folder_are_refused(folder: Path) -> None:
    (folder / "file.cir").symlink_to(folder.parent / "outside.cir")
    (folder / "up").symlink_to(folder.parent)
    (folder / "round.cir").symlink_to("round.cir")
    (folder / "same.cir").symlink_to("low.cir")
    for name, rule in (
        ("file.cir", "outside"),
        ("up/outside.cir", "outside"),
        ("round.cir", "cannot be reached"),
    ):
        (found,) = load(folder, subcircuit=name).findings
        assert rule in found.rule, name
    assert load(folder, subcircuit="same.cir").own is not None


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes on this system")
def test_what_is_no_plain_file_is_refused_without_waiting(folder: Path) -> None:
    os.mkfifo(folder / "pipe.cir")
    (folder / "folder.cir").mkdir()
    for name in ("pipe.cir", "folder.cir"):
        (found,) = load(folder, subcircuit=name).findings
        assert "no plain file" in found.rule


@pytest.mark.parametrize("name", ["missing.cir", "x" * 5000, "a\x00b"])
def test_a_file_that_cannot_be_is_refused(folder: Path, name: str) -> None:
    (found,) = load(folder, subcircuit=name).findings
    assert "no such file" in found.rule or "cannot be reached" in found.rule


def test_a_file_too_large_or_no_text_is_a_problem_of_the_file(folder: Path) -> None:
    (folder / "large.cir").write_bytes(b"*" * (LARGEST_BYTES + 1))
    (folder / "binary.cir").write_bytes(b"\xff\xfe")
    (folder / "wrong.cir").write_text(".subckt low a\n.include x\n.ends\n", encoding="ascii")
    for name, line, rule in (
        ("large.cir", 1, "over 100 kB"),
        ("binary.cir", 1, "not text"),
        ("wrong.cir", 2, "'.include' is not allowed"),
    ):
        loaded = load(folder, subcircuit=name)
        (problem,) = loaded.problems
        assert rule in problem.rule
        assert (problem.line, Path(problem.file)) == (line, folder / name)


@pytest.mark.parametrize(
    ("keys", "at", "rule", "remedy"),
    [
        ({"subcircuit_ports": {**PORTS, "lien": "x"}}, "lien", "no port is for this", "line"),
        ({"subcircuit_ports": {**PORTS, "pin": "uot"}}, "pin", "no port of this name", "out"),
        ({"subcircuit_ports": {**PORTS, "other": "in"}}, "", "named twice", "one purpose"),
        ({"subcircuit_ports": {"line": "in", "pin": "out", "ground": "gnd"}}, "", "'vdd'", "rail"),
        ({"subcircuit_ports": None}, "", "'in' is for", "Add it"),
        ({"subcircuit_ports": {**PORTS, "other": "out"}}, "", "named twice", "one purpose"),
        ({"subcircuit_tolerances": {"R9": "5%"}}, "R9", "so called", "r1"),
        ({"subcircuit_tolerances": {"D1": "5%"}}, "D1", "so called", "1"),
        ({"subcircuit_tolerances": {"X1": "5%"}}, "X1", "so called", "1"),
        ({"subcircuit_tolerances": {"R1": "five"}}, "R1", "no tolerance", "5%"),
        ({"subcircuit_tolerances": {"R1": "100%"}}, "R1", "says nothing", "5%"),
        ({"subcircuit_tolerances": {"R1": "5% film"}}, "R1", "no tolerance", "5%"),
    ],
)
def test_keys_that_do_not_suit_the_file(
    folder: Path, keys: dict[str, Any], at: str, rule: str, remedy: str
) -> None:
    loaded = load(folder, **keys)
    assert loaded.own is None
    found = [one for one in loaded.findings if rule in one.rule]
    assert found, loaded.findings
    assert remedy in found[0].remedy
    assert found[0].path[-1] == (at or found[0].path[-1])


def test_a_pin_without_a_port_is_missed(folder: Path) -> None:
    ports = {"line": "in", "ground": "out", "rail": "gnd", "other": "vdd"}
    (found,) = load(folder, subcircuit_ports=ports).findings
    assert "no port of the sub-circuit is for pin" in found.rule
