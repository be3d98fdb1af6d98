"""The map of interruptions in the report of a real design."""

from __future__ import annotations

from pathlib import Path

from analog.design import read_design
from analog.engine import open_engine
from analog.render.benchview import bench_view
from analog.render.mapview import TITLE
from analog.workflows import check

DRAFT = Path(__file__).parents[2] / "analog" / "scenarios" / "first-draft.toml"


def test_the_draft_shows_what_it_misses() -> None:
    design = read_design(DRAFT)
    with open_engine(jobs=1) as engine:
        (reset,) = check(design, engine, benches=["reset"]).benches
        view = bench_view(reset, design, engine)
    drawing = next(each for each in view.figures if each.title == TITLE)
    assert drawing.missing == ""
    assert "are missed" in drawing.caption
    assert "40 %, 10 cycles" in drawing.svg
    assert drawing.svg.count("url(#reset-map-") > 10
