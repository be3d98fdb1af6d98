"""`edgeproof sweep DESIGN…`: how many of a hundred boards would work, with stated confidence."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analog.cli import exits, options

if TYPE_CHECKING:
    from analog.cli.session import Job, Request
    from analog.engine import Engine
    from analog.results.records import Results
    from analog.workflows.sweep import Order, Swept


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
    dask: str | None


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
@options.out
@options.junit
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
    out: Path | None,
    junit: Path | None,
) -> int:
    """Sample boards from parts, temperature and mains, and say how many of a hundred work."""
    from analog.cli.files import require_writable
    from analog.cli.problems import report_error
    from analog.cli.session import Request
    from analog.errors import EdgeproofError

    try:
        asked = Asked(_order(claim, confidence, samples, budget), junit, out, dask)
        if junit is not None:
            require_writable(junit.parent, junit)
        if out is not None:
            require_writable(out)
    except EdgeproofError as error:
        return report_error(error, "command line", as_json)
    return _run(designs, Request(benches, as_json, jobs, seed, store), asked)


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
    from analog.cli.session import for_each_design

    several: list[Results] = []

    def act(job: Job, engine: Engine) -> int:
        swept = _swept(job, engine, request, asked.order)
        several.append(swept.results)
        _show(swept, request.as_json)
        if asked.out is not None:
            _write(swept, asked.out, request.as_json)
        return exits.of_verdict(swept.results.verdict)

    code = for_each_design(designs, request, act)
    return exits.gravest([code, _write_junit(asked.junit, several)])


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
            filename=job.path,
        )


def _show(swept: Swept, as_json: bool) -> None:
    if as_json:
        from analog.results import to_json

        click.echo(to_json(swept.results))
    else:
        from analog.cli.yields import show_swept

        show_swept(swept)


def _write(swept: Swept, folder: Path, as_json: bool) -> None:
    """Write what `report` shows of a sweep, and every board as a table."""
    from analog.cli.display import say
    from analog.cli.files import write_whole
    from analog.render.samples import samples_csv
    from analog.results import to_json

    own = folder / swept.design.name
    write_whole(own / "sweep.json", to_json(swept.results, indent=2) + "\n")
    write_whole(own / "samples.csv", samples_csv(swept))
    if not as_json:
        say(f"Written: {own / 'sweep.json'}, {own / 'samples.csv'}")


def _write_junit(junit: Path | None, several: list[Results]) -> int:
    from analog.cli.files import write_whole
    from analog.cli.problems import report_error
    from analog.errors import MachineError
    from analog.render import junit as junit_text

    if junit is None:
        return exits.PASSED
    try:
        write_whole(junit, junit_text(several))
    except MachineError as error:
        return report_error(error, str(junit), as_json=False)
    return exits.PASSED
