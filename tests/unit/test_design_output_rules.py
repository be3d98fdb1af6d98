"""What the triac output's parts and loads need and exclude, one bad example each."""

from __future__ import annotations

import pytest
from design_faults import Fault, check_fault, name_of

OPTO, LOAD = 'opto = "MOC3053"', 'kind = "resistive"'

FAULTS = [
    ('driver = "npn"', 'driver = "pnp"', "driver_part", 15, "gate_drive.driver_part",
     "not a PNP transistor", "parts"),
    (OPTO, f'{OPTO}\nopto_snubber_resistor = "1k2"', "opto_snubber_resistor", 25,
     "gate_drive.opto_snubber_resistor", "needs opto_snubber_capacitor", "Add"),
    (OPTO, f'{OPTO}\nopto_snubber_capacitor = "100n X2 275V"', "opto_snubber_capacitor", 26,
     "gate_drive.opto_snubber_capacitor", "needs opto_snubber_resistor", "Add"),
    (OPTO, f'{OPTO}\nvaristor = "1N4007"', "varistor", 12, "gate_drive.varistor",
     "not a varistor", "parts"),
    (OPTO, f'{OPTO}\nheatsink = "10 K"', "heatsink", 16, "gate_drive.heatsink",
     "'K' is not the unit K/W", "15 K/W"),
    (LOAD, f'{LOAD}\ncold_resistance = "7 %"', "cold_resistance", 19, "load.cold_resistance",
     "belongs to a filament", "filament"),
    (LOAD, f'{LOAD}\nheat_time = "0.1 s"', "heat_time", 13, "load.heat_time",
     "belongs to a filament", "filament"),
    (LOAD, 'kind = "filament"\npower_factor = 0.6', "power_factor", 16, "load.power_factor",
     "filament load has a power factor of 1", "inductive"),
    (LOAD, f'{LOAD}\nfuse_melting = "1 A²s"', "fuse_melting", 16, "load.fuse_melting",
     "needs fuse_clearing", "Add"),
    (LOAD, f'{LOAD}\nfuse_melting = "2 A²s"\nfuse_clearing = "1 A²s"', "fuse_clearing", 17,
     "load.fuse_clearing", "until it melts", "Swap"),
]  # fmt: skip


@pytest.mark.parametrize("fault", [Fault(*fault) for fault in FAULTS], ids=name_of)
def test_fault_has_its_place_and_words(fault: Fault) -> None:
    check_fault(fault)
