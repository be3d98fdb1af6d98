"""The starter design: valid, complete, and never without the cautions."""

from __future__ import annotations

import re

import pytest

from analog.design import parse_design, starter_text
from analog.errors import InputError


def test_starter_is_a_design_of_that_name_with_every_bench() -> None:
    design = parse_design(starter_text("my-timer-2"), "my-timer-2.toml")
    assert design.name == "my-timer-2"
    sections = (design.line_sense, design.conditioner, design.reset, design.gate_drive)
    assert all(section is not None for section in sections)
    assert design.expect is None


@pytest.mark.parametrize("name", ["", "../../x", "Big", "a b", "-a", "a\n", "a" * 65, "é", "a.b"])
def test_a_name_that_names_no_folder_is_refused(name: str) -> None:
    with pytest.raises(InputError) as caught:
        starter_text(name)
    (problem,) = caught.value.problems
    assert problem.key == "NAME"
    assert "\n" not in str(problem)


@pytest.mark.parametrize(
    "words",
    [
        "Mains voltage can kill",
        "start fires",
        "unplugged and whose capacitors are discharged",
        "stay live",
        "cut-out of its own",
        "isolation barrier",
        "IEC 61558-2-6",
        "clearance and creepage",
        "pollution degree",
        "residual-current protection",
        "breaking capacity",
        "only X capacitors",
        "fusible",
        "heatsink",
        "oscilloscope",
        "sound card",
        "mains-referenced",
        "not whether it is safe",
        "licensed practice",
    ],
)
def test_starter_carries_the_cautions(words: str) -> None:
    comments = re.findall(r"^#(.*)$", starter_text("x"), flags=re.MULTILINE)
    assert words in " ".join(" ".join(comments).split())


def test_commented_out_keys_are_keys_that_work() -> None:
    """What the starter suggests in comments must be accepted when the comment sign is removed."""
    text = starter_text("x")
    suggested = re.findall(r"^# (\w+ = .+|\[\[limits\]\])$", text, flags=re.MULTILINE)
    assert len(suggested) >= 6
    opened = re.sub(r"^# (\w+ = .+|\[\[limits\]\])$", r"\1", text, flags=re.MULTILINE)
    design = parse_design(opened, "x.toml")
    assert design.limits[0].minimum == 0.1
    assert design.conditioner is not None
    assert design.conditioner.maker == "TI"
