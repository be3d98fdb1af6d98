"""Designs and helpers for the tests of the command line; the designs have only a reset, which
is simulated in a second or two."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

from click.testing import CliRunner, Result

from analog.cli import main

ROOT = Path(__file__).resolve().parents[2]
COMMAND = (sys.executable, "-m", "analog.cli")

PASSING = """edgeproof = 1

[design]
name = "holds"
title = "A reset that takes"

[environment]
ambient_minimum = "5 °C"
ambient_maximum = "45 °C"

[supply]
rail = "9 V 5%"

[reset]
resistor = "470k 5% carbon-film"
capacitor = "1u 10% film 63V"
discharge_diode = "1N4148"
receiver = "40106"
driven = "4013"
"""

FAILING = (
    PASSING.replace("holds", "leaks")
    .replace("470k 5%", "1M 5%")
    .replace("1u 10% film 63V", "10u 20% electrolytic 16V")
    .replace("discharge_diode =", 'pin_resistor = "100k 5% carbon-film"\ndischarge_diode =')
)

LOCATED = re.compile(r"^[^:\n]+:[1-9]\d*:[1-9]\d*: \S")


def run(*arguments: str) -> Result:
    """Run a command line in this process."""
    result = CliRunner().invoke(main, list(arguments))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert "Traceback" not in result.stderr
    return result


def run_process(
    *arguments: str, folder: Path, environment: dict[str, str] | None = None
) -> subprocess.CompletedProcess[str]:
    """Run a command line in a process of its own, in `folder`."""
    return subprocess.run(
        [*COMMAND, *arguments],
        cwd=folder,
        env=process_environment(environment),
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


def process_environment(more: dict[str, str] | None = None) -> dict[str, str]:
    """Return this environment with the package importable from any folder."""
    return {**os.environ, "PYTHONPATH": str(ROOT), **(more or {})}


def written(folder: Path, name: str, text: str) -> str:
    """Write a file and return its path."""
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return str(path)


def assert_located(stderr: str) -> None:
    """Assert that there is an error and that each one begins FILE:LINE:COLUMN:."""
    lines = stderr.splitlines()
    assert lines
    for line in lines:
        assert LOCATED.match(line), line


def listing(folder: Path) -> set[str]:
    """Return everything below a folder."""
    return {str(path.relative_to(folder)) for path in folder.rglob("*")}
