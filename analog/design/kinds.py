"""The kinds of value a design file holds: which unit, which ends, which words.

Each is an annotated type of the design record (`analog.design.record`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Final

from pydantic import BeforeValidator

from analog.cards import Technology, UnknownPartError, technology, technology_names
from analog.design.fields import Bounds, Notation, Wording, refuse
from analog.design.values import PartValue, Spread
from analog.quantities import QuantityError, read_component, read_quantity, read_range

#: Units a limit may be written in, tried in this order; "1" is a plain number or a share.
LIMIT_UNITS: Final = ("V", "A", "s", "Ω", "W", "VA", "Hz", "°C", "F", "K/W", "A²s", "1")


def quantity(unit: str, bounds: Bounds, sample: str) -> Notation:
    """A single value in `unit`."""

    def read(text: str, _key: str) -> float:
        value = float(read_quantity(text, unit))
        bounds.check(value, f"the value in {unit}" if unit != "1" else "the value")
        return value

    return Notation(read, sample, numbers=unit == "1")


def spread(unit: str, bounds: Bounds, sample: str) -> Notation:
    """A value with its guaranteed ends in `unit`."""

    def read(text: str, key: str) -> Spread:
        found = read_range(text, unit)
        bounds.check(float(found.low), f"the lowest value in {unit}")
        bounds.check(float(found.high), f"the highest value in {unit}")
        return Spread(
            low=float(found.low),
            nominal=float(found.nominal),
            high=float(found.high),
            key=key,
            text=str(text),
        )

    return Notation(read, sample)


POSITIVE: Final = Bounds(0.0, strict_low=True)
NOT_NEGATIVE: Final = Bounds(0.0)


@dataclass(frozen=True, slots=True)
class PartKind:
    """What a resistor or a capacitor string holds, and which technology is assumed without one."""

    noun: str
    unit: str
    rating_unit: str
    bounds: Bounds
    assumed_technology: Callable[[float], str]
    sample: str


RESISTOR: Final = PartKind(
    "resistor", "Ω", "W", Bounds(1e-3, 1e12), lambda _: "carbon-film", "100k 5% carbon-film"
)
CAPACITOR: Final = PartKind(
    "capacitor",
    "F",
    "V",
    Bounds(1e-13, 1.0),
    lambda farads: "electrolytic" if farads >= 1e-6 else "X7R",
    "10n 10% X7R 50V",
)


def part(kind: PartKind) -> Notation:
    """A resistor's or capacitor's value with tolerance, technology and rating."""

    def read(text: str, key: str) -> PartValue:
        found = read_component(text, kind.unit, kind.rating_unit)
        nominal = float(found.value)
        kind.bounds.check(nominal, f"the value in {kind.unit}")
        name = found.technology or kind.assumed_technology(nominal)
        card = _technology(name, kind, text)
        tolerance = found.tolerance
        assumed: tuple[str, ...] = ()
        if found.technology is None:
            assumed += (f"technology {card.identifier}",)
        if tolerance is None:
            low, high = card.tolerance_low, card.tolerance_high
            assumed += (f"tolerance {_percent(low, high)}",)
        else:
            low, high = float(tolerance.low), float(tolerance.high)
        return PartValue(
            nominal=nominal,
            tolerance_low=low,
            tolerance_high=high,
            technology=card.identifier,
            rating=None if found.rating is None else float(found.rating),
            key=key,
            text=str(text),
            assumed=assumed,
        )

    return Notation(read, kind.sample)


def _technology(name: str, kind: PartKind, text: str) -> Technology:
    offset = max(text.find(name), 0)
    try:
        card = technology(name)
    except UnknownPartError:
        rule = f"'{name}' is no {kind.noun} technology"
        raise refuse(rule, f"Known: {_known(kind)}", offset) from None
    if card.kind != kind.noun:
        rule = f"'{name}' is a {card.kind} technology, not a {kind.noun}'s"
        raise refuse(rule, f"Known: {_known(kind)}", offset)
    return card


def _known(kind: PartKind) -> str:
    return ", ".join(sorted(technology_names(kind.noun)))


def _percent(low: float, high: float) -> str:
    if -low == high:
        return f"±{100 * high:g} %"
    return f"{100 * low:+g} {100 * high:+g} %"


def read_limit(text: str) -> tuple[float, str]:
    """Read a value whose unit only the measure knows; return it with its unit.

    Raises pydantic's custom error when it is in none of LIMIT_UNITS.
    """
    for unit in LIMIT_UNITS:
        try:
            return float(read_quantity(text, unit)), unit
        except QuantityError:
            continue
    raise refuse("this is no value with a unit", "Write it like 20 V, 1.5 ms or 0.1")


def _listed(value: object) -> object:
    return tuple(value) if isinstance(value, list) else value


Volts = Annotated[float, quantity("V", POSITIVE, "12 V")]
Hertz = Annotated[float, quantity("Hz", POSITIVE, "50 Hz")]
VoltAmperes = Annotated[float, quantity("VA", POSITIVE, "3 VA")]
Ohms = Annotated[float, quantity("Ω", POSITIVE, "470k")]
Farads = Annotated[float, quantity("F", NOT_NEGATIVE, "100p")]
Seconds = Annotated[float, quantity("s", POSITIVE, "100 us")]
Celsius = Annotated[float, quantity("°C", Bounds(-65.0, 150.0), "-10 °C")]
KelvinsPerWatt = Annotated[float, quantity("K/W", POSITIVE, "15 K/W")]
SquareAmpereSeconds = Annotated[float, quantity("A²s", POSITIVE, "2.5 A²s")]
Share = Annotated[float, quantity("1", Bounds(0.0, 1.0), "1 %")]
PowerFactor = Annotated[float, quantity("1", Bounds(0.01, 1.0), "0.6")]
Regulation = Annotated[float, quantity("1", Bounds(0.0, 2.0), "30 %")]

VoltSpread = Annotated[Spread, spread("V", POSITIVE, "9 V 5%")]
AmpereSpread = Annotated[Spread, spread("A", NOT_NEGATIVE, "2 mA .. 10 mA .. 20 mA")]
SecondSpread = Annotated[Spread, spread("s", POSITIVE, "10 ms .. 50 ms .. 200 ms")]
FaradSpread = Annotated[Spread, spread("F", NOT_NEGATIVE, "15 pF 50%")]
WattSpread = Annotated[Spread, spread("W", POSITIVE, "45 W 10%")]

Resistor = Annotated[PartValue, part(RESISTOR)]
Capacitor = Annotated[PartValue, part(CAPACITOR)]
LimitEnd = Annotated[float, Notation(lambda text, _key: read_limit(text)[0], "20 V", numbers=True)]

_NAME_RULE: Final = "a name has only letters, digits, spaces, '-', '_' and '.'"
#: A part or maker name: nothing in it that a netlist, a shell or a path could act on.
PartName = Annotated[
    str,
    Wording(
        r"[A-Za-z0-9]+(?:[ _.\-][A-Za-z0-9]+)*",
        _NAME_RULE,
        "Write it as 'edgeproof parts' lists it",
        40,
    ),
]
#: A bench and a measure of it: ``gate_drive.turn_on_voltage``.
MeasureName = Annotated[
    str,
    Wording(
        r"[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*",
        "a measure is named bench.measure",
        "Write it like gate_drive.turn_on_voltage",
    ),
]
#: Something that differs from board to board: ``line_sense.capacitor``, or ``parts`` for all
#: resistors and capacitors.
SpreadKey = Annotated[
    str,
    Wording(
        r"parts|[a-z][a-z0-9_]*(?:\.[A-Za-z][A-Za-z0-9_]*)+",
        "this is no dotted key of a value",
        "Write it like line_sense.capacitor, or parts for all resistors and capacitors",
    ),
]
ReelName = Annotated[
    str,
    Wording(
        r"[A-Za-z0-9]+(?:[ _.\-][A-Za-z0-9]+)*",
        "a reel's name has only letters, digits, spaces, '-', '_' and '.'",
        "Write any name that the parts of one reel share",
        40,
    ),
]
Sigmas = Annotated[float, quantity("1", Bounds(0.5, 10.0), "3")]
LimitName = Annotated[
    str,
    Wording(
        r"[a-z][a-z0-9_]*",
        "a limit's name has only small letters, digits and '_'",
        "Write the name of the limit it replaces, like working",
        40,
    ),
]
DesignName = Annotated[
    str,
    Wording(
        r"[a-z0-9][a-z0-9\-]{0,63}",
        "a design name has small letters, digits and hyphens, 64 at most",
        "Write it like propagator-mat; it names the report's folder",
        64,
    ),
]
Title = Annotated[
    str,
    Wording(
        r"[^\x00-\x1f\x7f-\x9f\u2028\u2029]*",
        "the title is one line of plain text",
        "Move longer text to notes",
        200,
    ),
]
FreeText = Annotated[
    str,
    Wording(
        r"[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f]*",
        "the text holds control characters",
        "Write plain text",
        8000,
    ),
]
Reason = Annotated[
    str,
    Wording(
        r"[^\x00-\x1f\x7f]*[^\s\x00-\x1f\x7f][^\x00-\x1f\x7f]*",
        "the reason is empty or not one line",
        "Say in one line why this limit holds",
        400,
    ),
]
Measures = Annotated[tuple[MeasureName, ...], BeforeValidator(_listed)]
