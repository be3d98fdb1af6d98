"""Options that several commands share, each written once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])

_FILE = click.Path(path_type=Path)

designs = click.argument("designs", metavar="DESIGN...", nargs=-1, required=True)
design = click.argument("design", metavar="DESIGN")
bench = click.option(
    "--bench",
    "benches",
    metavar="BENCH",
    multiple=True,
    help="Only this bench (repeatable): line_sense, conditioner, reset, gate_drive.",
)
as_json = click.option("--json", "as_json", is_flag=True, help="Print JSON and nothing else.")
out = click.option("--out", metavar="FOLDER", type=_FILE, help="Folder for the reports.")
jobs = click.option(
    "--jobs", metavar="N", type=click.IntRange(1, 256), help="Simulate on N cores (default: all)."
)
seed = click.option(
    "--seed",
    metavar="N",
    type=click.IntRange(0, 2**63 - 1),
    default=0,
    show_default=True,
    help="Start of the random choices; the same number gives the same results.",
)
store = click.option(
    "--store",
    metavar="FILE",
    type=_FILE,
    help="File that keeps finished simulations (else EDGEPROOF_STORE, else the user's cache).",
)
fine = click.option("--fine", is_flag=True, help="Simulate in finer steps, to see that it holds.")
junit = click.option("--junit", metavar="FILE", type=_FILE, help="Write a JUnit file for CI.")
baseline = click.option(
    "--baseline",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Fail when a margin is worse than in this results file.",
)


def as_share(_: click.Context, __: click.Parameter, value: str) -> float:
    """Turn a share as people write it, "5%" or "0.05", into a fraction from 0 to below 1."""
    text = value.strip()
    try:
        share = float(text.removesuffix("%")) / (100 if text.endswith("%") else 1)
    except ValueError:
        share = -1.0
    if not 0 <= share < 1:  # also refuses what is no number
        raise click.BadParameter(f"{text!r} is no share from 0 to below 100%")
    return share


may_shrink = click.option(
    "--may-shrink",
    metavar="SHARE",
    callback=as_share,
    default="5%",
    show_default=True,
    help="How much of a margin may be lost against the baseline.",
)
annotate = click.option(
    "--annotate",
    is_flag=True,
    help="Print failed limits as workflow commands, which a hosted CI shows beside their lines.",
)


def simulating(command: F) -> F:
    """Add the options of every command that simulates designs."""
    for option in (store, seed, jobs, bench, as_json):
        command = option(command)
    return command
