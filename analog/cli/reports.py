"""Writing report folders from the command line: the date, what is unchanged, what is bad input."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from analog.cli import exits
from analog.cli.problems import bad_file, report_error
from analog.errors import EdgeproofError, MachineError

if TYPE_CHECKING:
    from analog.engine import Engine
    from analog.results import Results
    from analog.workflows import Checked

_MACHINE_FAULTS = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EMFILE, errno.ENFILE})


def report_date() -> str:
    """Return today's date, or that of SOURCE_DATE_EPOCH so that a report can be made again.

    Raises InputError when SOURCE_DATE_EPOCH is no number of seconds.
    """
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    if not epoch:
        return datetime.now(UTC).strftime("%Y-%m-%d")
    try:
        return datetime.fromtimestamp(int(epoch), UTC).strftime("%Y-%m-%d")
    except (ValueError, OverflowError, OSError):
        rule = f"SOURCE_DATE_EPOCH is {epoch!r}, which is no number of seconds"
        raise bad_file("command line", rule, "Correct or unset SOURCE_DATE_EPOCH") from None


def write(checked: Checked, engine: Engine, folder: Path, date: str) -> Path:
    """Write the report and return its page.

    Raises InputError for a folder that may not be written, MachineError for a full disk.
    """
    from analog.render import write_report

    return _written(folder, lambda: write_report(checked, engine, folder, date=date))


def write_unless_unchanged(
    checked: Checked, engine: Engine, folder: Path, date: str
) -> tuple[Path, bool]:
    """Return the report's page, and whether it had to be written.

    A report that says the same already is left alone, so that the files kept with a design do
    not change with the date, the simulator's version or digits below the stated accuracy.
    """
    if is_current(checked, folder):
        return folder / checked.design.name / "index.html", False
    return write(checked, engine, folder, date), True


def is_current(checked: Checked, folder: Path) -> bool:
    """Tell whether the whole report lies in `folder` already and would say the same again."""
    from analog.render.form import form, form_of_page
    from analog.render.suggestview import stored_suggestions
    from analog.render.sweepview import stored_sweep
    from analog.render.write import accepted, is_whole
    from analog.results import ResultsError, read_results, unchanged

    own = folder / checked.design.name
    now = checked.results
    mark = form(checked, accepted(own), stored_sweep(own, now), stored_suggestions(own, now))
    if not is_whole(own) or form_of_page(own / "index.html") != mark:
        return False
    try:
        return unchanged(read_results(own / "results.json"), checked.results)
    except ResultsError:
        return False


def write_overview(folder: Path, date: str) -> int:
    """Write the page over all reports in `folder` when there are several; return an exit code."""
    from analog.render import reports_in, write_index

    several = reports_in(folder)
    if len(several) < 2:
        return exits.PASSED
    try:
        _written(folder, lambda: write_index(several, folder, date=date))
    except EdgeproofError as error:
        return report_error(error, str(folder), as_json=False)
    return exits.PASSED


def _written(folder: Path, act: Callable[[], Path]) -> Path:
    try:
        return act()
    except MachineError as error:
        cause = error.__context__
        if isinstance(cause, OSError) and cause.errno not in _MACHINE_FAULTS:
            raise bad_file(str(folder), error.what, error.remedy) from None
        raise


def write_junit(junit: Path | None, several: list[Results]) -> int:
    """Write the JUnit file that was asked for, if any; returns an exit code."""
    from analog.cli.files import write_whole
    from analog.render import junit as junit_text

    if junit is None:
        return exits.PASSED
    try:
        write_whole(junit, junit_text(several))
    except MachineError as error:
        return report_error(error, str(junit), as_json=False)
    return exits.PASSED
