"""What a report is made by, besides its results: a mark that changes when its look or words do.

A report whose mark and results are those of the last one need not be written again.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from analog.benches.base import Plan
from analog.render.suggestview import Suggestions
from analog.results import Results, to_json
from analog.workflows import Checked

_HERE = Path(__file__).parent
_GENERATOR = re.compile(r'<meta name="generator" content="[^"]*, form ([0-9a-f]+)">')


def form(
    checked: Checked | None = None,
    baseline: Results | None = None,
    sweep: Results | None = None,
    suggested: Suggestions | None = None,
) -> str:
    """Return the mark of this report's form: of its templates, its drawing and its words, and
    of the baseline that it compares with, the sweep and the suggestions that it shows.

    Without a design it is that of pages over several designs.
    """
    found = hashlib.sha256(_made_by().encode())
    for other in (baseline, sweep):
        if other is not None:
            found.update(to_json(other).encode())
    if suggested is not None:
        found.update(suggested.model_dump_json().encode())
    for bench in checked.benches if checked else ():
        for word in _words(bench.plan):
            found.update(f"{word}\0".encode("utf-8", "surrogatepass"))
    return found.hexdigest()[:12]


def form_of_page(page: Path) -> str:
    """Return the mark a page bears, empty for one that has none or cannot be read."""
    try:
        found = _GENERATOR.search(page.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError):
        return ""
    return found[1] if found else ""


@cache
def _made_by() -> str:
    """Return the hash of this package's code and templates."""
    found = hashlib.sha256()
    for path in sorted(_HERE.rglob("*")):
        if path.suffix in (".py", ".html", ".css", ".js"):
            found.update(path.read_bytes())
    return found.hexdigest()


def _words(plan: Plan) -> Iterator[str]:
    yield from (plan.bench, plan.title, *plan.notes)
    for measure in plan.measures:
        yield from (measure.identifier, measure.unit, measure.title, measure.definition)
    for scene in plan.scenes:
        yield from (scene.identifier, scene.title)
        for plot in scene.plots:
            yield from (plot.title, plot.measure)
            yield from (curve.label for curve in plot.curves)
            yield from (level.label for level in plot.levels)
            yield from (mark.label for mark in plot.marks)
        for element in scene.experiment.circuit.pictured:
            yield repr((element.reference, element.nodes, element.symbol))
