"""`edgeproof sweep DESIGN…`: how many of a hundred boards would work, with stated confidence."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analog.cli import exits, options

if TYPE_CHECKING:
    from collections.abc import Callable

    from analog.cli.session import Job, Request
    from analog.engine import Engine
    from analog.results.records import Results
    from analog.workflows.sweep import Forecast, Order, Swept


class _ClaimedShare(click.ParamType[float]):
    """A share as people write it, "99%" or "0.99", as a fraction; any number, judged later."""

    name = "share"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        text = str(value).strip().replace(" ", "")
        try:
            return float(text.removesuffix("%")) / (100 if text.endswith("%") else 1)
        except ValueError:
            self.fail(f"{value!r} is no share; write it like 99%", param, ctx)


@dataclass(frozen=True, slots=True)
class Asked:
    """What the options of a sweep say besides what every simulating command has."""

    order: Order
    junit: Path | None
    out: Path | None
    parquet: bool
    baseline: Results | None


@click.command()
@options.designs
@options.simulating
@click.option(
    "--claim",
    metavar="SHARE",
    type=_ClaimedShare(),
    default="99%",
    show_default=True,
    help="The share of boards that must work.",
)
@click.option(
    "--confidence",
    metavar="SHARE",
    type=_ClaimedShare(),
    default="95%",
    show_default=True,
    help="How surely the claim must be shown.",
)
@click.option(
    "--samples",
    metavar="N",
    type=click.IntRange(1, 10_000_000),
    help="Simulate exactly N boards instead of as many as the claim needs.",
)
@click.option(
    "--budget",
    metavar="N",
    type=click.IntRange(1, 10_000_000),
    help="Give up after N boards (default: 2000).",
)
@click.option("--dask", metavar="ADDRESS", help="Simulate on the workers of this dask scheduler.")
@click.option(
    "--rare",
    "rare",
    metavar="MEASURE",
    multiple=True,
    help="Estimate how rarely this measure fails, down to one in a million (repeatable).",
)
@options.out
@click.option("--parquet", is_flag=True, help="With --out: samples.parquet too.")
@options.junit
@click.option(
    "--baseline",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Fail when the yield is worse beyond doubt than in this file of an earlier sweep.",
)
def command(
    designs: tuple[str, ...],
    benches: tuple[str, ...],
    as_json: bool,
    jobs: int | None,
    seed: int,
    store: Path | None,
    claim: float,
    confidence: float,
    samples: int | None,
    budget: int | None,
    dask: str | None,
    rare: tuple[str, ...],
    out: Path | None,
    parquet: bool,
    junit: Path | None,
    baseline: Path | None,
) -> int:
    """Sample boards from parts, temperature and mains, and say how many of a hundred work."""
    from analog.cli.files import require_writable
    from analog.cli.problems import report_error
    from analog.cli.session import Request
    from analog.errors import EdgeproofError

    try:
        order = replace(_order(claim, confidence, samples, budget), rare=rare)
        asked = Asked(order, junit, out, parquet, _earlier(baseline, designs))
        if junit is not None:
            require_writable(junit.parent, junit)
        if out is not None:
            require_writable(out)
        if parquet:
            _require_parquet(out)
    except EdgeproofError as error:
        return report_error(error, "command line", as_json)
    return _run(designs, Request(benches, as_json, jobs, seed, store, dask=dask), asked)


def _order(claim: float, confidence: float, samples: int | None, budget: int | None) -> Order:
    """Return the order; InputError when nothing could fulfil it."""
    from analog.cli.problems import bad_file
    from analog.studies.stopping import Claim
    from analog.workflows.sweep import DEFAULT_BUDGET, Order, require_possible

    if samples is not None and budget is not None:
        rule = "--samples fixes the number of boards and --budget leaves it open"
        raise bad_file("command line", rule, "Give one of them")
    for option, share in (("--claim", claim), ("--confidence", confidence)):
        if not 0 < share < 1:
            rule = f"{option} {100 * share:g}% can be shown by no number of boards"
            raise bad_file("command line", rule, "Give a share above 0 and below 100%, like 99%")
    order = Order(Claim(claim, confidence), samples, budget or DEFAULT_BUDGET)
    require_possible(order)
    return order


def _run(designs: tuple[str, ...], request: Request, asked: Asked) -> int:
    from analog.cli.reports import write_junit
    from analog.cli.session import for_each_design

    several: list[Results] = []

    def act(job: Job, engine: Engine) -> int:
        swept = _swept(job, engine, request, asked.order)
        several.append(swept.results)
        _show(swept, request.as_json)
        if asked.out is not None:
            _write(swept, asked.out, asked.parquet, request.as_json)
        code = exits.of_verdict(swept.results.verdict)
        return exits.gravest([code, _kept(asked.baseline, swept.results, job)])

    code = for_each_design(designs, request, act)
    return exits.gravest([code, write_junit(asked.junit, several)])


def _swept(job: Job, engine: Engine, request: Request, order: Order) -> Swept:
    from analog.cli.display import progress
    from analog.workflows.sweep import sweep

    with progress(job.design.name) as report:
        return sweep(
            job.design,
            engine,
            benches=request.benches or None,
            order=order,
            seed=request.seed,
            progress=report,
            announce=announcer(job, request),
            filename=job.path,
        )


def announcer(job: Job, request: Request) -> Callable[[Forecast], None] | None:
    """Return what says the cost of a long sweep; nothing when only JSON is wanted."""
    from analog.cli.yields import show_forecast
    from analog.engine.engine import usable_cores

    if request.as_json:
        return None
    return lambda found: show_forecast(job.design.name, found, request.jobs or usable_cores())


def _show(swept: Swept, as_json: bool) -> None:
    if as_json:
        from analog.results import to_json

        click.echo(to_json(swept.results))
    else:
        from analog.cli.yields import show_swept

        show_swept(swept)


def _write(swept: Swept, folder: Path, parquet: bool, as_json: bool) -> None:
    """Write what `report` shows of a sweep, and every board as a table."""
    from analog.cli.display import say
    from analog.cli.files import write_whole
    from analog.render.samples import samples_csv
    from analog.results import to_json

    files: dict[str, str | bytes] = {
        "sweep.json": to_json(swept.results, indent=2) + "\n",
        "samples.csv": samples_csv(swept),
    }
    if parquet:
        from analog.render.parquet import samples_parquet

        files["samples.parquet"] = samples_parquet(swept)
    for name, content in files.items():
        write_whole(folder / swept.design.name / name, content)
    if not as_json:
        say(f"Written to {folder / swept.design.name}: {', '.join(files)}")


def _require_parquet(out: Path | None) -> None:
    from importlib.util import find_spec

    from analog.cli.problems import bad_file
    from analog.errors import MachineError

    if out is None:
        raise bad_file("command line", "--parquet needs a folder", "Give --out FOLDER as well")
    if find_spec("pyarrow") is None:
        raise MachineError(
            "pyarrow is not installed", "Install the extra: pip install 'edgeproof[parquet]'"
        )


def _earlier(baseline: Path | None, designs: tuple[str, ...]) -> Results | None:
    """Read the results of an earlier sweep; InputError when they are none."""
    from analog.cli.baseline import read_baseline
    from analog.cli.problems import bad_file

    found = read_baseline(baseline, designs, 0.0)
    if found is None:
        return None
    if found.results.yield_ is None:
        rule = "these are no results of a sweep"
        raise bad_file(str(baseline), rule, "Name what sweep --json printed, or its sweep.json")
    return found.results


def _kept(earlier: Results | None, now: Results, job: Job) -> int:
    """Say what a sweep lost against an earlier one."""
    from analog.cli.display import note
    from analog.cli.problems import bad_file
    from analog.results.yields import yield_losses

    if earlier is None:
        return exits.PASSED
    if earlier.design.name != now.design.name:
        rule = f"the baseline is of another design, {earlier.design.name}"
        raise bad_file(job.path, rule, "Name the baseline of this design")
    losses = yield_losses(earlier, now)
    for loss in losses:
        note(f"{job.path}:1:1: worse than the baseline: {loss}")
    return exits.FAILED if losses else exits.PASSED
