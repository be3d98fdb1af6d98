"""The report as PDF, printed by a Chromium that is on the machine: the page as a browser has it.

An extra: the page itself prints just as well. Chromium is what draws the pictures, so that the
paper cannot differ from the screen; no other program of the kind keeps up with style sheets and
inline SVG, and none needs to be a dependency of ours.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from analog.errors import MachineError

_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
_FLAGS = (
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-pdf-header-footer",
)
_LIMIT_S = 120.0
_STAMP = re.compile(rb"/(CreationDate|ModDate) \(D:\d{14}[^)]*\)")


def find_browser() -> Path | None:
    """Return the Chromium to print with: EDGEPROOF_CHROMIUM, else the first on the path."""
    named = os.environ.get("EDGEPROOF_CHROMIUM")
    if named:
        return Path(named)
    found = next((path for path in map(shutil.which, _NAMES) if path), None)
    return Path(found) if found else None


def print_page(page: Path, date: str) -> Path:
    """Print ``index.html`` to ``report.pdf`` beside it and return that; whole or not at all.

    `date` (YYYY-MM-DD) becomes the file's own, so that the same page gives the same bytes.
    Raises MachineError when there is no Chromium or it does not print.
    """
    browser = find_browser()
    if browser is None:
        raise MachineError(
            "a PDF needs Chromium, and there is none",
            "Install it (apt-get install chromium), or print index.html from any browser",
        )
    with tempfile.TemporaryDirectory(prefix="edgeproof-pdf-") as place:
        draft = Path(place) / "report.pdf"
        said = _run(browser, page, draft, Path(place) / "profile")
        if not draft.is_file():
            why = said.strip().splitlines()[-1:] or ["no reason given"]
            raise MachineError(
                f"{browser} did not print {page} ({why[0]})",
                "Print index.html from any browser, or name another one in EDGEPROOF_CHROMIUM",
            )
        return _put(_undated(draft.read_bytes(), date), page.with_name("report.pdf"))


def _run(browser: Path, page: Path, target: Path, profile: Path) -> str:
    """Print and return what the browser said. As root it cannot use its sandbox."""
    sandbox = ("--no-sandbox",) if hasattr(os, "geteuid") and os.geteuid() == 0 else ()
    options = (f"--user-data-dir={profile}", f"--print-to-pdf={target}")
    command = [str(browser), *_FLAGS, *sandbox, *options, page.resolve().as_uri()]
    try:
        done = subprocess.run(
            command, capture_output=True, timeout=_LIMIT_S, check=False, stdin=subprocess.DEVNULL
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return str(error)
    return done.stderr.decode("utf-8", "replace")


def _undated(content: bytes, date: str) -> bytes:
    """Return the file with its dates, which are of one length, those of the report."""
    day = datetime.strptime(date, "%Y-%m-%d").replace(tzinfo=UTC)
    stamp = day.strftime("%Y%m%d%H%M%S").encode()

    def dated(match: re.Match[bytes]) -> bytes:
        rest = match[0].split(b"(D:")[1][14:]
        return b"/" + match[1] + b" (D:" + stamp + rest

    return _STAMP.sub(dated, content)


def _put(content: bytes, target: Path) -> Path:
    draft = target.with_name(f".{target.name}.{os.getpid()}")
    try:
        draft.write_bytes(content)
        draft.replace(target)
    except OSError as error:
        raise MachineError(
            f"{target}: cannot write the PDF there: {error.strerror or error}",
            "Choose another folder with --out, or free its path, rights or disk",
        ) from None
    finally:
        draft.unlink(missing_ok=True)
    return target
