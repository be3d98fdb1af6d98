"""Suggestions in the report: read only when they fit, shown as text whatever they hold."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import render_sample

from analog.render.page import report_page
from analog.render.suggestview import FILE, stored_suggestions
from analog.workflows import Checked

HOSTILE = "</code><script>alert(1)</script>{{7*7}}"


@pytest.fixture(scope="module")
def checked() -> Checked:
    return render_sample.checked()


def record(checked: Checked, **changed: Any) -> dict[str, Any]:
    now = checked.results
    candidate = {
        "changes": [{"key": "reset.resistor", "before": "1M", "after": "470k"}],
        "parts": 1,
        "least_margin_share": 0.08,
        "short": [],
    }
    return {
        "schema": "edgeproof-suggest-1",
        "package_version": now.package_version,
        "design": {"name": now.design.name, "sha256": now.design.sha256},
        "engine": {"name": now.engine.name, "version": now.engine.version},
        "status": "found",
        "margin": 0.05,
        "present": candidate,
        "suggestions": [candidate],
        "closest": None,
        "sweeps": [],
        "runs": {"check": 1, "screening": 2, "verification": 3},
        **changed,
    }


def page(checked: Checked, folder: Path, found: dict[str, Any]) -> str:
    (folder / FILE).write_text(json.dumps(found), encoding="utf-8")
    stored = stored_suggestions(folder, checked.results)
    engine = render_sample.ClosedForm()
    return report_page(checked, engine, "2025-11-25", (), suggested=stored)  # type: ignore[arg-type]


def test_a_change_is_shown_with_its_margin(checked: Checked, tmp_path: Path) -> None:
    text = page(checked, tmp_path, record(checked))
    assert "<code>reset.resistor</code>: 1M → <strong>470k</strong>" in text
    assert "8 %" in text.replace("\N{NO-BREAK SPACE}", " ")


def test_a_sweep_is_shown_with_its_interval(checked: Checked, tmp_path: Path) -> None:
    sweep = {"claim": 0.9, "outcome": "proved", "boards": 80, "low": 0.95, "high": 1.0}
    text = page(checked, tmp_path, record(checked, sweeps=[sweep]))
    assert "that 90 % of boards work is proved: 95 % to 100 % do (n = 80)" in text


def test_what_comes_closest_is_shown_when_nothing_works(checked: Checked, tmp_path: Path) -> None:
    found = record(checked)
    short = {"bench": "reset", "measure": "hold_time", "margin_share": -0.2}
    closest = {**found["present"], "short": [short]}
    text = page(
        checked, tmp_path, {**found, "status": "none", "suggestions": [], "closest": closest}
    )
    assert "What comes closest" in text
    assert "hold time" in text


def test_hostile_text_stays_text(checked: Checked, tmp_path: Path) -> None:
    found = record(checked)
    change = {"key": HOSTILE, "before": HOSTILE, "after": HOSTILE}
    text = page(
        checked, tmp_path, {**found, "suggestions": [{**found["present"], "changes": [change]}]}
    )
    assert "<script>alert" not in text
    assert "{{7*7}}" in text


@pytest.mark.parametrize(
    "changed",
    [
        {"schema": "another"},
        {"package_version": "0.0.0"},
        {"design": {"sha256": "0" * 64}},
        {"engine": {"name": "ngspice", "version": "1"}},
        {"status": "perhaps"},
        {"margin": None},
        {"suggestions": [{"changes": 3}]},
    ],
)
def test_what_does_not_fit_is_left_out(
    checked: Checked, tmp_path: Path, changed: dict[str, Any]
) -> None:
    assert "What would mend it" in page(checked, tmp_path, record(checked))
    assert "What would mend it" not in page(checked, tmp_path, record(checked, **changed))


@pytest.mark.parametrize("content", [b"", b"{", b"\xff\xfe", b"[]", b"{" * 100_000])
def test_what_is_no_record_is_left_out(checked: Checked, tmp_path: Path, content: bytes) -> None:
    (tmp_path / FILE).write_bytes(content)
    assert stored_suggestions(tmp_path, checked.results) is None
