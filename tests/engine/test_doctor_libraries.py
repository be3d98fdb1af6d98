"""What the doctor finds: no library, two, a broken one, one that computes wrongly."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import jsonschema
import pytest

from analog.engine import doctor as module
from analog.engine import library
from analog.engine.doctor import doctor, doctor_schema
from analog.engine.library import used_library
from analog.errors import MachineError


def examined() -> module.Examination:
    """An examination whose JSON form keeps to the shipped schema."""
    found = doctor()
    jsonschema.validate(json.loads(json.dumps(found.as_dict())), doctor_schema())
    return found


@pytest.fixture(scope="module")
def real() -> Path:
    return used_library().path


@pytest.fixture
def bare(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A machine where no library is found but those that a test names."""
    monkeypatch.setattr(library, "_FOLDERS", (str(tmp_path / "nowhere"),))
    monkeypatch.setattr(library, "_from_loader", lambda: None)
    monkeypatch.setattr("sys.prefix", str(tmp_path / "environment"))
    for variable in ("EDGEPROOF_NGSPICE", "NGSPICE_LIBRARY_PATH"):
        monkeypatch.delenv(variable, raising=False)


def test_this_machine_is_well() -> None:
    found = examined()
    assert found.exit_code == 0
    assert found.known_circuit is not None
    assert found.known_circuit.right
    assert 0 < found.known_circuit.error_share < 1e-5
    assert [entry.path for entry in found.libraries if entry.used] == [found.used]
    assert found.packages["PySpice"]


@pytest.mark.usefixtures("bare")
def test_no_library() -> None:
    found = examined()
    assert found.exit_code == 3
    assert found.libraries == ()
    assert "apt-get install libngspice0" in found.notes[0]
    with pytest.raises(MachineError, match="No ngspice library"):
        used_library()


@pytest.mark.usefixtures("bare")
def test_two_libraries(real: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    # One unpacked inside the environment, one named by the variable: the named one is used.
    unpacked = tmp_path / "environment" / "lib" / "x86_64-linux-gnu" / "libngspice.so.0"
    unpacked.parent.mkdir(parents=True)
    shutil.copy(real, unpacked)
    assert [entry.used for entry in examined().libraries] == [True]
    monkeypatch.setenv("EDGEPROOF_NGSPICE", str(real))
    found = examined()
    assert [(entry.path, entry.used) for entry in found.libraries] == [
        (str(real), True),
        (str(unpacked), False),
    ]
    assert "named by EDGEPROOF_NGSPICE" in found.libraries[0].reason
    assert "Python environment" in found.libraries[1].reason
    assert all(entry.error_share is not None for entry in found.libraries)


@pytest.mark.usefixtures("bare")
def test_a_link_is_not_a_second_library(
    real: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    link = tmp_path / "environment" / "lib" / "libngspice.so"
    link.parent.mkdir(parents=True)
    link.symlink_to(real)
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", str(real))
    assert len(examined().libraries) == 1


@pytest.mark.usefixtures("bare")
def test_broken_library(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    broken = tmp_path / "libngspice.so.0"
    broken.write_bytes(b"\x7fELF and then nothing")
    monkeypatch.setenv("EDGEPROOF_NGSPICE", str(broken))
    found = examined()
    assert found.exit_code == 3
    assert found.libraries[0].problem
    assert "does not work" in found.notes[0]


@pytest.mark.usefixtures("bare")
def test_named_file_that_does_not_exist(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("EDGEPROOF_NGSPICE", str(tmp_path / "absent.so"))
    found = examined()
    assert found.exit_code == 3
    assert "which is no file" in found.notes[0]


def test_wrong_answer_is_exit_one(monkeypatch: pytest.MonkeyPatch) -> None:
    # Held to a tolerance no engine can meet, the right answer becomes a wrong one.
    monkeypatch.setattr(module, "TOLERANCE", 1e-12)
    found = examined()
    assert found.exit_code == 1
    assert found.known_circuit is not None
    assert not found.known_circuit.right
