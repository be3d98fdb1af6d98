"""A report of a shipped design, simulated for real, in a real browser."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest
from test_page_browser import CHROMIUM, DESKTOP_PX, PHONE_PX, check_layout, look

from analog.design import read_design
from analog.engine import Engine, open_engine
from analog.errors import MachineError
from analog.render import write_report
from analog.workflows import Checked, check

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="/usr/bin/chromium is not installed")


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    try:
        with open_engine(jobs=1) as opened:
            yield opened
    except MachineError as error:
        pytest.skip(str(error))


@pytest.fixture(scope="module")
def checked(engine: Engine) -> Checked:
    path = files("analog.scenarios").joinpath("propagator-mat.toml")
    return check(read_design(str(path)), engine, benches=["reset"])


def test_a_real_report_is_legible(checked: Checked, engine: Engine, tmp_path: Path) -> None:
    html = write_report(checked, engine, tmp_path, date="2025-11-25").read_text("utf-8")
    for width in (PHONE_PX, DESKTOP_PX):
        seen = look(tmp_path / str(width), html, width)
        check_layout(seen)
        assert seen.measured["small"] == []
    assert "No figure" not in html


def test_a_real_report_repeats_byte_for_byte(
    checked: Checked, engine: Engine, tmp_path: Path
) -> None:
    pages = []
    for name in ("a", "b"):
        page = write_report(checked, engine, tmp_path / name, date="2025-11-25")
        pages.append({p.name: p.read_bytes() for p in page.parent.rglob("*") if p.is_file()})
    assert pages[0] == pages[1]
