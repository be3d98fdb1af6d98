"""Designs whose filter is a sub-circuit file, beside the same with the built-in topology."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from analog.design import Design, parse_design

HEAD = """edgeproof = 1
[design]
name = "own-filter"
[mains]
voltage = "230 V"
frequency = "50 Hz"
[environment]
ambient_minimum = "0 °C"
ambient_maximum = "50 °C"
[supply]
rail = "9 V 5%"
transformer_voltage = "12 V"
transformer_rating = "3 VA"
rectifier = "{rectifier}"
reservoir = "470u 20% electrolytic"
load_current = "5 mA .. 15 mA .. 40 mA"
[conditioner]
part = "40106"
[clocked]
part = "4040"
[line_sense]
"""
OWN = """topology = "subcircuit"
subcircuit = "filter.cir"
subcircuit_name = "zqfilter"
subcircuit_ports = {{ {ports} }}
{more}
[line_sense.subcircuit_tolerances]
RzqR1 = "5%"
czqC1 = "10%"
"""
TOLERANCES = "line_sense.subcircuit_tolerances"
SAME = {"line_sense.capacitor": f"{TOLERANCES}.czqC1"}
"""Keys of the built-in topology and of the sub-circuit that stand for the same part."""


@dataclass(frozen=True, slots=True)
class Pair:
    """A sub-circuit and the keys of the built-in topology that is the same circuit."""

    rectifier: str
    text: str
    ports: str
    keys: str
    more: str = ""
    bleed_ohm: float = 0.0
    fixed_ohm: float = 0.0
    """Bleed of the sub-circuit, and what of its series resistance is not ``RzqR1``."""

    def own(self, folder: Path) -> Design:
        """Return the design with the sub-circuit, whose file is written to `folder`."""
        (folder / "filter.cir").write_text(self.text, encoding="utf-8")
        keys = OWN.format(ports=self.ports, more=self.more)
        return parse_design(HEAD.format(rectifier=self.rectifier) + keys, str(folder / "own.toml"))

    def built_in(self) -> Design:
        """Return the design with the built-in topology."""
        return parse_design(HEAD.format(rectifier=self.rectifier) + self.keys, "built-in.toml")


BRIDGE_LEG = Pair(
    "bridge",
    """* one stage with a bleed, in two pieces; Ω
.subckt zqFilter zqIN zqOUT zqGND
.param zq_bleed = 20k
RzqR1 zqIN zqMid 99k
RzqR2 zqMid zqOUT 1k
CzqC1 zqOUT zqGND 10nF ; zq
XzqX1 zqIN zqGND zqBleed zq_r={zq_bleed/2}
.ends zqFilter
.subckt zqBleed a b params: zq_r=1k
R1 a b {zq_r}
.ends
""",
    'line = "zqin", pin = "zqout", ground = "zqgnd"',
    'topology = "bridge-leg"\nseries_resistor = "100k 0%"\ncapacitor = "10n 10% film"\n'
    'bleed_resistor = "10k 0%"',
    bleed_ohm=10e3,
    fixed_ohm=1e3,
)

HALF_WAVE = Pair(
    "half-wave",
    """.model zqclamp D(IS=2.52e-9 RS=0.568 N=1.752 CJO=4e-12 M=0.4 TT=20e-9)
.subckt zqFilter zqIN zqOUT zqGND zqVDD
RzqR1 zqIN zqOUT 47k
CzqC1 zqOUT zqGND 22n
D1 zqOUT zqVDD zqclamp
D2 zqGND zqOUT zqclamp
.ends
""",
    'line = "zqIN", pin = "zqOUT", ground = "zqGND", rail = "zqVDD"',
    'topology = "half-wave"\nseries_resistor = "47k 0%"\ncapacitor = "22n 10% film"\n'
    'clamp = "diodes"',
)

BOTH_ENDS = Pair(
    "bridge",
    """.model zqd D(IS=2.52e-9 RS=0.568 N=1.752 CJO=4e-12 M=0.4)
.subckt zqFilter zqA zqB zqOUT zqGND
D1 zqA zqS zqd
D2 zqB zqS zqd
Rbleed zqS zqGND 4.7k
RzqR1 zqS zqOUT 10k
CzqC1 zqOUT zqGND 22n
.ends
""",
    'line = "zqA", other = "zqB", pin = "zqOUT", ground = "zqGND"',
    'topology = "full-wave"\nseries_resistor = "10k 0%"\ncapacitor = "22n 10% film"\n'
    'bleed_resistor = "4k7 0%"\nisolating_diode = "1N4148"',
    bleed_ohm=4.7e3,
)

PAIRS = {"bridge leg": BRIDGE_LEG, "half-wave": HALF_WAVE, "both ends": BOTH_ENDS}
