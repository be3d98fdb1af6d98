"""`edgeproof suggest DESIGN`: which stock part makes it work, and a changed design file."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analog.cli import exits, options

if TYPE_CHECKING:
    from analog.cli.session import Job, Request
    from analog.engine import Engine
    from analog.quantities import SeriesName
    from analog.workflows.suggest import Suggested, Wish
    from analog.workflows.sweep import Swept
    from analog.workflows.trade import Trade

_FILE = click.Path(path_type=Path)
_CODES = {
    "none needed": exits.PASSED,
    "found": exits.PASSED,
    "none": exits.FAILED,
    "undecided": exits.UNDECIDED,
}
_OUTCOMES = {"proved": exits.PASSED, "refuted": exits.FAILED, "open": exits.UNDECIDED}


@dataclass(frozen=True, slots=True)
class Asked:
    """What to do with the outcome; `trade` are two dotted keys, empty for none."""

    wish: Wish
    write: Path | None
    overwrite: bool
    choice: int
    trade: tuple[str, ...]
    figure: Path | None
    claim: float | None
    out: Path | None


def _claimed(context: click.Context, parameter: click.Parameter, value: str | None) -> float | None:
    return None if value is None else options.as_share(context, parameter, value)


@click.command()
@options.design
@options.as_json
@options.jobs
@options.seed
@options.store
@click.option(
    "--margin",
    metavar="SHARE",
    callback=options.as_share,
    default="5%",
    show_default=True,
    help="What every limit must be kept by, as a share of it.",
)
@click.option(
    "--series",
    type=click.Choice(["E3", "E6", "E12", "E24", "E48", "E96", "E192"]),
    help="Series resistors are taken from (default: what their technology is kept in).",
)
@click.option(
    "--place",
    "places",
    metavar="KEY",
    multiple=True,
    help="Change nothing but this part, like reset.capacitor (repeatable).",
)
@click.option(
    "--changes",
    type=click.IntRange(1, 3),
    default=2,
    show_default=True,
    help="Most parts changed together in one bench.",
)
@click.option(
    "--budget",
    metavar="N",
    type=click.IntRange(1, 10_000_000),
    default=6000,
    show_default=True,
    help="Short simulations the search may take besides full checks.",
)
@click.option(
    "--claim",
    metavar="SHARE",
    callback=_claimed,
    help="Sweep every suggestion too: this share of boards must work, at 95 % confidence.",
)
@click.option("--write", metavar="FILE", type=_FILE, help="Write the changed design here.")
@click.option("--overwrite", is_flag=True, help="Let --write and --figure replace a file.")
@click.option(
    "--choice",
    metavar="N",
    type=click.IntRange(1, 10),
    default=1,
    show_default=True,
    help="Which suggestion --write takes.",
)
@click.option(
    "--trade",
    metavar="KEY KEY",
    nargs=2,
    help="Show where two parts' values work, like line_sense.series_resistor line_sense.capacitor.",
)
@click.option("--figure", metavar="FILE", type=_FILE, help="Draw the trade as .svg or .png.")
@options.out
def command(
    design: str,
    as_json: bool,
    jobs: int | None,
    seed: int,
    store: Path | None,
    margin: float,
    series: SeriesName | None,
    places: tuple[str, ...],
    changes: int,
    budget: int,
    claim: float | None,
    write: Path | None,
    overwrite: bool,
    choice: int,
    trade: tuple[str, str] | None,
    figure: Path | None,
    out: Path | None,
) -> int:
    """Find the smallest change to stock parts that makes every limit pass with a margin.

    Every suggestion is checked whole at its guaranteed extremes. With --trade no change is
    sought: two values are laid out against each other instead.
    """
    from analog.cli.problems import report_error
    from analog.cli.session import Request
    from analog.errors import EdgeproofError
    from analog.workflows.suggest import Wish

    wish = Wish(margin, series, changes, max(3, choice), budget, seed, places)
    asked = Asked(wish, write, overwrite, choice, trade or (), figure, claim, out)
    try:
        _refuse_impossible(asked, design)
    except EdgeproofError as error:
        return report_error(error, "command line", as_json)
    return _run(design, Request((), as_json, jobs, seed, store), asked)


def _refuse_impossible(asked: Asked, design: str) -> None:
    """Raise an InputError for options that contradict each other or files that must not be lost."""
    from analog.cli.files import require_writable
    from analog.cli.problems import bad_file

    if asked.trade and asked.write is not None:
        raise bad_file("command line", "--trade writes no design", "Give --write without --trade")
    if asked.claim is not None:
        from analog.studies.stopping import Claim
        from analog.workflows.sweep import Order, require_possible

        if asked.claim == 0:
            raise bad_file("command line", "a claim of 0 claims nothing", "Claim like 99%")
        require_possible(Order(Claim(asked.claim)))
    if asked.trade and asked.out is not None:
        raise bad_file("command line", "--out keeps suggestions", "Give --trade without --out")
    if asked.out is not None:
        require_writable(asked.out)
    if asked.figure is not None and not asked.trade:
        raise bad_file("command line", "--figure draws a trade", "Name two parts with --trade")
    if asked.figure is not None and asked.figure.suffix not in (".svg", ".png"):
        raise bad_file(str(asked.figure), "no kind of picture", "Name a file in .svg or .png")
    for path in (asked.write, asked.figure):
        if path is None:
            continue
        if path.exists() and not path.is_dir() and not asked.overwrite:
            own = "the design itself is there" if str(path) == design else "there is a file"
            remedy = "Name another file, or add --overwrite to replace it"
            raise bad_file(str(path), own, remedy)
        require_writable(path.parent, path)


def _run(design: str, request: Request, asked: Asked) -> int:
    from analog.cli.display import say
    from analog.cli.session import for_each_design

    def act(job: Job, engine: Engine) -> int:
        if asked.trade:
            return _trade(job, engine, request, asked)
        found = _suggested(job, engine, request, asked.wish)
        sweeps = _swept(found, job, engine, request, asked.claim)
        written = _write(found, asked)
        kept = _keep(found, sweeps, asked.out)
        if request.as_json:
            click.echo(_record(found, sweeps, written))
        else:
            from analog.cli.suggestions import show_suggested

            show_suggested(found, sweeps, asked.write, written)
            if kept is not None:
                say(f"Written for the report: {kept}")
        return exits.gravest([_CODES[found.status], *(_OUTCOMES[s.outcome] for s in sweeps)])

    return for_each_design((design,), request, act)


def _suggested(job: Job, engine: Engine, request: Request, wish: Wish) -> Suggested:
    from analog.cli.display import note, progress
    from analog.workflows.suggest import suggest

    with progress(job.design.name) as report:
        return suggest(
            job.design,
            engine,
            wish,
            progress=report,
            tell=None if request.as_json else note,
            filename=job.path,
        )


def _swept(
    found: Suggested, job: Job, engine: Engine, request: Request, claim: float | None
) -> list[Swept]:
    """Sweep every suggestion when a claim is made; an empty list otherwise."""
    if claim is None:
        return []
    from analog.cli.display import progress
    from analog.cli.sweep import announcer
    from analog.studies.stopping import Claim
    from analog.workflows.sweep import Order, sweep

    order, swept = Order(Claim(claim)), []
    with progress(job.design.name) as report:
        for one in found.suggestions:
            swept.append(
                sweep(
                    one.design,
                    engine,
                    order=order,
                    seed=request.seed,
                    progress=report,
                    announce=announcer(job, request),
                    filename=job.path,
                )
            )
    return swept


def _write(found: Suggested, asked: Asked) -> Path | None:
    """Write the chosen suggestion; None when nothing was asked for or there is no such one."""
    from analog.cli.files import write_whole

    if asked.write is None or len(found.suggestions) < asked.choice:
        return None
    write_whole(asked.write, found.suggestions[asked.choice - 1].text)
    return asked.write


def _record(found: Suggested, sweeps: list[Swept], written: Path | None) -> str:
    from analog.workflows.suggest_record import suggest_record

    record = suggest_record(found, sweeps, None if written is None else str(written))
    return json.dumps(record, ensure_ascii=False, allow_nan=False)


def _keep(found: Suggested, sweeps: list[Swept], folder: Path | None) -> Path | None:
    """Write what `report` shows of suggestions; None when no folder was named."""
    if folder is None:
        return None
    from analog.cli.files import write_whole
    from analog.render.suggestview import FILE

    path = folder / found.base.design.name / FILE
    write_whole(path, _record(found, sweeps, None) + "\n")
    return path


def _trade(job: Job, engine: Engine, request: Request, asked: Asked) -> int:
    from analog.cli.display import note, progress
    from analog.workflows.trade import trade

    first, second = asked.trade
    with progress(job.design.name) as report:
        laid = trade(
            job.design,
            engine,
            (first, second),
            asked.wish,
            progress=report,
            tell=None if request.as_json else note,
            filename=job.path,
        )
    _show_trade(laid, request, asked.figure)
    return exits.PASSED if laid.works.any() else exits.FAILED


def _show_trade(laid: Trade, request: Request, figure: Path | None) -> None:
    if figure is not None:
        from analog.render.trade import draw_trade

        draw_trade(laid, figure)
    if request.as_json:
        from analog.workflows.suggest_record import trade_record

        click.echo(json.dumps(trade_record(laid, str(figure or "") or None), ensure_ascii=False))
        return
    from analog.cli.suggestions import show_trade

    show_trade(laid, figure)
