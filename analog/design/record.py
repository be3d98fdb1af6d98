"""The design record: what a design file says, in SI numbers and card names, frozen.

Every record can be built in two ways: from plain numbers in code, or from the trade's notation
(``Supply(rail="9 V 5%", load_current="10 mA 20%")``), which is how a design file is read.
Attribute names are the keys of the design file; a value's dotted key (``line_sense.capacitor``)
travels with it, so that a result can name the line of the file it came from.

Units: V, A, W, VA, Ω, F, H, Hz, s as plain floats; temperatures in °C; tolerances and shares
as fractions (0.05 for 5 %). None stands for what a design does not have.
"""

from __future__ import annotations

import hashlib
from typing import Any, Literal

from pydantic import Field

from analog.design.basis import Record
from analog.design.kinds import (
    AmpereSpread,
    Capacitor,
    Celsius,
    DesignName,
    Farads,
    FaradSpread,
    FreeText,
    Hertz,
    KelvinsPerWatt,
    Ohms,
    PartName,
    PowerFactor,
    Regulation,
    Resistor,
    Seconds,
    SecondSpread,
    Share,
    SquareAmpereSeconds,
    Title,
    VoltAmperes,
    Volts,
    VoltSpread,
    WattSpread,
)
from analog.design.own_keys import OwnKeys
from analog.design.values import Spread
from analog.design.wishes import Expect, LimitOverride, SpreadRule


class Header(Record):
    """What a design is called; `name` is the report's folder, free text stands in the others."""

    section = "design"

    name: DesignName
    title: Title = ""
    notes: FreeText = ""


class Mains(Record):
    """The public supply, V rms. The range follows from the nominal where a preset knows it.

    Function is judged at `voltage_minimum`, stress at `voltage_maximum`; `frequency_tolerance`
    is a share (EN 50160: ±1 %).
    """

    section = "mains"

    voltage: Volts
    frequency: Hertz
    voltage_minimum: Volts = Field(default_factory=lambda known: preset_end(known, "minimum_v"))
    voltage_maximum: Volts = Field(default_factory=lambda known: preset_end(known, "maximum_v"))
    frequency_tolerance: Share = 0.01


def preset_end(known: dict[str, Any], end: str) -> float:
    """Return one end of the usual range of a nominal mains, nominal ∓10 % without a preset."""
    from analog.cards import mains_preset

    preset = mains_preset(known["voltage"], known["frequency"])
    if preset is not None:
        return float(getattr(preset, end))
    return float(known["voltage"]) * (0.9 if end == "minimum_v" else 1.1)


class Environment(Record):
    """Temperatures around the parts, inside the enclosure."""

    section = "environment"

    ambient_minimum: Celsius
    ambient_typical: Celsius = 25.0
    ambient_maximum: Celsius


class Supply(Record):
    """What feeds the logic: the rail as it arrives, and the transformer it comes from.

    `rise_time` and `fall_time` run from 0 to the full rail and back. `transformer_voltage` is the
    rated secondary voltage (V rms) at the rated load; `transformer_regulation` is
    (no-load − full-load)/full-load; None leaves the range of the transformer card of that rating.
    `switched_current` is drawn on top of `load_current` while the load is on (an opto's LED, a
    relay). `reservoir_esr` (Ω) is the reservoir's series resistance at 20 °C. `noise` (V peak to
    peak) is what the board's own switching leaves on the rail.
    """

    section = "supply"

    rail: VoltSpread
    rise_time: SecondSpread = Spread(
        low=0.01, nominal=0.05, high=0.2, key="supply.rise_time", text="10 ms .. 50 ms .. 200 ms"
    )
    fall_time: SecondSpread = Spread(
        low=0.01, nominal=0.05, high=0.2, key="supply.fall_time", text="10 ms .. 50 ms .. 200 ms"
    )
    load_current: AmpereSpread = Spread(
        low=0.002, nominal=0.01, high=0.03, key="supply.load_current", text="2 mA .. 10 mA .. 30 mA"
    )
    switched_current: AmpereSpread | None = None
    transformer_voltage: Volts | None = None
    transformer_rating: VoltAmperes | None = None
    transformer_regulation: Regulation | None = None
    rectifier: Literal["bridge", "half-wave", "full-wave"] = "bridge"
    rectifier_diode: PartName = "1N4007"
    reservoir: Capacitor | None = None
    reservoir_esr: Ohms | None = None
    regulator: PartName | None = None
    noise: Volts | None = None


