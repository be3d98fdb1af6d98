"""From a command line to designs and an open engine; one design's error never stops the next."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from analog.cli import exits
from analog.cli.problems import problem_of, report_error, report_problems
from analog.errors import EdgeproofError, InputError, MachineError, Problem

if TYPE_CHECKING:
    from analog.design import Design
    from analog.engine import Engine
    from analog.workflows import Checked


@dataclass(frozen=True, slots=True)
class Request:
    """What the options of a simulating command say; no bench named means all."""

    benches: tuple[str, ...]
    as_json: bool
    jobs: int | None
    seed: int
    store: Path | None = None
    fine: bool = False
    dask: str | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """One design file that was read without error."""

    path: str
    design: Design


Act = Callable[[Job, "Engine"], int]


def for_each_design(paths: Sequence[str], request: Request, act: Act) -> int:
    """Read all designs, act on each good one with one engine, return the command's exit code."""
    jobs, problems = read_jobs(paths, request.benches)
    if problems:
        report_problems(problems, request.as_json)
    codes = [exits.BAD_INPUT] if problems else []
    return exits.gravest([*codes, *_act_on_all(jobs, request, act)])


def read_jobs(
    paths: Sequence[str], benches: Sequence[str] = ()
) -> tuple[tuple[Job, ...], tuple[Problem, ...]]:
    """Read every design file; return the good ones and all that is wrong with the others."""
    from analog.design import read_designs
    from analog.workflows.check import make_plans

    read = read_designs(paths)
    jobs: list[Job] = []
    problems = list(read.problems)
    for path, design in read.designs:
        try:
            make_plans(design, benches or None, path)
        except InputError as error:
            problems += error.problems
        except EdgeproofError as error:  # a card that lacks what a bench needs, say
            problems.append(problem_of(error, path))
        else:
            jobs.append(Job(path, design))
    return tuple(jobs), tuple(problems)


def checked(job: Job, engine: Engine, request: Request) -> Checked:
    """Check one design, with a progress bar when it takes long and someone watches."""
    from analog.cli.display import progress
    from analog.workflows import check

    with progress(job.design.name) as report:
        return check(
            job.design,
            engine,
            benches=request.benches or None,
            fine=request.fine,
            seed=request.seed,
            progress=report,
            filename=job.path,
        )


@contextmanager
def opened_engine(request: Request) -> Iterator[Engine]:
    """Open the engine with the store of finished simulations.

    The user's cache being unusable is only noted; a store that was named must work
    (MachineError).
    """
    from analog.cli.display import note
    from analog.engine import default_store_path, open_engine
    from analog.engine.store import open_store

    store: Path | None = request.store or default_store_path()
    if store is not None and request.store is None and not os.environ.get("EDGEPROOF_STORE"):
        try:
            with open_store(store):
                pass
        except MachineError as error:
            note(f"edgeproof: going on without the cache. {error}")
            store = None
    with open_engine(jobs=request.jobs, store=store, dask=request.dask) as engine:
        yield engine


def _act_on_all(jobs: Sequence[Job], request: Request, act: Act) -> list[int]:
    codes: list[int] = []
    if not jobs:
        return codes
    try:
        with opened_engine(request) as engine:
            for job in jobs:
                codes.append(_act_on_one(job, engine, request, act))
    except MachineError as error:
        # The engine itself is missing: every design is named, none is judged.
        codes += [report_error(error, job.path, request.as_json) for job in jobs[len(codes) :]]
    return codes


def _act_on_one(job: Job, engine: Engine, request: Request, act: Act) -> int:
    try:
        return act(job, engine)
    except EdgeproofError as error:
        return report_error(error, job.path, request.as_json)
