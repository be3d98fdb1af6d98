"""`edgeproof demo`: the shipped scenarios, checked against what each says it should show."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analog.cli import exits, options

if TYPE_CHECKING:
    from analog.cli.session import Job, Request
    from analog.engine import Engine

DEMO_SCHEMA = "edgeproof-demo-1"


@dataclass(frozen=True, slots=True)
class Shown:
    """How one scenario came out; `fails` are the measures that failed."""

    name: str
    title: str
    expected: str
    expected_fails: tuple[str, ...]
    verdict: str | None
    fails: tuple[str, ...]
    met: bool
    outcome: str
    report: str


@click.command()
@options.as_json
@options.jobs
@options.seed
@options.store
@options.out
def command(
    as_json: bool, jobs: int | None, seed: int, store: Path | None, out: Path | None
) -> int:
    """Check the shipped scenarios and write their reports to ./reports.

    A report that says the same already is left as it is.
    """
    from analog.cli.files import require_writable
    from analog.cli.problems import report_error
    from analog.cli.reports import report_date, write_overview
    from analog.cli.session import Request, for_each_design
    from analog.errors import EdgeproofError

    folder = out or Path("reports")
    request = Request((), as_json, jobs, seed, store)
    shown: list[Shown] = []
    fresh: list[bool] = []
    try:
        require_writable(folder)
        date = report_date()
    except EdgeproofError as error:
        return report_error(error, "command line", as_json)

    def act(job: Job, engine: Engine) -> int:
        one, written = _show_one(job, engine, request, folder, date)
        shown.append(one)
        fresh.append(written)
        return exits.PASSED if one.met else exits.FAILED

    code = for_each_design([str(path) for path in scenario_files()], request, act)
    if any(fresh) or not (folder / "index.html").exists():
        code = exits.gravest([code, write_overview(folder, date)])
    _conclude(shown, folder, as_json, code)
    return code


def scenario_files() -> tuple[Path, ...]:
    """Return the shipped scenarios, by name."""
    folder = Path(str(files("analog").joinpath("scenarios")))
    return tuple(sorted(folder.glob("*.toml")))


def _show_one(
    job: Job, engine: Engine, request: Request, folder: Path, date: str
) -> tuple[Shown, bool]:
    """Check one scenario; return how it came out, and whether its report was written."""
    from analog.cli.display import say
    from analog.cli.reports import write_unless_unchanged
    from analog.cli.session import checked
    from analog.workflows import expectation_met
    from analog.workflows.expectation import failing_measures

    expect = job.design.expect
    wanted = expect.verdict if expect is not None else ""
    fails = tuple(expect.fails) if expect is not None else ()
    if not request.as_json:
        say(f"{job.design.name}: {job.design.title}")
        say(f"  should {_wanted_words(wanted, fails)}")
    outcome = checked(job, engine, request)
    page, written = write_unless_unchanged(outcome, engine, folder, date)
    met, sentence = expectation_met(outcome.results)
    if not request.as_json:
        say(f"  {sentence}" if met else f"  NOT AS EXPECTED: {sentence}")
        say(f"  report: {page}{'' if written else ' (unchanged)'}")
    results = outcome.results
    shown = Shown(
        job.design.name,
        job.design.title,
        wanted,
        fails,
        results.verdict,
        failing_measures(results),
        met,
        sentence,
        str(page),
    )
    return shown, written


def _wanted_words(verdict: str, fails: Sequence[str]) -> str:
    if not verdict:
        return "come out one way or another; it states no expectation"
    if not fails:
        return verdict
    return f"{verdict} on {', '.join(fails)}"


def _conclude(shown: Sequence[Shown], folder: Path, as_json: bool, code: int) -> None:
    from analog.cli.display import say

    if as_json:
        content = {
            "schema": DEMO_SCHEMA,
            "met": code == exits.PASSED,
            "designs": [asdict(one) for one in shown],
        }
        click.echo(json.dumps(content, ensure_ascii=False))
        return
    if shown:
        met = sum(one.met for one in shown)
        say(f"{met} of {len(shown)} scenarios came out as expected. Reports: {folder}")
        say("Mains voltage can kill and start fires. Edgeproof checks function, not safety.")
