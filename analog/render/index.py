"""An index page over the reports of several designs in one folder."""

from __future__ import annotations

import os
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from analog.errors import MachineError
from analog.render.page import overview_page
from analog.results import Results, ResultsError, read_results

_ORDER = {"fail": 0, "undecided": 1, "pass": 2, None: 3}


def reports_in(folder: Path) -> tuple[Results, ...]:
    """Return the results of every report that lies in `folder`, in the order of their names.

    What is no report of this version is passed over.
    """
    found = []
    for file in sorted(folder.glob("*/results.json")):
        try:
            results = read_results(file)
        except ResultsError:
            continue
        if file.parent.name == results.design.name and (file.parent / "index.html").is_file():
            found.append(results)
    return tuple(found)


def write_index(several: Sequence[Results], folder: Path, *, date: str) -> Path:
    """Write ``folder/index.html`` with one line per design, worst first; return its path.

    The links lead to the reports that `write_report` puts beside it. Raises MachineError when
    the folder cannot be written.
    """
    page = folder / "index.html"
    ordered = sorted(several, key=lambda results: (_ORDER[results.verdict], results.design.name))
    links = [(f"{results.design.name}/index.html", results) for results in ordered]
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
