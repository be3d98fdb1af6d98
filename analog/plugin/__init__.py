"""pytest plugin: design files become tests, one for each limit that `edgeproof check` judges.

Design files are collected when they are named on pytest's command line, or match the patterns of
the ini option ``edgeproof_designs``. Importing this costs nothing but pytest itself; what reads
designs is loaded when there is one, what simulates them when a test runs.
"""

from __future__ import annotations

from fnmatch import fnmatch
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from analog.plugin.checks import Checks
    from analog.plugin.items import DesignFile

CHECKS: pytest.StashKey[Checks] = pytest.StashKey()


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup("edgeproof", "edgeproof: design files as tests")
    group.addoption(
        "--edgeproof-bench",
        action="append",
        metavar="BENCH",
        help="judge only this bench (repeatable)",
    )
    group.addoption("--edgeproof-seed", type=int, metavar="N", help="start of the random choices")
    group.addoption(
        "--edgeproof-samples",
        metavar="N",
        help="judge N sampled boards instead of the guaranteed extremes",
    )
    group.addoption(
        "--edgeproof-claim",
        metavar="SHARE",
        help="share of sampled boards that must hold each limit (default: 99%%)",
    )
    group.addoption(
        "--edgeproof-store",
        metavar="FILE",
        help="file that keeps finished simulations (else EDGEPROOF_STORE, else the user's cache)",
    )
    parser.addini(
        "edgeproof_designs",
        "design files to collect: patterns of paths from the root folder",
        type="args",
        default=[],
    )
    parser.addini("edgeproof_benches", "benches to judge (default: all)", type="args", default=[])
    parser.addini("edgeproof_seed", "start of the random choices", default="0")
    parser.addini("edgeproof_samples", "boards to sample (default: judge extremes)", default="")
    parser.addini("edgeproof_claim", "share of boards that must hold", default="99%")


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> DesignFile | None:
    if file_path.suffix != ".toml" or not _wanted(file_path, parent):
        return None
    from analog.plugin.items import DesignFile

    found: DesignFile = DesignFile.from_parent(parent, path=file_path)
    return found


def _wanted(path: Path, parent: pytest.Collector) -> bool:
    """Tell whether a file was named, or matches a pattern, and says that it is a design."""
    config = parent.config
    try:
        relative = path.relative_to(config.rootpath).as_posix()
    except ValueError:
        relative = path.as_posix()
    if any(fnmatch(relative, pattern) for pattern in config.getini("edgeproof_designs")):
        return True
    return parent.session.isinitpath(path) and _is_design(path)


def _is_design(path: Path) -> bool:
    """Tell whether a file that was named is a design; pyproject.toml may be named as well."""
    try:
        lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return False
    return any(line.replace(" ", "").startswith("edgeproof=") for line in lines)


@pytest.hookimpl(optionalhook=True)
def pytest_configure_node(node: Any) -> None:
    """Give every process of a parallel run the folder in which they share their results."""
    from analog.plugin.checks import shared_folder

    node.workerinput["edgeproof_folder"] = str(shared_folder(node.config))


def pytest_unconfigure(config: pytest.Config) -> None:
    checks = config.stash.get(CHECKS, None)
    if checks is not None:
        checks.close()
