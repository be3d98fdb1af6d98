"""An index page over the reports of several designs in one folder."""

from __future__ import annotations

import os
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from analog.errors import MachineError
from analog.render.page import overview_page
from analog.results import Results


def write_index(several: Sequence[Results], folder: Path, *, date: str) -> Path:
    """Write ``folder/index.html`` with one line per design, worst first; return its path.

    The links lead to the reports that `write_report` puts beside it. Raises MachineError when
    the folder cannot be written.
    """
    page = folder / "index.html"
    links = [(f"{results.design.name}/index.html", results) for results in several]
    text = overview_page(links, date)
    draft = folder / f".index.{os.getpid()}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        draft.write_text(text, encoding="utf-8", newline="\n")
        draft.replace(page)
    except OSError as error:
        with suppress(OSError):
            draft.unlink()
        raise MachineError(
            f"{page}: cannot write the index there: {error.strerror or error}",
            "Choose another folder with --out, or free its path, rights or disk",
        ) from None
    return page