class LineSense(OwnKeys, Record):
    """The network that makes a logic-level signal out of the transformer's voltage.

    In ``half-wave`` one winding end is circuit ground; in ``bridge-leg`` the sensed point is one
    AC leg of the supply's bridge, against rectified ground; in ``full-wave`` two diodes
    (`isolating_diode`) join both ends of the winding, the bridge's legs or the halves of a
    centre-tapped winding, apart from the reservoir. `second_resistor` and `second_capacitor` are a
    second filter stage; `clamp_zener` stands from the pin to ground. In ``optocoupler`` the series
    resistor feeds its LED across the winding (`antiparallel_diode` across a single LED), and
    `pull_up_resistor` goes from its collector, the filter's start, to the rail. In ``subcircuit``
    the filter is a sub-circuit of the user's own between the winding's end (or the bridge's leg)
    and the pin, given `subcircuit_settling` (s) to come to rest. `winding_voltage` (V rms, rated),
    `winding_rating` (VA) and `winding_regulation` describe a sense winding of its own, each half
    of it in ``full-wave``; without them the supply's transformer is sensed.
    """

    section = "line_sense"
    hidden = ("own",)

    topology: Literal["half-wave", "bridge-leg", "full-wave", "optocoupler", "subcircuit"]
    series_resistor: Resistor | None = None
    capacitor: Capacitor | None = None
    second_resistor: Resistor | None = None
    second_capacitor: Capacitor | None = None
    bleed_resistor: Resistor | None = None
    isolating_diode: PartName | None = None
    optocoupler: PartName | None = None
    antiparallel_diode: PartName | None = None
    pull_up_resistor: Resistor | None = None
    clamp: Literal["input", "diodes", "zener"] = "input"
    clamp_diode: PartName = "1N4148"
    clamp_zener: PartName | None = None
    polarity: Literal["positive", "negative"] = "positive"
    winding_voltage: Volts | None = None
    winding_rating: VoltAmperes | None = None
    winding_regulation: Regulation | None = None
    subcircuit_settling: Seconds | None = None


class Conditioner(OwnKeys, Record):
    """The stage between filter and clock input: Schmitt part, gate or transistor; "none" for none.

    A transistor's emitter is circuit ground; `base_resistor` goes from the filter to its base,
    `collector_resistor` from its collector, the clock, to the rail. Part "subcircuit" is a
    sub-circuit of the user's own; the voltages that are surely high and surely low at its input
    are `subcircuit_high` and `subcircuit_low`, and `subcircuit_inverts` tells whether its output
    falls when its input rises.
    """

    section = "conditioner"
    hidden = ("own",)

    part: PartName
    maker: PartName | None = None
    load_capacitance: FaradSpread = Spread(
        low=7.5e-12,
        nominal=15e-12,
        high=22.5e-12,
        key="conditioner.load_capacitance",
        text="15 pF 50%",
    )
    inputs_tied: bool = False
    base_resistor: Resistor | None = None
    collector_resistor: Resistor | None = None
    subcircuit_high: Volts | None = None
    subcircuit_low: Volts | None = None
    subcircuit_inverts: bool = True


class Clocked(Record):
    """The part that receives the edges; `count` inputs of it in parallel."""

    section = "clocked"

    part: PartName
    maker: PartName | None = None
    count: int = Field(default=1, ge=1, le=50)


class Reset(Record):
    """The power-up reset: in ``rc-low`` a resistor to VDD, a capacitor to ground, low = reset.

    ``rc-high`` is the same upside down, high = reset. ``gated`` is rc-low whose capacitor a
    transistor empties while the rail is below the voltage of a Zener: Zener and `zener_resistor`
    feed the base of a first transistor, `base_resistor` lies from there to ground and
    `collector_resistor` from its collector to VDD. In ``detector`` an open-drain voltage detector
    drives the pin, `resistor` is its pull-up and `capacitor` sets its delay. `capacitor_resistor`
    is in series with the capacitor. With `latch` the receiver is a latch made of two gates.

    `receiver` has the input that watches the capacitor; `driven` is the clocked part whose
    shortest reset pulse counts, the design's clocked part when None. `valid_supply` (V) is the
    rail from which on the logic counts as alive, the driven part's lowest supply when None.
    """

    section = "reset"

    topology: Literal["rc-low", "rc-high", "gated", "detector"] = "rc-low"
    resistor: Resistor
    capacitor: Capacitor
    capacitor_resistor: Resistor | None = None
    discharge_diode: PartName | None = None
    zener: PartName | None = None
    zener_resistor: Resistor | None = None
    base_resistor: Resistor | None = None
    collector_resistor: Resistor | None = None
    transistor: PartName | None = None
    detector: PartName | None = None
    pin_resistor: Resistor | None = None
    receiver: PartName
    maker: PartName | None = None
    latch: bool = False
    driven: PartName | None = None
    valid_supply: Volts | None = None
    button: bool = False
    button_resistor: Resistor | None = None


