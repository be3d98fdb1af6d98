"""Designs of a reset on a described supply, one per topology, for the tests of the bench."""

from __future__ import annotations

from pathlib import Path

from analog.benches.base import Scene
from analog.benches.reset import plan
from analog.design import Design, parse_design

MAT = Path(__file__).parents[2] / "analog" / "scenarios" / "propagator-mat.toml"

HEAD = """
edgeproof = 1
[design]
name = "reset-topologies"
[mains]
voltage = "120 V"
frequency = "60 Hz"
[environment]
ambient_minimum = "0 °C"
ambient_maximum = "50 °C"
[supply]
rail = "9 V 5%"
transformer_voltage = "12 V"
transformer_rating = "3 VA"
rectifier = "bridge"
reservoir = "470u 20% electrolytic 35V"
regulator = "7809"
load_current = "5 mA .. 15 mA .. 30 mA"
[clocked]
part = "4040"
[reset]
"""

RC = """resistor = "470k 5% carbon-film"
capacitor = "1u 10% film 63V"
"""
DIODE = 'discharge_diode = "1N4148"\n'
GATED = """topology = "gated"
zener = "BZX79-C5V6"
zener_resistor = "10k"
base_resistor = "47k"
collector_resistor = "47k"
transistor = "2N3904"
"""
DETECTOR = """topology = "detector"
resistor = "47k"
capacitor = "220n 10% film 63V"
detector = "NCP303-45"
"""

SECTIONS = {
    "rc-low": RC + DIODE,
    "rc-high": 'topology = "rc-high"\n' + RC + DIODE,
    "series": RC + DIODE + 'capacitor_resistor = "10k"\n',
    "gated": RC + GATED,
    "detector": DETECTOR,
    "slow": 'resistor = "1M"\ncapacitor = "10u 20% electrolytic 16V"\npin_resistor = "100k"\n',
}


def design(name: str, more: str = "", receiver: str = "40106") -> Design:
    """Return the design with the reset called `name`; `more` are further lines of its section."""
    text = f'{HEAD}{SECTIONS[name]}receiver = "{receiver}"\n{more}'
    return parse_design(text, f"{name}.toml")


def scene_of(design: Design, name: str) -> Scene:
    return next(scene for scene in plan(design).scenes if scene.identifier == name)
