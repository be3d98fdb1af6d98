"""`edgeproof compare A B`: what changed between two results."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analog.cli import exits, options

if TYPE_CHECKING:
    from analog.results import Change, Results

COMPARE_SCHEMA = "edgeproof-compare-1"

_FILE = click.Path(path_type=Path)


@click.command()
@click.argument("before", metavar="A", type=_FILE)
@click.argument("after", metavar="B", type=_FILE)
@options.as_json
def command(before: Path, after: Path, as_json: bool) -> int:
    """Say what changed from results A to results B, and why.

    A and B are results.json files or report folders. Exits with 1 when anything is worse in B.
    """
    from analog.cli.problems import report_error
    from analog.errors import InputError

    try:
        old, new = _read(before), _read(after)
    except InputError as error:
        return report_error(error, "command line", as_json)
    if as_json:
        click.echo(json.dumps(_data((before, old), (after, new)), ensure_ascii=False))
    else:
        _show(old, new)
    from analog.results import compare

    worse = any(change.worse for change in compare(old, new))
    return exits.FAILED if worse else exits.PASSED


def _read(path: Path) -> Results:
    from analog.cli.problems import bad_file
    from analog.results import ResultsError, read_results

    file = path / "results.json" if path.is_dir() else path
    try:
        return read_results(file)
    except ResultsError as error:
        remedy = "Name a results.json that Edgeproof wrote, or a report folder"
        raise bad_file(str(file), error.reason, remedy) from None


def _show(old: Results, new: Results) -> None:
    from analog.cli.display import Column, say, show_table
    from analog.render.changes import comparison

    found = comparison(old, new)
    say(f"from {found.before}")
    say(f"to   {found.after}")
    for what in found.causes:
        say(f"  {what}")
    say()
    if found.rows:
        names = ("measure", "limit", "what", "before", "after", "")
        columns = [Column(name, right=name in ("before", "after")) for name in names]
        cells = [
            [f"{row.bench}.{row.measure}", row.limit, row.what, row.before, row.after, row.how]
            for row in found.rows
        ]
        show_table("Changes, the worse first", columns, cells)
    say(found.sentence)


def _data(old: tuple[Path, Results], new: tuple[Path, Results]) -> dict[str, Any]:
    from analog.results import compare
    from analog.results.compare import causes

    before, after = old[1], new[1]
    changes = compare(before, after)
    return {
        "schema": COMPARE_SCHEMA,
        "before": _side(*old),
        "after": _side(*new),
        "causes": [{"kind": c.kind, "what": c.what} for c in causes(before, after)],
        "worse": sum(change.worse for change in changes),
        "changes": [_change(change, before, after) for change in changes],
    }


def _side(file: Path, results: Results) -> dict[str, Any]:
    return {
        "file": str(file),
        "design": results.design.name,
        "sha256": results.design.sha256,
        "package_version": results.package_version,
        "engine": f"{results.engine.name} {results.engine.version}",
        "verdict": results.verdict,
    }


def _change(change: Change, before: Results, after: Results) -> dict[str, Any]:
    from analog.results.compare import causes

    kinds = dict.fromkeys(cause.kind for cause in causes(before, after, change))
    return {
        "bench": change.bench,
        "measure": change.measure,
        "limit": change.limit,
        "field": change.field,
        "unit": change.unit,
        "before": change.before,
        "after": change.after,
        "worse": change.worse,
        "causes": list(kinds),
    }