class GateDrive(Record):
    """LED driver, opto-triac and triac.

    `source` is the logic part whose output drives the base, the gate or (driver ``logic``) the
    LED itself. `pulse_width` (s) belongs to a pulsed LED. The opto's own snubber is a capacitor
    from behind the gate resistor to MT1 and a further resistor from there to the opto. `varistor`
    lies across the triac; `heatsink` (K/W, to the air in the enclosure) is what the triac is
    screwed to.
    """

    section = "gate_drive"

    driver: Literal["npn", "pnp", "nmos", "logic"]
    driver_part: PartName | None = None
    base_resistor: Resistor | None = None
    source: PartName
    source_maker: PartName | None = None
    led_resistor: Resistor
    led_drive: Literal["continuous", "pulsed"] = "continuous"
    pulse_width: Seconds | None = None
    opto: PartName
    opto_maker: PartName | None = None
    opto_feed: Literal["mt2"] = "mt2"
    gate_resistor: Resistor
    gate_shunt_resistor: Resistor | None = None
    triac: PartName
    triac_maker: PartName | None = None
    snubber_resistor: Resistor | None = None
    snubber_capacitor: Capacitor | None = None
    opto_snubber_resistor: Resistor | None = None
    opto_snubber_capacitor: Capacitor | None = None
    varistor: PartName | None = None
    heatsink: KelvinsPerWatt | None = None


class Load(Record):
    """The load that is switched. `voltage` (V rms) is what its power is rated at: the mains when
    None, or the rated voltage of a winding of its own.

    `winding_voltage` (V rms, rated), `winding_rating` (VA) and `winding_regulation` describe that
    winding, which the triac then switches instead of the mains.

    An inductive load has a loss resistance in parallel (Ω) and a winding capacitance (F); they
    decide how it behaves when the current stops. A filament's `cold_resistance` is a share of the
    hot one, `heat_time` (s) the heat it stores over its power. `minimum_voltage` (V rms) is what
    the load needs to do its work. The fuse in series is told by its melting and its clearing I²t
    (A²s).
    """

    section = "load"

    kind: Literal["resistive", "inductive", "filament"]
    power: WattSpread
    power_factor: PowerFactor = 1.0
    voltage: Volts | None = None
    winding_voltage: Volts | None = None
    winding_rating: VoltAmperes | None = None
    winding_regulation: Regulation | None = None
    parallel_resistance: Ohms | None = None
    winding_capacitance: Farads = Field(default_factory=lambda known: _winding_default(known))
    cold_resistance: Share | None = None
    heat_time: Seconds | None = None
    minimum_voltage: Volts | None = None
    fuse_melting: SquareAmpereSeconds | None = None
    fuse_clearing: SquareAmpereSeconds | None = None


def _winding_default(known: dict[str, Any]) -> float:
    return 100e-12 if known["kind"] == "inductive" else 0.0


class Design(Record):
    """A whole design. Sections that the file does not have are None; there is no path in it."""

    name: DesignName
    title: Title = ""
    notes: FreeText = ""
    mains: Mains | None = None
    environment: Environment
    supply: Supply
    line_sense: LineSense | None = None
    conditioner: Conditioner | None = None
    clocked: Clocked | None = None
    reset: Reset | None = None
    gate_drive: GateDrive | None = None
    load: Load | None = None
    limits: tuple[LimitOverride, ...] = ()
    spread: tuple[SpreadRule, ...] = ()
    expect: Expect | None = None
    text: str = Field(default="", repr=False)

    hidden = ("text",)

    @property
    def sha256(self) -> str:
        """Return the hash of the file's text, and of the sub-circuit files it names."""
        found = hashlib.sha256(self.text.encode())
        for section in (self.line_sense, self.conditioner):
            if section is not None and section.own is not None:
                found.update(bytes.fromhex(section.own.sha256))
        return found.hexdigest()
