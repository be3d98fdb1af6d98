"""What topologies, clamps and stages of the line sense need and exclude, one bad example each."""

from __future__ import annotations

import pytest
from design_faults import GOOD, Fault, check_fault, name_of

from analog.design import parse_design

COUPLED = 'topology = "optocoupler"\noptocoupler = "PC814"\npull_up_resistor = "22k"\n'
FULL_WAVE = 'topology = "full-wave"\nisolating_diode = "1N4148"\n'

FAULTS = [
    (
        'topology = "bridge-leg"',
        'topology = "full-wave"',
        "[line_sense]",
        2,
        "line_sense.isolating_diode",
        "hangs on the reservoir",
        "both ends of the winding",
    ),
    (
        'topology = "bridge-leg"\nseries_resistor = "100k 5% carbon-film 0.25W"\n'
        'capacitor = "10n 10% film 63V"\nbleed_resistor = "10k"\n',
        FULL_WAVE + 'series_resistor = "10k"\ncapacitor = "10n"\n',
        "[line_sense]",
        2,
        "line_sense.bleed_resistor",
        "nothing but a bleed",
        "bleed_resistor = ",
    ),
    (
        'bleed_resistor = "10k"',
        'bleed_resistor = "10k"\nisolating_diode = "1N4148"',
        "isolating_diode",
        19,
        "line_sense.isolating_diode",
        'topology "bridge-leg" has no isolating_diode',
        '"full-wave"',
    ),
    (
        'transformer_rating = "3 VA"\n\n[line_sense]\ntopology = "bridge-leg"\n',
        'transformer_rating = "3 VA"\nrectifier = "half-wave"\n\n[line_sense]\n' + FULL_WAVE,
        "topology",
        12,
        "line_sense.topology",
        "both ends of a winding",
        "centre-tapped",
    ),
    (
        'bleed_resistor = "10k"',
        'bleed_resistor = "10k"\nclamp = "zener"',
        "[line_sense]",
        2,
        "line_sense.clamp_zener",
        "needs clamp_zener",
        "BZX79",
    ),
    (
        'bleed_resistor = "10k"',
        'bleed_resistor = "10k"\nclamp_zener = "BZX79-C9V1"',
        "clamp_zener",
        15,
        "line_sense.clamp_zener",
        'clamp "input" has no Zener diode',
        'clamp = "zener"',
    ),
    (
        'bleed_resistor = "10k"',
        'bleed_resistor = "10k"\nclamp = "zener"\nclamp_zener = "1N4148"',
        "clamp_zener",
        15,
        "line_sense.clamp_zener",
        "is not a Zener diode",
        "parts",
    ),
    (
        'bleed_resistor = "10k"',
        'bleed_resistor = "10k"\nsecond_resistor = "47k"',
        "second_resistor",
        19,
        "line_sense.second_resistor",
        "needs second_capacitor",
        "Add",
    ),
    (
        'bleed_resistor = "10k"',
        'bleed_resistor = "10k"\nsecond_capacitor = "4n7"',
        "second_capacitor",
        20,
        "line_sense.second_capacitor",
        "needs second_resistor",
        "Add",
    ),
    (
        'bleed_resistor = "10k"',
        'bleed_resistor = "10k"\nsecond_resistor = "47k"\nsecond_capacitor = "4n7 10% film 5V"',
        "second_capacitor",
        20,
        "line_sense.second_capacitor",
        "rated 5 V",
        "higher rated voltage",
    ),
    (
        'topology = "bridge-leg"',
        'topology = "optocoupler"',
        "[line_sense]",
        2,
        "line_sense.optocoupler",
        "carries the signal",
        "PC817",
    ),
    (
        'topology = "bridge-leg"',
        'topology = "optocoupler"\noptocoupler = "PC817"',
        "[line_sense]",
        2,
        "line_sense.pull_up_resistor",
        "makes the pin high",
        "Add it",
    ),
    (
        'topology = "bridge-leg"\n',
        COUPLED,
        "bleed_resistor",
        18,
        "line_sense.bleed_resistor",
        "has no bleed_resistor",
        "Drop it",
    ),
    (
        'topology = "bridge-leg"\n',
        COUPLED + 'antiparallel_diode = "1N4148"\n',
        "antiparallel_diode",
        22,
        "line_sense.antiparallel_diode",
        "second LED",
        "Drop it",
    ),
    (
        'topology = "bridge-leg"\n',
        COUPLED.replace("PC814", "MOC3023"),
        'optocoupler = "MOC3023"',
        15,
        "line_sense.optocoupler",
        "is not a phototransistor optocoupler",
        "parts",
    ),
    (
        'part = "40106"\n\n[clocked]',
        'part = "BC547B"\nbase_resistor = "10k"\n\n[clocked]',
        "[conditioner]",
        2,
        "conditioner.collector_resistor",
        "needs collector_resistor",
        "Add it",
    ),
    (
        'part = "40106"\n\n[clocked]',
        'part = "BC547B"\ncollector_resistor = "10k"\n\n[clocked]',
        "[conditioner]",
        2,
        "conditioner.base_resistor",
        "needs base_resistor",
        "Add it",
    ),
    (
        'part = "40106"\n\n[clocked]',
        'part = "4011"\nbase_resistor = "10k"\n\n[clocked]',
        "base_resistor",
        17,
        "conditioner.base_resistor",
        "only a transistor stage",
        "Drop it",
    ),
    (
        'part = "40106"\n\n[clocked]',
        'part = "2N7000"\n\n[clocked]',
        'part = "2N7000"',
        8,
        "conditioner.part",
        "is not a Schmitt part",
        "parts",
    ),
]


@pytest.mark.parametrize("fault", [Fault(*fault) for fault in FAULTS], ids=name_of)
def test_fault_has_its_place_and_words(fault: Fault) -> None:
    check_fault(fault)


@pytest.mark.parametrize(
    "new",
    [
        FULL_WAVE,
        'topology = "bridge-leg"\nclamp = "zener"\nclamp_zener = "BZX79-C9V1"\n',
        'topology = "bridge-leg"\nsecond_resistor = "47k"\nsecond_capacitor = "4n7"\n',
    ],
)
def test_whole_topologies_have_no_fault(new: str) -> None:
    parse_design(GOOD.replace('topology = "bridge-leg"\n', new), "it.toml")
