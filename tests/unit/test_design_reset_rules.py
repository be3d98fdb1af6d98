"""What the topologies of the reset need and exclude, one bad example each."""

from __future__ import annotations

import pytest
from design_faults import GOOD, Fault, check_fault, name_of

from analog.design import parse_design

OLD = 'discharge_diode = "1N4148"\n'
GATED = """topology = "gated"
zener = "BZX79-C5V6"
zener_resistor = "10k"
base_resistor = "47k"
collector_resistor = "47k"
transistor = "2N3904"
"""

FAULTS = [
    (
        OLD,
        'topology = "gated"\nzener = "BZX79-C5V6"\nzener_resistor = "10k"\n'
        'base_resistor = "47k"\ncollector_resistor = "47k"\n',
        "[reset]",
        2,
        "reset.transistor",
        'topology "gated" needs transistor',
        "Add transistor",
    ),
    (
        OLD,
        'zener = "BZX79-C5V6"\n',
        'zener = "BZX79-C5V6"',
        9,
        "reset.zener",
        'topology "rc-low" has no zener',
        "Drop it",
    ),
    (
        OLD,
        'topology = "detector"\n',
        "[reset]",
        2,
        "reset.detector",
        'topology "detector" needs detector',
        "Add detector",
    ),
    (
        OLD,
        'topology = "detector"\ndetector = "NCP303-45"\ndischarge_diode = "1N4148"\n',
        "discharge_diode",
        19,
        "reset.discharge_diode",
        'topology "detector" has no discharge_diode',
        "Drop it",
    ),
    (
        OLD,
        'topology = "detector"\ndetector = "NCP303-45"\nbutton = true\n',
        "button = true",
        10,
        "reset.button",
        "a button across the delay capacitor",
        "Drop it",
    ),
    (
        OLD,
        "latch = true\n",
        "latch = true",
        9,
        "reset.latch",
        "a latch is made of gates",
        "4011",
    ),
    (
        OLD,
        GATED.replace("2N3904", "2N3906"),
        'transistor = "2N3906"',
        14,
        "reset.transistor",
        "not an NPN",
        "parts",
    ),
]


@pytest.mark.parametrize("fault", [Fault(*fault) for fault in FAULTS], ids=name_of)
def test_fault_has_its_place_and_words(fault: Fault) -> None:
    check_fault(fault)


@pytest.mark.parametrize(
    "new",
    [
        'topology = "rc-high"\n' + OLD,
        GATED,
        'topology = "detector"\ndetector = "NCP303-45"\n',
        'capacitor_resistor = "1k"\n' + OLD,
    ],
)
def test_whole_topologies_have_no_fault(new: str) -> None:
    assert OLD in GOOD
    assert parse_design(GOOD.replace(OLD, new), "good.toml").reset is not None
