"""Writing report folders from the command line: the date, and what is bad input."""

from __future__ import annotations

import errno
import os
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from analog.cli.problems import bad_file
from analog.errors import MachineError

if TYPE_CHECKING:
    from analog.engine import Engine
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

    try:
        return write_report(checked, engine, folder, date=date)
    except MachineError as error:
        cause = error.__context__
        if isinstance(cause, OSError) and cause.errno not in _MACHINE_FAULTS:
            raise bad_file(str(folder), error.what, error.remedy) from None
        raise
