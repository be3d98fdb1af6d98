"""Tables and progress: plain into a pipe, coloured on a terminal, nothing where nobody looks."""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest
from cli_cases import process_environment

from analog.cli import display
from analog.cli.display import Column, plain_table

COLOUR = re.compile(r"\x1b\[[0-9;]*3[0-7]m")

TABLE = """
from analog.cli.display import Column, show_table
show_table("verdicts", [Column("measure"), Column("verdict")], [["hold time", "fail"]])
"""

PROGRESS = """
import analog.cli.display as display
display.SHOW_AFTER_S = {after}
with display.progress("mat") as report:
    if report is None:
        print("nobody watches")
    else:
        for done in range(3):
            report("reset", done, 3)
"""


def on_terminal(code: str, folder: Path, **environment: str) -> str:
    """Run code with a pseudo-terminal for all its streams and return what it wrote."""
    parent, child = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-c", code],
        cwd=folder,
        env=process_environment({"TERM": "xterm", "COLUMNS": "80", **environment}),
        stdin=child,
        stdout=child,
        stderr=child,
    )
    os.close(child)
    pieces = []
    while True:
        try:
            piece = os.read(parent, 65536)
        except OSError:  # Linux: the other end is closed
            break
        if not piece:
            break
        pieces.append(piece)
    os.close(parent)
    assert process.wait(timeout=60) == 0, b"".join(pieces)
    return b"".join(pieces).decode()


@pytest.fixture(autouse=True)
def no_colour_choice(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("NO_COLOR", "FORCE_COLOR", "CLICOLOR_FORCE", "COLORTERM"):
        monkeypatch.delenv(name, raising=False)


def test_a_terminal_gets_colour(tmp_path: Path) -> None:
    assert COLOUR.search(on_terminal(TABLE, tmp_path))


def test_no_color_is_honoured(tmp_path: Path) -> None:
    shown = on_terminal(TABLE, tmp_path, NO_COLOR="1")
    assert "fail" in shown
    assert not COLOUR.search(shown)


def test_a_dumb_terminal_gets_plain_text(tmp_path: Path) -> None:
    shown = on_terminal(TABLE, tmp_path, TERM="dumb")
    assert "hold time" in shown
    assert "\x1b" not in shown


def test_a_bar_appears_only_after_two_seconds(tmp_path: Path) -> None:
    assert display.SHOW_AFTER_S == 2.0
    assert on_terminal(PROGRESS.format(after=1e9), tmp_path) == ""
    assert "mat: reset" in on_terminal(PROGRESS.format(after=0), tmp_path)


def test_no_bar_without_a_terminal(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", PROGRESS.format(after=0)],
        cwd=tmp_path,
        env=process_environment(),
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert done.stdout == "nobody watches\n"
    assert done.stderr == ""


def test_plain_columns_line_up() -> None:
    lines = plain_table([Column("a"), Column("value", right=True)], [["long name", "1 V"]])
    assert lines == ["  a          value", "  long name    1 V"]
