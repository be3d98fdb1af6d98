"""`edgeproof suggest`: exit codes, the contract of --json, the written file, refusals."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from cli_cases import FAILING, PASSING, ROOT, assert_located, listing, run, written

from analog.design import read_design

QUICK = ("--place", "reset.resistor", "--series", "E6", "--changes", "1")
COMMENTED = FAILING.replace('resistor = "1M 5% carbon-film"', 'resistor = "1M 5%" # the drawer', 1)
IMPOSSIBLE = (
    FAILING
    + '\n[[limits]]\nmeasure = "reset.hold_time"\nminimum = "900 ms"\nreason = "a display"\n'
    + '\n[[limits]]\nmeasure = "reset.release_time"\nmaximum = "1 s"\nreason = "patience"\n'
)


def schema() -> dict[str, Any]:
    text = (ROOT / "analog/cli/schemas/suggest.json").read_text(encoding="utf-8")
    content: dict[str, Any] = json.loads(text)
    return content


def suggested(*arguments: str) -> tuple[int, dict[str, Any]]:
    """Return exit code and the one object printed, which fits the shipped schema."""
    result = run("suggest", *arguments, "--json")
    (line,) = result.stdout.splitlines()
    found: dict[str, Any] = json.loads(line)
    jsonschema.validate(found, schema())
    return result.exit_code, found


def test_a_verified_change_gives_0(tmp_path: Path) -> None:
    path = written(tmp_path, "leaks.toml", COMMENTED)
    code, found = suggested(path, *QUICK)
    assert code == 0
    assert found["status"] == "found"
    assert found["present"]["verdict"] == "fail"
    assert [row["measure"] for row in found["present"]["short"]] == ["release_level_margin"]
    best = found["suggestions"][0]
    assert best["verdict"] == "pass"
    assert best["short"] == []
    assert best["least_margin_share"] >= 0.05
    assert best["changes"][0]["before"] == "1M 5%"
    assert found["runs"]["multiple_of_check"] > 1


def test_the_written_design_keeps_remarks_and_checks_clean(tmp_path: Path) -> None:
    path = written(tmp_path, "leaks.toml", COMMENTED)
    target = tmp_path / "mended.toml"
    result = run("suggest", path, *QUICK, "--write", str(target))
    assert result.exit_code == 0
    assert f"edgeproof check {target}" in result.stdout
    text = target.read_text(encoding="utf-8")
    changed = [line for line in text.splitlines() if line not in COMMENTED.splitlines()]
    assert len(changed) == 1
    assert changed[0].endswith("# the drawer; was 1M 5%")
    assert read_design(target).name == read_design(path).name
    assert run("check", str(target)).exit_code == 0


def test_an_expected_failure_becomes_the_verdict_that_was_verified(tmp_path: Path) -> None:
    expects = '\n[expect]\nverdict = "fail"\nfails = ["reset.release_level_margin"]\n'
    path = written(tmp_path, "leaks.toml", COMMENTED + expects)
    target = tmp_path / "mended.toml"
    assert run("suggest", path, *QUICK, "--write", str(target)).exit_code == 0
    expect = read_design(target).expect
    assert expect is not None
    assert (expect.verdict, expect.fails) == ("pass", ())


@pytest.mark.parametrize("place", ["other.toml", "leaks.toml"])
def test_nothing_is_overwritten_unless_told(tmp_path: Path, place: str) -> None:
    path = written(tmp_path, "leaks.toml", FAILING)
    written(tmp_path, "other.toml", "mine")
    before = (tmp_path / place).read_text(encoding="utf-8")
    result = run("suggest", path, *QUICK, "--write", str(tmp_path / place))
    assert result.exit_code == 2
    assert_located(result.stderr)
    assert "--overwrite" in result.stderr
    assert (tmp_path / place).read_text(encoding="utf-8") == before
    again = run("suggest", path, *QUICK, "--write", str(tmp_path / place), "--overwrite")
    assert again.exit_code == 0
    assert read_design(tmp_path / place).reset is not None


def test_none_needed_gives_0_and_writes_nothing(tmp_path: Path) -> None:
    path = written(tmp_path, "holds.toml", PASSING)
    before = listing(tmp_path)
    result = run("suggest", path, "--write", str(tmp_path / "new.toml"))
    assert result.exit_code == 0
    assert "no change is needed" in result.stdout
    assert "was not written" in result.stdout
    assert listing(tmp_path) == before


def test_a_thin_margin_is_thickened(tmp_path: Path) -> None:
    path = written(tmp_path, "holds.toml", PASSING)
    code, found = suggested(path, *QUICK, "--margin", "8%")
    assert found["present"]["verdict"] == "pass"
    assert found["present"]["least_margin_share"] < 0.08
    assert code == 0
    assert found["suggestions"][0]["least_margin_share"] >= 0.08


def test_nothing_in_the_space_gives_1_and_what_comes_closest(tmp_path: Path) -> None:
    path = written(tmp_path, "never.toml", IMPOSSIBLE)
    code, found = suggested(path, *QUICK)
    assert code == 1
    assert found["status"] == "none"
    assert found["suggestions"] == []
    assert found["closest"]["short"]
    said = run("suggest", path, *QUICK).stdout
    assert "no change to stock parts" in said
    assert "closest" in said or "comes closer" in said


def test_a_spent_budget_gives_3(tmp_path: Path) -> None:
    path = written(tmp_path, "never.toml", IMPOSSIBLE)
    code, found = suggested(path, "--changes", "1", "--budget", "1")
    assert code == 3
    assert found["status"] == "undecided"
    assert not found["searched"][0]["complete"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--place", "reset.nothing"), "no place"),
        (("--trade", "reset.resistor", "reset.nothing"), "no resistor or capacitor"),
        (("--trade", "reset.resistor", "reset.resistor"), "twice"),
        (("--trade", "reset.resistor", "reset.capacitor", "--write", "x.toml"), "--write"),
        (("--figure", "x.svg"), "--trade"),
        (("--trade", "reset.resistor", "reset.capacitor", "--figure", "x.gif"), "picture"),
        (("--margin", "150%"), "share"),
        (("--series", "E7"), "E7"),
        (("--budget", "0"), "0"),
        (("--write", "."), "folder"),
    ],
)
def test_bad_options_give_2(tmp_path: Path, options: tuple[str, ...], said: str) -> None:
    path = written(tmp_path, "leaks.toml", FAILING)
    before = listing(tmp_path)
    result = run("suggest", path, *options)
    assert result.exit_code == 2
    assert_located(result.stderr)
    assert said in result.stderr
    assert listing(tmp_path) == before


def test_a_bad_design_gives_2_with_its_place(tmp_path: Path) -> None:
    path = written(tmp_path, "bad.toml", FAILING.replace("40106", "40107"))
    result = run("suggest", path)
    assert result.exit_code == 2
    assert result.stderr.startswith(f"{path}:")


def test_no_engine_gives_3(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("analog.engine.library.find_libraries", tuple)
    for variable in ("EDGEPROOF_NGSPICE", "NGSPICE_LIBRARY_PATH"):
        monkeypatch.delenv(variable, raising=False)
    result = run("suggest", written(tmp_path, "leaks.toml", FAILING))
    assert result.exit_code == 3
    assert_located(result.stderr)


def test_the_cost_is_said_before_the_search_and_not_with_json(tmp_path: Path) -> None:
    path = written(tmp_path, "leaks.toml", COMMENTED)
    assert "short simulations" in run("suggest", path, *QUICK).stderr
    assert run("suggest", path, *QUICK, "--json").stderr == ""


def test_a_claim_sweeps_every_suggestion(tmp_path: Path) -> None:
    path = written(tmp_path, "leaks.toml", COMMENTED)
    code, found = suggested(path, *QUICK, "--claim", "90%")
    assert len(found["sweeps"]) == len(found["suggestions"]) == 1
    (sweep,) = found["sweeps"]
    assert (sweep["claim"], sweep["confidence"]) == (0.9, 0.95)
    # verified at the guaranteed extremes, so no board inside the tolerances may fail
    assert sweep["estimate"] == 1.0
    assert sweep["outcome"] == "proved"
    assert sweep["low"] >= 0.9
    assert code == 0


@pytest.mark.parametrize("claim", ["0%", "100%", "99.9999%"])
def test_a_claim_that_nothing_can_show_gives_2(tmp_path: Path, claim: str) -> None:
    result = run("suggest", written(tmp_path, "leaks.toml", FAILING), "--claim", claim)
    assert result.exit_code == 2
    assert_located(result.stderr)


def test_a_report_shows_the_suggestions_for_its_own_design_only(tmp_path: Path) -> None:
    path, out = written(tmp_path, "leaks.toml", COMMENTED), str(tmp_path / "reports")
    result = run("suggest", path, *QUICK, "--out", out)
    assert "Written for the report" in result.stdout
    kept = tmp_path / "reports/leaks/suggestions.json"
    jsonschema.validate(json.loads(kept.read_text("utf-8")), schema())
    page = tmp_path / "reports/leaks/index.html"
    assert run("report", path, "--out", out).exit_code == 1
    text = page.read_text("utf-8")
    assert "What would mend it" in text
    assert "<code>reset.resistor</code>: 1M 5% →" in text
    written(tmp_path, "leaks.toml", COMMENTED + "\n# another design now\n")
    assert run("report", path, "--out", out).exit_code == 1
    assert "What would mend it" not in page.read_text("utf-8")
    assert kept.exists()


def test_a_trade_keeps_no_suggestions(tmp_path: Path) -> None:
    path = written(tmp_path, "leaks.toml", FAILING)
    keys = ("--trade", "reset.resistor", "reset.capacitor")
    result = run("suggest", path, *keys, "--out", str(tmp_path / "reports"))
    assert result.exit_code == 2
    assert_located(result.stderr)
    assert not (tmp_path / "reports").exists()
