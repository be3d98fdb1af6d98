"""`edgeproof report DESIGN…`: check designs and write a report folder for each."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from analog.cli import exits, options

if TYPE_CHECKING:
    from analog.cli.session import Job
    from analog.engine import Engine
    from analog.results import Results

DEFAULT_FOLDER = Path("reports")


@click.command()
@options.designs
@options.simulating
@options.out
@click.option("--pdf", is_flag=True, help="Print each report to report.pdf too (needs Chromium).")
def command(
    designs: tuple[str, ...],
    benches: tuple[str, ...],
    as_json: bool,
    jobs: int | None,
    seed: int,
    store: Path | None,
    out: Path | None,
    pdf: bool,
) -> int:
    """Check designs and write reports/NAME/ for each, to keep beside the design.

    Where there are several reports, reports/index.html leads to them.
    """
    from analog.cli.files import require_writable
    from analog.cli.problems import report_error
    from analog.cli.reports import report_date, write, write_overview
    from analog.cli.session import Request, checked, for_each_design
    from analog.errors import EdgeproofError

    folder = out or DEFAULT_FOLDER
    request = Request(benches, as_json, jobs, seed, store)
    try:
        require_writable(folder)
        date = report_date()
    except EdgeproofError as error:
        return report_error(error, "command line", as_json)

    def act(job: Job, engine: Engine) -> int:
        outcome = checked(job, engine, request)
        page = write(outcome, engine, folder, date)
        if pdf:
            from analog.render.pdf import print_page

            print_page(page, date)
        _tell(outcome.results, page, as_json)
        return exits.of_verdict(outcome.results.verdict)

    code = for_each_design(designs, request, act)
    return exits.gravest([code, write_overview(folder, date)])


def _tell(results: Results, page: Path, as_json: bool) -> None:
    if as_json:
        from analog.results import to_json

        click.echo(to_json(results))
    else:
        from analog.cli.display import say

        say(f"{results.design.name}: {results.verdict or 'nothing judged'}. Report: {page}")
