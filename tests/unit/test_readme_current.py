"""The README's commands, picture, links and design excerpt are those of the product."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import click
import pytest

from analog.cli import main
from analog.design import parse_design, starter_text

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_two_commands_come_before_anything_else_to_type() -> None:
    first = README.index("    ./run demo")
    assert README.index("    ./run test") > first
    assert first < README.index("```")


@pytest.mark.parametrize("name", sorted(set(re.findall(r"^\$ \./run (\w+)", README, re.M))))
def test_every_command_shown_exists(name: str) -> None:
    assert main.get_command(click.Context(main), name) is not None


@pytest.mark.parametrize("target", re.findall(r"\]\(([^#)][^)]*)\)", README))
def test_every_link_leads_to_a_file(target: str) -> None:
    assert (ROOT / target).is_file()


def test_the_design_excerpt_is_accepted() -> None:
    (excerpt,) = re.findall(r"```toml\n(.*?)```", README, re.S)
    sections = tomllib.loads(excerpt)
    whole = starter_text("excerpt")
    for section in sections:
        whole = re.sub(rf"(?ms)^\[{section}\]\n.*?(?=^\[|\Z)", "", whole)
    design = parse_design(whole + "\n" + excerpt, "excerpt.toml")
    assert design.line_sense is not None
    assert design.line_sense.series_resistor.nominal == pytest.approx(100e3)


def test_every_exit_code_is_in_the_table() -> None:
    for code in ("0", "1", "2", "3", "130"):
        assert re.search(rf"^\| {code} \|", README, re.M)


def test_the_workflow_uses_only_commands_and_options_there_are() -> None:
    (workflow,) = re.findall(r"```yaml\n(.*?)```", README, re.S)
    lines = re.findall(r"edgeproof (check|report) ([^;\n]+)", workflow)
    assert {name for name, _ in lines} == {"check", "report"}
    for name, words in lines:
        command = main.get_command(click.Context(main), name)
        assert command is not None
        options = {option for parameter in command.params for option in parameter.opts}
        assert set(re.findall(r"--[a-z-]+", words)) <= options
