"""What a command loads. Counted in modules, not in seconds: the count is the same everywhere."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from cli_cases import PASSING, process_environment, written

HEAVY = ("matplotlib", "scipy.stats", "schemdraw", "PySpice", "jinja2")

REPORT = """
import sys
{statement}
print()
print(*sorted(sys.modules))
"""

COMMAND = """
from analog.cli import main
try:
    main({arguments!r})
except SystemExit as end:
    assert not end.code, end.code
"""


def modules(statement: str, folder: Path) -> set[str]:
    """Return what a fresh interpreter has loaded after a statement."""
    done = subprocess.run(
        [sys.executable, "-c", REPORT.format(statement=statement)],
        cwd=folder,
        env=process_environment(),
        capture_output=True,
        text=True,
        timeout=300,
        check=True,
    )
    return set(done.stdout.splitlines()[-1].split())


def after(arguments: list[str], folder: Path) -> set[str]:
    return modules(COMMAND.format(arguments=arguments), folder)


def test_help_costs_at_most_three_times_click(tmp_path: Path) -> None:
    bare = len(modules("", tmp_path))
    click = len(modules("import click", tmp_path)) - bare
    ours = len(after(["--help"], tmp_path)) - bare
    assert click > 20
    assert ours <= 3 * click


def test_help_loads_neither_numpy_nor_anything_heavy(tmp_path: Path) -> None:
    loaded = after(["--help"], tmp_path)
    assert not loaded & {*HEAVY, "numpy", "scipy", "pydantic", "rich", "tomlkit"}


def test_check_loads_nothing_that_draws_or_samples(tmp_path: Path) -> None:
    loaded = after(["check", written(tmp_path, "a.toml", PASSING)], tmp_path)
    assert "analog.workflows.check" in loaded
    assert not loaded & set(HEAVY)
    assert "rich" not in loaded  # nobody watches a terminal here


def test_parts_loads_no_engine(tmp_path: Path) -> None:
    loaded = after(["parts", "40106"], tmp_path)
    assert not loaded & {*HEAVY, "analog.engine", "analog.workflows"}


def test_netlist_of_the_nominal_draws_nothing(tmp_path: Path) -> None:
    arguments = ["netlist", written(tmp_path, "a.toml", PASSING), "--bench", "reset"]
    assert not after(arguments, tmp_path) & (set(HEAVY) - {"PySpice"})  # it writes the netlist
