"""Every test of the command line keeps its simulations in a store of its own."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def store_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("store") / "results.sqlite"


@pytest.fixture(autouse=True)
def own_place(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, store_file: Path) -> Path:
    """Work in an empty folder, with the store shared by these tests and no other."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("EDGEPROOF_STORE", str(store_file))
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    return tmp_path
