"""`edgeproof accept DESIGN`: the present results become the baseline."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from analog.cli import exits, options

if TYPE_CHECKING:
    from analog.cli.session import Job
    from analog.engine import Engine
    from analog.results import Results


@click.command()
@options.design
@options.jobs
@options.seed
@options.store
@options.out
@click.option(
    "--baseline",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Where to keep it (default: reports/NAME/baseline.json).",
)
def command(
    design: str,
    jobs: int | None,
    seed: int,
    store: Path | None,
    out: Path | None,
    baseline: Path | None,
) -> int:
    """Check a design and keep its results as what later checks are held against.

    `check --baseline FILE` fails when a margin has become smaller than it is now.
    """
    from analog.cli.files import require_writable
    from analog.cli.problems import report_error
    from analog.cli.session import Request, for_each_design
    from analog.errors import EdgeproofError

    request = Request((), False, jobs, seed, store)
    try:
        if baseline is not None:
            require_writable(baseline.parent, baseline)
        else:
            require_writable(out or Path("reports"))
    except EdgeproofError as error:
        return report_error(error, "command line", as_json=False)

    def act(job: Job, engine: Engine) -> int:
        from analog.cli.session import checked

        results = checked(job, engine, request).results
        file = baseline or (out or Path("reports")) / results.design.name / "baseline.json"
        _keep(file, results, job.path)
        return exits.of_verdict(results.verdict)

    return for_each_design((design,), request, act)


def _keep(file: Path, results: Results, design: str) -> None:
    from analog.cli.display import say
    from analog.cli.files import write_whole
    from analog.render.changes import comparison
    from analog.results import ResultsError, read_results, to_json

    try:
        before = read_results(file) if file.exists() else None
    except ResultsError:
        before = None  # what lies there is no results file, or one of another version
    write_whole(file, to_json(results, indent=2) + "\n")
    if before is not None:
        found = comparison(before, results)
        say(f"Compared with what was accepted before: {found.sentence}")
        for row in found.rows:
            limit = f" [{row.limit}]" if row.limit else ""
            moved = f"{row.what} from {row.before} to {row.after}"
            say(f"  {row.bench}.{row.measure}{limit}: {moved} {row.how}".rstrip())
    say(f"{results.design.name}: {results.verdict or 'nothing judged'}. Accepted: {file}")
    say(f"Next: edgeproof check {design} --baseline {file}")
