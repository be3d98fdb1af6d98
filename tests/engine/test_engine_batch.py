"""The exported netlist, run by plain ``ngspice -b``, against the values from the worker."""

from __future__ import annotations

import os
import re
import subprocess
from dataclasses import replace
from pathlib import Path

import engine_cases as cases
import numpy as np
import pytest

from analog.circuits.record import Dc, Element, Experiment
from analog.engine import open_engine


def batch(text: str, folder: Path) -> dict[str, float]:
    """Run the netlist as a user would, in a folder with nothing else, and read what it prints."""
    (folder / "circuit.cir").write_text(text, encoding="ascii")
    (folder / ".spiceinit").touch()
    done = subprocess.run(
        ["ngspice", "-b", "circuit.cir"],
        cwd=folder,
        env=os.environ | {"NGSPICE_MEAS_PRECISION": "12"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    found = re.findall(r"^(\w+)\s*=\s*(\S+)", done.stdout, re.MULTILINE)
    return {name: float(value) for name, value in found}


def test_readings_agree_with_the_worker(tmp_path: Path) -> None:
    experiment = cases.rc_experiment()
    with open_engine(jobs=1) as engine:
        for number, row in enumerate(cases.spread_rows(5, np.random.default_rng(6))):
            folder = tmp_path / str(number)
            folder.mkdir()
            values = engine.run(experiment, cases.NAMES, row[None])
            printed = batch(engine.netlist(experiment, cases.NAMES, row, "row"), folder)
            for name in experiment.outputs:
                assert printed[name] == pytest.approx(values.column(name)[0], rel=1e-6), name


@pytest.mark.parametrize("without_readings", [False, True])
def test_a_netlist_always_runs_and_prints(tmp_path: Path, without_readings: bool) -> None:
    # In batch mode ngspice simulates nothing unless something is asked for.
    experiment = cases.rc_experiment()
    if without_readings:
        experiment = replace(experiment, readings=())
    with open_engine(jobs=1) as engine:
        printed = batch(engine.netlist(experiment, cases.NAMES, cases.ROW, "always"), tmp_path)
    wanted = {"largest_v_out", "smallest_i_v1"} if without_readings else {"half_time", "last"}
    assert wanted <= printed.keys()


def divider(point: bool) -> Experiment:
    elements = (
        Element("V1", "V", ("in", "0"), Dc(8.0)),
        Element("R1", "R", ("in", "out"), 3e3),
        Element("R2", "R", ("out", "0"), 1e3),
    )
    return cases.operating_point(*elements) if point else cases.sweep(*elements)


def test_sweep_runs_in_batch_mode(tmp_path: Path) -> None:
    with open_engine(jobs=1) as engine:
        printed = batch(engine.netlist(divider(False), (), np.empty(0), "sweep"), tmp_path)
    assert printed["largest_v_out"] == pytest.approx(1.25)


def test_operating_point_runs_in_batch_mode(tmp_path: Path) -> None:
    with open_engine(jobs=1) as engine:
        text = engine.netlist(divider(True), (), np.empty(0), "point")
    (tmp_path / "circuit.cir").write_text(text, encoding="ascii")
    (tmp_path / ".spiceinit").touch()
    done = subprocess.run(
        ["ngspice", "-b", "circuit.cir"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0
    assert re.search(r"^0\s+2\.0+e\+00", done.stdout, re.MULTILINE)


def test_netlist_of_a_failure_reproduces_it(tmp_path: Path) -> None:
    with open_engine(jobs=1) as engine:
        out = engine.run(cases.breaking_off_experiment(), ("start_s",), np.array([[5e-4]]))
    (tmp_path / "circuit.cir").write_text(out.failures[0].netlist, encoding="ascii")
    (tmp_path / ".spiceinit").touch()
    done = subprocess.run(
        ["ngspice", "-b", "circuit.cir"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert "out of range for sqrt" in done.stdout + done.stderr
