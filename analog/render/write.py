"""Write a report folder: all of it or nothing of it."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from analog.engine import Engine
from analog.errors import MachineError
from analog.render.junit import junit
from analog.render.markdown import summary
from analog.render.netlists import netlists
from analog.render.page import Link, report_page
from analog.render.suggestview import stored_suggestions
from analog.render.sweepview import stored_sweep
from analog.results import Results, ResultsError, read_results, to_json
from analog.workflows import Checked

FILES = (
    Link("results.json", "all numbers, for programs"),
    Link("junit.xml", "the limits as tests, for CI"),
    Link("summary.md", "a short summary, for a pull request"),
)


def write_report(checked: Checked, engine: Engine, folder: Path, *, date: str) -> Path:
    """Write ``folder/<design name>/`` with page, results, JUnit, summary and netlists.

    `date` is printed as it is; all else depends on the design, the tool and the engine alone.
    An accepted baseline in the folder is compared with, a sweep of and suggestions for the same
    design are shown. A
    report folder of that name is replaced as a whole; what is in it and not ours (a baseline)
    stays. Returns the page's path. Raises MachineError when the folder cannot be written.
    """
    target = folder / checked.results.design.name
    baseline, sweep = accepted(target), stored_sweep(target, checked.results)
    suggested, decks = stored_suggestions(target, checked.results), netlists(checked)
    beside = (*FILES, *(Link(f"netlists/{deck.name}", deck.title) for deck in decks))
    texts = {f"netlists/{deck.name}": deck.text for deck in decks}
    texts |= {
        "index.html": report_page(
            checked, engine, date, beside, baseline, sweep, suggested, target
        ),
        "results.json": to_json(checked.results, indent=2) + "\n",
        "junit.xml": junit([checked.results]),
        "summary.md": summary(checked.results, baseline),
    }
    with _mendable(target):
        replace_folder(target, texts)
    return target / "index.html"


def is_whole(folder: Path) -> bool:
    """Tell whether a design's report folder has all the files that every report has."""
    files = ("index.html", *(link.path for link in FILES))
    return all((folder / name).is_file() for name in files) and (folder / "netlists").is_dir()


def accepted(folder: Path) -> Results | None:
    """Return the baseline kept in a report folder; None when there is none to be read."""
    try:
        return read_results(folder / "baseline.json")
    except ResultsError:
        return None  # none is there, or it is of another version: nothing can be compared


@contextmanager
def _mendable(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        what = f"{target}: cannot write the report there: {error.strerror or error}"
        remedy = "Choose another folder with --out, or free its path, rights or disk"
        raise MachineError(what, remedy) from None


def replace_folder(target: Path, texts: dict[str, str]) -> None:
    """Put files (path below `target`: text) in place by renaming a finished folder.

    Files of the old folder that are not among ours are kept. OSError leaves the old folder as
    it was.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    workspace = Path(tempfile.mkdtemp(prefix=f".{target.name}.", dir=target.parent))
    draft, old = workspace / "new", workspace / "old"
    try:
        for path, text in texts.items():
            file = draft / path
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(text, encoding="utf-8", newline="\n")
        if target.exists():
            _keep_others(target, draft)
            target.replace(old)
        try:
            draft.replace(target)
        except OSError:
            if old.exists():
                old.replace(target)
            raise
    finally:
        shutil.rmtree(workspace, ignore_errors=True)


_OURS = ("index.html", "results.json", "junit.xml", "summary.md", "report.pdf", "netlists")


def _keep_others(old: Path, new: Path) -> None:
    for item in old.iterdir():
        if item.name not in _OURS and not (new / item.name).exists():
            if item.is_dir() and not item.is_symlink():
                shutil.copytree(item, new / item.name, symlinks=True)
            else:
                shutil.copy2(item, new / item.name, follow_symlinks=False)
