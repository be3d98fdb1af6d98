"""`--baseline`: what an accepted results file is compared with, and what is said of a breach."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from analog.cli import exits

if TYPE_CHECKING:
    from analog.cli.session import Job, Request
    from analog.results import Results


@dataclass(frozen=True, slots=True)
class Baseline:
    """An accepted results file; `may_shrink` is the share a margin may lose."""

    file: Path
    results: Results
    may_shrink: float


def read_baseline(
    file: Path | None, designs: tuple[str, ...], may_shrink: float
) -> Baseline | None:
    """Read the baseline; an InputError when it is none, or goes with several designs."""
    from analog.cli.problems import bad_file
    from analog.results import ResultsError, read_results

    if file is None:
        return None
    if len(designs) > 1:
        raise bad_file(str(file), "a baseline belongs to one design", "Check one design")
    try:
        return Baseline(file, read_results(file), may_shrink)
    except ResultsError as error:
        remedy = "Name a results.json that Edgeproof wrote"
        raise bad_file(str(file), error.reason, remedy) from None


def held(baseline: Baseline | None, results: Results, job: Job, request: Request) -> int:
    """Compare with the baseline and say what broke it, why, and how to accept what is now."""
    from analog.cli.display import note
    from analog.render.changes import breach_words
    from analog.results.compare import breaches, only_benches

    if baseline is None:
        return exits.PASSED
    _same_design(baseline, results, job.path)
    accepted = only_benches(baseline.results, request.benches)
    found = breaches(accepted, results, baseline.may_shrink)
    for breach in found:
        place = _place(job, results, breach.change.bench, breach.change.measure)
        note(f"{job.path}:{place}: worse than the baseline: {breach_words(breach)}")
    if not found:
        return exits.PASSED
    note(
        f"{job.path}:1:1: the baseline {baseline.file} is not kept in {len(found)} "
        f"place{'' if len(found) == 1 else 's'} (a margin may lose {100 * baseline.may_shrink:.3g} "
        f"%). If this is meant, accept it: {accept_command(baseline, job, request)}"
    )
    return exits.FAILED


def accept_command(baseline: Baseline, job: Job, request: Request) -> str:
    """Return the command line that makes the present results the baseline."""
    words = ["edgeproof", "accept", job.path, "--baseline", str(baseline.file)]
    if request.seed:
        words += ["--seed", str(request.seed)]
    return shlex.join(words)


def _same_design(baseline: Baseline, results: Results, path: str) -> None:
    from analog.cli.problems import bad_file

    name = baseline.results.design.name
    if name != results.design.name:
        rule = f"the baseline is of another design, {name}"
        raise bad_file(path, rule, "Name the baseline of this design")


def _place(job: Job, results: Results, bench: str, measure: str) -> str:
    """Return line:column of what sets the limit of a measure."""
    from analog.workflows.places import limit_place

    for one in results.benches:
        for row in one.measures:
            if (one.bench, row.measure) == (bench, measure):
                line, column = limit_place(job.design, bench, row)
                return f"{line}:{column}"
    return "1:1"
