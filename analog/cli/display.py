"""What a person sees: verdict tables, plain lists, a progress bar. The only user of rich.

A terminal gets colour and rules; anything else (a pipe, a log, CI) gets aligned plain text.
NO_COLOR and TERM=dumb are honoured. Progress goes to standard error and only to a terminal.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, TextIO

import click

if TYPE_CHECKING:
    from rich.console import Console

SHOW_AFTER_S = 2.0

_STYLE = {"pass": "green", "fail": "bold red", "undecided": "yellow"}


@dataclass(frozen=True, slots=True)
class Column:
    """A table column: its heading, and whether its text stands to the right."""

    heading: str
    right: bool = False


def is_terminal(stream: TextIO) -> bool:
    """Tell whether `stream` is a terminal that can take colour and cursor movements."""
    return stream.isatty() and os.environ.get("TERM") != "dumb"


def show_table(title: str, columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
    """Print a table on standard output; a cell that is a verdict word is coloured."""
    if is_terminal(sys.stdout):
        _rich_table(title, columns, rows)
    else:
        say(title)
        for line in plain_table(columns, rows):
            say(line)
        say()


def plain_table(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> list[str]:
    """Return the lines of an aligned table without any decoration."""
    lines = [[column.heading for column in columns], *[list(row) for row in rows]]
    widths = [max(len(line[i]) for line in lines) for i in range(len(columns))]
    return ["  " + _padded(line, columns, widths).rstrip() for line in lines]


def say(text: str = "") -> None:
    """Print a line on standard output."""
    click.echo(_harmless(text))


def note(text: str) -> None:
    """Print a remark on standard error, so that standard output stays clean."""
    click.echo(_harmless(text), err=True)


def _harmless(text: str) -> str:
    """Return text in which a hosted CI that reads the log finds no command of a user's."""
    if "::" not in text and "##[" not in text:
        return text
    from analog.render.annotations import disarmed

    return disarmed(text)


Report = Callable[[str, int, int], None]


@contextmanager
def progress(label: str) -> Iterator[Report | None]:
    """Yield a function (what, done, most) that shows a bar once the work takes over two seconds.

    Yields None when standard error is no terminal.
    """
    if not is_terminal(sys.stderr):
        yield None
        return
    bar = _Bar(label)
    try:
        yield bar.report
    finally:
        bar.close()


class _Bar:
    """A progress bar that appears late, so that quick work leaves no trace."""

    def __init__(self, label: str) -> None:
        self._label = label
        self._started = time.monotonic()
        self._stop: Callable[[], None] | None = None
        self._update: Report | None = None

    def report(self, what: str, done: int, most: int) -> None:
        if self._update is None and time.monotonic() - self._started >= SHOW_AFTER_S:
            self._open()
        if self._update is not None:
            self._update(what, done, most)

    def close(self) -> None:
        if self._stop is not None:
            self._stop()

    def _open(self) -> None:
        from rich.progress import (
            BarColumn,
            Progress,
            TextColumn,
            TimeElapsedColumn,
            TimeRemainingColumn,
        )

        bar = Progress(
            TextColumn("{task.description}"),
            BarColumn(),
            TextColumn("{task.completed} of at most {task.total}"),
            TimeElapsedColumn(),
            TextColumn("at most"),
            TimeRemainingColumn(),
            TextColumn("left"),
            console=_console(stderr=True),
            transient=True,
        )
        task = bar.add_task(self._label)

        def update(what: str, done: int, most: int) -> None:
            bar.update(task, description=f"{self._label}: {what}", completed=done, total=most)

        bar.start()
        self._update = update
        self._stop = bar.stop


def _rich_table(title: str, columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(title=title, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD)
    for column in columns:
        table.add_column(column.heading, justify="right" if column.right else "left")
    for row in rows:
        table.add_row(*(Text(cell, style=_STYLE.get(cell, "")) for cell in row))
    _console().print(table)


def _console(stderr: bool = False) -> Console:
    from rich.console import Console

    return Console(stderr=stderr, highlight=False)


def _padded(line: Sequence[str], columns: Sequence[Column], widths: Sequence[int]) -> str:
    return "  ".join(
        cell.rjust(width) if column.right else cell.ljust(width)
        for cell, column, width in zip(line, columns, widths, strict=True)
    )
