"""What the engine says of failures names neither folders of this machine nor its user."""

from __future__ import annotations

import getpass
import re
from collections.abc import Callable
from pathlib import Path

import engine_cases as cases
import numpy as np
import pytest

from analog.circuits.record import Experiment
from analog.engine import open_engine
from analog.engine.store import open_store
from analog.errors import EdgeproofError

PATH = re.compile(r"(?<![\w.:}])/(?:\w[\w.-]*/)+\w")
ROW = np.array([[12.0, 1e3, 1e-6]])


def assert_private(text: str) -> None:
    assert text
    assert not PATH.search(text), text
    assert str(Path.home()) not in text
    assert not re.search(rf"\b{getpass.getuser()}\b", text), text


@pytest.mark.parametrize(
    ("experiment", "names", "row", "kind"),
    [
        (cases.breaking_off_experiment(), ("start_s",), np.array([[5e-4]]), "did not converge"),
        (cases.rc_experiment("crash_above_ten"), cases.NAMES, ROW, "engine died"),
        (cases.rc_experiment("endless_above_ten"), cases.NAMES, ROW, "timed out"),
        (cases.rc_experiment(), cases.NAMES, -ROW, "bad circuit"),
    ],
)
def test_failures_keep_reason_values_and_netlist(
    experiment: Experiment, names: tuple[str, ...], row: np.ndarray, kind: str
) -> None:
    with open_engine(jobs=1, limit_s=0.5) as engine:
        failure = engine.run(experiment, names, row).failures[0]
    assert failure.kind == kind
    for name, value in zip(names, row[0].tolist(), strict=True):
        assert f".param {name}={value!r}\n" in failure.netlist
    assert_private(failure.reason)
    assert_private(failure.netlist)


def faulty_reducer(_folder: Path) -> None:
    with open_engine(jobs=1) as engine:
        engine.run(cases.rc_experiment("broken"), cases.NAMES, ROW)


def no_library(folder: Path) -> None:
    (folder / "libngspice.so").write_bytes(b"none at all")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("EDGEPROOF_NGSPICE", str(folder / "libngspice.so"))
        with open_engine(jobs=1) as engine:
            engine.run(cases.rc_experiment(), cases.NAMES, ROW)


def no_log(folder: Path) -> None:
    with open_engine(jobs=1, log=folder / "absent" / "engine.log") as engine:
        engine.run(cases.rc_experiment(), cases.NAMES, ROW)


def foreign_store(folder: Path) -> None:
    (folder / "other").write_text("no database")
    with open_store(folder / "other"):
        pass


def store_below_a_file(folder: Path) -> None:
    (folder / "file").write_text("")
    with open_store(folder / "file" / "deep" / "store"):
        pass


@pytest.mark.parametrize(
    "fault", [faulty_reducer, no_library, no_log, foreign_store, store_below_a_file]
)
def test_errors_are_private(fault: Callable[[Path], None], tmp_path: Path) -> None:
    with pytest.raises(EdgeproofError) as caught:
        fault(tmp_path)
    assert_private(str(caught.value))
