"""`edgeproof netlist DESIGN`: a circuit as it is simulated, for ``ngspice -b``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from analog.cli import exits, options

if TYPE_CHECKING:
    from analog.benches.base import Plan
    from analog.cli.session import Job, Request
    from analog.errors import InputError


@click.command()
@options.design
@click.option("--bench", metavar="BENCH", required=True, help="The bench whose circuit is wanted.")
@click.option(
    "--at",
    metavar="CASE",
    default="nominal",
    show_default=True,
    help="nominal, worst:MEASURE for the worst case of a measure, or sample:N for board N of a "
    "sweep of the same seed.",
)
@click.option("--scene", metavar="SCENE", help="Which circuit of the bench (default: the first).")
@options.jobs
@options.seed
@options.store
def command(
    design: str,
    bench: str,
    at: str,
    scene: str | None,
    jobs: int | None,
    seed: int,
    store: Path | None,
) -> int:
    """Print the netlist as it is simulated; it runs as it is under `ngspice -b`."""
    from analog.cli.problems import report_error, report_problems
    from analog.cli.session import Request, read_jobs
    from analog.errors import EdgeproofError

    found, problems = read_jobs((design,), (bench,))
    if problems:
        report_problems(problems, as_json=False)
        return exits.BAD_INPUT
    try:
        if at == "nominal":
            click.echo(_nominal(found[0], bench, scene))
            return exits.PASSED
        if at.startswith("sample:"):
            click.echo(_sample(found[0], bench, at, scene, seed))
            return exits.PASSED
        return _worst(found[0], bench, at, Request((bench,), False, jobs, seed, store))
    except EdgeproofError as error:
        return report_error(error, design, as_json=False)


def _nominal(job: Job, bench: str, scene: str | None) -> str:
    """Return the nominal netlist; nothing is simulated for it."""
    import numpy as np

    from analog.engine import netlist
    from analog.workflows.check import make_plans
    from analog.workflows.scenes import parameter_rows

    plan = make_plans(job.design, (bench,), job.path)[0]
    scenes = {own.identifier: own for own in plan.scenes}
    chosen = scenes.get(scene) if scene is not None else plan.scenes[0]
    if chosen is None:
        raise _no_scene(job, plan, scene)
    names, rows = parameter_rows(chosen, np.zeros((1, len(chosen.space.axes))))
    row = dict(zip(names, rows[0].tolist(), strict=True))
    return netlist(chosen.experiment, row, f"{job.design.name} {bench} {chosen.identifier} nominal")


def _sample(job: Job, bench: str, at: str, scene: str | None, seed: int) -> str:
    """Return the netlist of one board of a sweep; nothing is simulated for it."""
    from analog.cli.problems import bad_file
    from analog.workflows.check import make_plans
    from analog.workflows.netlists import sample_netlist

    number = at.partition(":")[2]
    if not (number.isascii() and number.isdigit() and len(number) < 10):
        rule = f"{at!r} names no board of a sweep"
        raise bad_file("command line", rule, "Boards count from 0: sample:0, sample:1, …")
    plan = make_plans(job.design, (bench,), job.path)[0]
    if not plan.scenes or scene not in (None, *(own.identifier for own in plan.scenes)):
        raise _no_scene(job, plan, scene)
    return sample_netlist(job.design, plan, int(number), seed, scene)


def _no_scene(job: Job, plan: Plan, scene: str | None) -> InputError:
    from analog.cli.problems import bad_file

    rule = f"the bench {plan.bench} has no scene {scene!r}"
    return bad_file(job.path, rule, f"It has: {', '.join(own.identifier for own in plan.scenes)}")


def _worst(job: Job, bench: str, at: str, request: Request) -> int:
    from analog.cli.problems import bad_file
    from analog.cli.session import checked, opened_engine
    from analog.workflows import netlist
    from analog.workflows.check import make_plans

    plan = make_plans(job.design, (bench,), job.path)[0]
    kind, _, wanted = at.partition(":")
    cases = [f"worst:{measure.identifier}" for measure in plan.measures]
    if kind != "worst" or at not in cases:
        rule = f"the bench {bench} has no case {at!r}"
        raise bad_file(job.path, rule, f"It has: nominal, sample:N, {', '.join(cases)}")
    with opened_engine(request) as engine:
        outcome = checked(job, engine, request)
    if wanted not in outcome.bench(bench).worst:
        from analog.cli.display import note

        note(f"{job.path}:1:1: {bench}.{wanted} gave no data anywhere; there is no worst case")
        return exits.UNDECIDED
    click.echo(netlist(outcome, bench, at))
    return exits.PASSED
