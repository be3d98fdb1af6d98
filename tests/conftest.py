"""Test groups, sample counts and the line at the end that says which groups did not run.

A group is a folder under tests/. A group that cannot run here (no browser, no engine) prints
NOT RUN and why; with EDGEPROOF_REQUIRE=unit,engine,… such a group fails the run instead.
"""

from __future__ import annotations

import os
from collections import Counter, defaultdict
from collections.abc import Callable
from pathlib import Path

import pytest

GROUPS = ("unit", "reference", "property", "engine", "cli", "page")
FIGURES = pytest.StashKey[list[str]]()


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--full", action="store_true", help="run every count the project claims, not the small ones"
    )


def pytest_configure(config: pytest.Config) -> None:
    config.stash[FIGURES] = []


@pytest.fixture(scope="session")
def counts(request: pytest.FixtureRequest) -> Callable[[int, int], int]:
    """Return a function (small, full) -> the number of samples to use in this run."""
    full = bool(request.config.getoption("--full"))
    return lambda small, large: large if full else small


@pytest.fixture
def figure(request: pytest.FixtureRequest) -> Callable[[str], None]:
    """Return a function that records a measured figure for the table at the end of the run."""

    def record(text: str) -> None:
        request.node.user_properties.append(("figure", f"{request.node.name}: {text}"))

    return record


def group_of(node_id: str) -> str:
    parts = Path(node_id.split("::", 1)[0]).parts
    return next((part for part in parts if part in GROUPS), "")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    ran: Counter[str] = Counter()
    why: defaultdict[str, Counter[str]] = defaultdict(Counter)
    figures: list[str] = []
    for outcome in ("passed", "failed", "error"):
        for report in terminalreporter.stats.get(outcome, []):
            ran[group_of(report.nodeid)] += 1
            figures += [
                str(value)
                for name, value in getattr(report, "user_properties", ())
                if name == "figure"
            ]
    for report in terminalreporter.stats.get("skipped", []):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        why[group_of(report.nodeid)][reason.removeprefix("Skipped: ")] += 1
    terminalreporter.section("measured figures")
    for line in figures:
        terminalreporter.line(line)
    terminalreporter.section("groups")
    for group in GROUPS:
        skipped = sum(why[group].values())
        if ran[group]:
            terminalreporter.line(f"{group}: {ran[group]} run, {skipped} not run")
        for reason, number in why[group].items():
            terminalreporter.line(f"{group}: NOT RUN ({number}): {reason}")
        if not ran[group] and not skipped:
            terminalreporter.line(f"{group}: NOT RUN: not selected")


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail the run when a group named in EDGEPROOF_REQUIRE ran no test or skipped one."""
    required = {name for name in os.environ.get("EDGEPROOF_REQUIRE", "").split(",") if name}
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if not required or reporter is None or hasattr(session.config, "workerinput"):
        return
    ran = {group_of(r.nodeid) for key in ("passed", "failed") for r in reporter.stats.get(key, [])}
    skipped = {group_of(report.nodeid) for report in reporter.stats.get("skipped", [])}
    if (required - ran) | (required & skipped):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
