"""Changes written into a design file: what changes is what was asked for, remarks stay."""

from __future__ import annotations

import difflib
import tomllib

import pytest

from analog.advice.changes import Edit
from analog.advice.editing import edited_text, with_verdict

TEXT = """# the whole board
edgeproof = 1

[reset] # how it starts
resistor = "1M 5%" # from the drawer
capacitor = '10u'   # leaks
receiver = "4013"

# about the load

[load]
kind = "resistive"

[expect]
verdict = "fail" # for now
fails = [
  "reset.hold_time", # too short
]
"""


def changed(*edits: Edit, noted: bool = False) -> list[str]:
    lines = difflib.ndiff(TEXT.splitlines(), edited_text(TEXT, edits, noted).splitlines())
    return [line for line in lines if line[0] in "+-"]


def test_only_the_value_changes() -> None:
    assert changed(Edit("reset.resistor", "91k 5%")) == [
        '- resistor = "1M 5%" # from the drawer',
        '+ resistor = "91k 5%" # from the drawer',
    ]


def test_a_note_says_what_was_there_and_keeps_the_remark() -> None:
    assert changed(Edit("reset.resistor", "91k 5%"), noted=True)[1] == (
        '+ resistor = "91k 5%" # from the drawer; was 1M 5%'
    )
    assert changed(Edit("reset.receiver", "40106"), noted=True)[1] == (
        '+ receiver = "40106" # was 4013'
    )


def test_an_added_key_stands_below_its_section_and_above_the_next_remark() -> None:
    text = edited_text(TEXT, [Edit("reset.discharge_diode", "1N4148")], noted=True)
    lines = text.splitlines()
    place = lines.index('discharge_diode = "1N4148" # added')
    assert lines[place - 1] == 'receiver = "4013"'
    assert lines[place + 1 : place + 3] == ["", "# about the load"]


def test_a_missing_section_is_appended() -> None:
    text = edited_text(TEXT, [Edit("conditioner.part", "40106")])
    assert text.startswith(TEXT.rstrip("\n"))
    assert tomllib.loads(text)["conditioner"] == {"part": "40106"}


def test_a_key_is_taken_out_and_one_that_is_not_there_is_no_matter() -> None:
    text = edited_text(TEXT, [Edit("reset.capacitor", None), Edit("reset.pin_resistor", None)])
    assert "capacitor" not in tomllib.loads(text)["reset"]
    assert "pin_resistor" not in text


def test_no_edit_leaves_every_byte() -> None:
    assert edited_text(TEXT, []) == TEXT


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_line_ends_stay(ends: str) -> None:
    text = TEXT.replace("\n", ends)
    edited = edited_text(text, [Edit("reset.resistor", "91k 5%")])
    assert edited.replace("91k 5%", "1M 5%") == text


def test_a_section_in_one_line_is_edited_too() -> None:
    text = 'reset = { resistor = "1M", capacitor = "1u" }\n'
    data = tomllib.loads(edited_text(text, [Edit("reset.resistor", "91k")], noted=True))
    assert data == {"reset": {"resistor": "91k", "capacitor": "1u"}}


def test_a_passing_verdict_takes_the_failing_measures_out() -> None:
    text = with_verdict(TEXT, "pass")
    assert tomllib.loads(text)["expect"] == {"verdict": "pass"}
    assert "# for now" in text
