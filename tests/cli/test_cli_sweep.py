"""`edgeproof sweep`: exit codes, claims that are none, the same boards every time, its files."""

from __future__ import annotations

import csv
import json
import math
import re
import shutil
import subprocess
from pathlib import Path

import jsonschema
import pytest
from cli_cases import FAILING, PASSING, assert_located, listing, run, run_process, written

from analog.results import results_schema

QUICK = ("--claim", "90%")
"""Thirty-one boards without a failure show this."""


def results(*arguments: str) -> dict:
    output = run("sweep", *arguments, "--json").stdout
    assert len(output.splitlines()) == 1
    return json.loads(output)


def test_a_design_that_holds_proves_the_claim(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    result = run("sweep", path, *QUICK)
    assert result.exit_code == 0
    assert "at least 90 % of boards work in every bench together: proved" in result.stdout
    assert "100 % of 31 boards work" in result.stdout
    assert "The spread of" in result.stdout


def test_a_design_that_leaks_refutes_it(tmp_path: Path) -> None:
    result = run("sweep", written(tmp_path, "a.toml", FAILING), *QUICK)
    assert result.exit_code == 1
    assert "refuted" in result.stdout
    assert "boards break it" in result.stdout


OPEN = PASSING + (
    '[[limits]]\nmeasure = "reset.hold_time"\nlimit = "mine"\nminimum = "{}"\nreason = "mine"\n'
)


def test_an_open_claim_says_how_many_more_boards(tmp_path: Path) -> None:
    """The limit is the hold time that nine boards in ten reach, so that 40 boards cannot tell."""
    swept = results(written(tmp_path, "a.toml", PASSING), *QUICK)
    rows = {row["measure"]: row for row in swept["benches"][0]["measures"]}
    spread = rows["hold_time"]["spread"]
    tenth = spread["mean"]["value"] - 1.2 * spread["deviation"]["value"]
    path = written(tmp_path, "b.toml", OPEN.format(f"{1e3 * tenth:.6g} ms"))
    result = run("sweep", path, *QUICK, "--budget", "40")
    assert result.exit_code == 3
    assert re.search(r"open\. .* (about \d+ more boards|no number of boards)", result.stdout)


def test_json_fits_the_schema_and_keeps_the_record(tmp_path: Path) -> None:
    swept = results(written(tmp_path, "a.toml", PASSING), *QUICK, "--seed", "7")
    jsonschema.validate(swept, results_schema())
    assert swept["seed"] == 7
    assert swept["yield"]["n"] == 31
    assert swept["yield"]["low"] >= 0.9
    (bench,) = swept["benches"]
    judged = [row for row in bench["measures"] if row["limit"]]
    assert all(row["yield"]["n"] == row["samples"] == 31 for row in judged)
    for row in bench["measures"]:
        spread = row["spread"]
        assert sum(spread["counts"]) == 31 + spread["boards"]
        middle = [one["at"]["value"] for one in spread["percentiles"]]
        assert middle == sorted(middle)
        assert spread["lowest"] <= middle[0] <= middle[-1] <= spread["highest"]


def test_the_same_seed_gives_the_same_bytes_whatever_the_jobs(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    outputs = [
        run("sweep", path, *QUICK, "--json", "--jobs", n, "--store", str(tmp_path / n)).stdout
        for n in ("1", "2")
    ]
    again = run("sweep", path, *QUICK, "--json", "--store", str(tmp_path / "1")).stdout
    other = run("sweep", path, *QUICK, "--json", "--seed", "1").stdout
    assert outputs[0] == outputs[1] == again != other


def test_more_boards_begin_with_the_same_ones(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    tables = []
    for number in ("36", "50"):
        run("sweep", path, *QUICK, "--samples", number, "--out", number)
        tables.append((tmp_path / number / "holds" / "samples.csv").read_text().splitlines())
    assert len(tables[0]) == 37
    assert tables[1][:37] == tables[0]


def test_a_fixed_number_of_boards_has_the_exact_interval(tmp_path: Path) -> None:
    swept = results(written(tmp_path, "a.toml", PASSING), *QUICK, "--samples", "40")
    assert swept["yield"]["n"] == 40
    assert swept["yield"]["low"] == pytest.approx(0.025 ** (1 / 40))
    assert "Clopper-Pearson" in swept["yield"]["method"]


def test_samples_have_units_and_one_row_per_board(tmp_path: Path) -> None:
    run("sweep", written(tmp_path, "a.toml", PASSING), *QUICK, "--out", "made")
    assert listing(tmp_path / "made") == {"holds", "holds/samples.csv", "holds/sweep.json"}
    with (tmp_path / "made" / "holds" / "samples.csv").open(newline="") as file:
        header, *rows = csv.reader(file)
    assert header[:2] == ["board", "status"]
    assert {"reset.resistor [Ω]", "supply.rail [V]", "reset.hold_time [s]"} <= set(header)
    assert all(re.search(r" \[\S+\]$", name) for name in header[2:])
    assert [row[0] for row in rows] == [str(n) for n in range(31)]
    assert {row[1] for row in rows} == {"works"}
    assert all(math.isfinite(float(cell)) for row in rows for cell in row[2:])


def test_samples_as_parquet_hold_the_same(tmp_path: Path) -> None:
    from pyarrow import parquet

    path = written(tmp_path, "a.toml", PASSING)
    assert run("sweep", path, *QUICK, "--out", "made", "--parquet").exit_code == 0
    table = parquet.read_table(tmp_path / "made" / "holds" / "samples.parquet")
    with (tmp_path / "made" / "holds" / "samples.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert table.column_names == list(rows[0])
    for name in ("reset.capacitor [F]", "reset.hold_time [s]"):
        assert table[name].to_pylist() == pytest.approx([float(row[name]) for row in rows])


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice")
def test_a_board_of_a_sweep_runs_alone_under_ngspice(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    run("sweep", path, *QUICK, "--out", "made")
    with (tmp_path / "made" / "holds" / "samples.csv").open(newline="") as file:
        row = list(csv.DictReader(file))[17]
    deck = run("netlist", path, "--bench", "reset", "--at", "sample:17").stdout
    assert f"r_reset={float(row['reset.resistor [Ω]']):.7g}"[:14] in deck
    (tmp_path / "one.cir").write_text(deck)
    command = ["ngspice", "-b", "one.cir"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    found = re.search(r"^hold_time\s*=\s*(\S+)", done.stdout, re.MULTILINE)
    assert found
    assert float(found[1]) == pytest.approx(float(row["reset.hold_time [s]"]), rel=1e-3)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--samples", "0"), "--samples"),
        (("--samples", "10"), "10 boards cannot prove 99 %"),
        (("--budget", "300"), "300 boards cannot prove 99 %"),
        (("--claim", "100%"), "no number of boards"),
        (("--claim", "0"), "no number of boards"),
        (("--claim", "nan"), "no number of boards"),
        (("--claim", "most"), "no share"),
        (("--confidence", "1"), "no number of boards"),
        (("--samples", "500", "--budget", "500"), "Give one of them"),
        (("--rare", "reset.hold_tim"), "reset.hold_time"),
        (("--bench", "gate_drive"), "no such bench"),
        (("--parquet",), "--out"),
        (("--seed", "-1"), "--seed"),
    ],
)
def test_impossible_orders_are_bad_input(
    tmp_path: Path, arguments: tuple[str, ...], words: str
) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    result = run("sweep", path, *arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert_located(result.stderr)
    assert words in result.stderr
    as_json = run("sweep", path, *arguments, "--json")
    assert json.loads(as_json.stdout)["schema"] == "edgeproof-errors-1"


def test_a_bad_design_does_not_stop_the_good_one(tmp_path: Path) -> None:
    good, bad = written(tmp_path, "a.toml", PASSING), written(tmp_path, "b.toml", "x = ")
    result = run("sweep", bad, good, *QUICK)
    assert result.exit_code == 2
    assert "proved" in result.stdout


def test_nothing_fails_inside_tolerances_that_pass(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    result = run("sweep", path, *QUICK, "--rare", "reset.hold_time")
    assert "no failure inside the stated tolerances" in result.stdout


def test_a_rare_failure_has_a_probability_and_its_variation(tmp_path: Path) -> None:
    """A limit of the user's own, a little above the least hold time there can be."""
    swept = results(written(tmp_path, "a.toml", PASSING), *QUICK)
    rows = {row["measure"]: row for row in swept["benches"][0]["measures"]}
    spread = rows["hold_time"]["spread"]
    limit = spread["mean"]["value"] - 2.6 * spread["deviation"]["value"]
    path = written(tmp_path, "b.toml", OPEN.format(f"{1e3 * limit:.6g} ms"))
    swept = results(path, *QUICK, "--rare", "reset.hold_time")
    jsonschema.validate(swept, results_schema())
    found = next(
        row["rare"]
        for row in swept["benches"][0]["measures"]
        if row["measure"] == "hold_time" and row["limit"]["id"] == "mine"
    )
    assert found["runs"] <= 5000
    assert 1e-7 < found["probability"] < 5e-3
    assert found["variation"] < 0.5
    assert found["low"] < found["probability"] < found["high"]


def test_a_lost_yield_breaks_the_baseline(tmp_path: Path) -> None:
    before = written(tmp_path, "a.toml", PASSING)
    accepted = written(tmp_path, "base.json", run("sweep", before, *QUICK, "--json").stdout)
    assert run("sweep", before, *QUICK, "--seed", "3", "--baseline", accepted).exit_code == 0
    worse = written(tmp_path, "b.toml", FAILING.replace("leaks", "holds"))
    result = run("sweep", worse, *QUICK, "--baseline", accepted)
    assert result.exit_code == 1
    assert_located(result.stderr)
    assert "did" in result.stderr
    checked = written(tmp_path, "check.json", run("check", before, "--json").stdout)
    assert run("sweep", before, *QUICK, "--baseline", checked).exit_code == 2


def test_junit_has_the_joint_yield_as_a_test(tmp_path: Path) -> None:
    from junitparser import JUnitXml

    run("sweep", written(tmp_path, "a.toml", FAILING), *QUICK, "--junit", "made.xml")
    suites = {suite.name: suite for suite in JUnitXml.fromfile(str(tmp_path / "made.xml"))}
    cases = {case.name: case for case in suites["leaks.yield"]}
    assert set(cases) == {"whole design", "reset"}
    assert cases["whole design"].result[0].type == "fail"


def test_a_finished_sweep_costs_nothing_again(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    first = run("sweep", path, *QUICK, "--seed", "11").stdout
    assert "Simulations: 0, " in run("sweep", path, *QUICK, "--seed", "11").stdout
    assert "Simulations: 0, " not in first


def test_only_the_record_is_printed_with_json(tmp_path: Path) -> None:
    done = run_process(
        "sweep", written(tmp_path, "a.toml", PASSING), *QUICK, "--json", folder=tmp_path
    )
    assert done.returncode == 0
    assert done.stderr == ""
    json.loads(done.stdout)


def test_a_report_shows_the_sweep_of_its_own_design_only(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    run("sweep", path, *QUICK, "--out", "made")
    run("report", path, "--out", "made")
    page = tmp_path / "made" / "holds" / "index.html"
    assert 'id="sweep"' in page.read_text()
    assert (page.parent / "samples.csv").is_file()
    changed = written(tmp_path, "a.toml", PASSING.replace("470k", "390k"))
    run("report", changed, "--out", "made")
    assert 'id="sweep"' not in page.read_text()


def test_an_address_without_a_scheduler_is_the_machines_fault(tmp_path: Path) -> None:
    path = written(tmp_path, "a.toml", PASSING)
    result = run("sweep", path, *QUICK, "--dask", "tcp://127.0.0.1:9")
    assert result.exit_code == 3
    assert_located(result.stderr)
    assert "scheduler" in result.stderr
