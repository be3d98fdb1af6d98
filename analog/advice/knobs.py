"""Where a design can be changed and by what: values kept in stock, grades in the cards, parts
that the topology has room for.

What stresses are not judged must not get worse unseen: a triac or opto-triac is only replaced by
one of at least the same voltage and current class, an opto-triac only by one that fires alike.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Final, Literal

from analog.advice.changes import (
    ADDED_PART,
    ADDED_STAGE,
    OTHER_GRADE,
    OTHER_MAKE,
    OTHER_RATING,
    OTHER_TYPE,
    REMOVED_PART,
    Choice,
    Edit,
    Knob,
    steps_between,
)
from analog.advice.stock import (
    BETTER,
    KEPT,
    VOLTS,
    WATTS,
    rated,
    rewritten,
    thinned,
    value_text,
    values,
)
from analog.cards import Card, UnknownPartError, all_cards, find_card
from analog.design import Design, PartValue
from analog.quantities import SeriesName

Unit = Literal["Ω", "F"]

_VALUES: Final[tuple[tuple[str, Unit], ...]] = (
    ("line_sense.series_resistor", "Ω"),
    ("line_sense.capacitor", "F"),
    ("line_sense.bleed_resistor", "Ω"),
    ("line_sense.pull_up_resistor", "Ω"),
    ("conditioner.base_resistor", "Ω"),
    ("conditioner.collector_resistor", "Ω"),
    ("line_sense.second_resistor", "Ω"),
    ("line_sense.second_capacitor", "F"),
    ("reset.resistor", "Ω"),
    ("reset.capacitor", "F"),
    ("reset.pin_resistor", "Ω"),
    ("reset.button_resistor", "Ω"),
    ("gate_drive.base_resistor", "Ω"),
    ("gate_drive.led_resistor", "Ω"),
    ("gate_drive.gate_resistor", "Ω"),
    ("gate_drive.gate_shunt_resistor", "Ω"),
    ("gate_drive.snubber_resistor", "Ω"),
    ("gate_drive.snubber_capacitor", "F"),
)
_MAY_GO: Final = ("reset.pin_resistor", "gate_drive.gate_shunt_resistor")
_COARSE: Final[dict[Unit, SeriesName]] = {"Ω": "E6", "F": "E3"}
"""What is tried together with changes elsewhere."""


def knobs_of(design: Design, series: SeriesName | None = None) -> tuple[Knob, ...]:
    """Return every place of a design that a stock part could change.

    `series` is the one resistors are taken from (default: what their technology is kept in).
    """
    found = [_value_knob(design, key, unit, series) for key, unit in _VALUES]
    found += [
        _stage_knob(design),
        _clamp_knob(design),
        _reset_stage_knob(design),
        _part_knob(design, "gate_drive.opto"),
        _part_knob(design, "gate_drive.triac"),
        _reservoir_knob(design, series),
        _part_knob(design, "supply.regulator"),
        *_additions(design),
    ]
    return tuple(knob for knob in found if knob is not None and knob.fine)


def value_keys() -> tuple[str, ...]:
    """Return the dotted keys of every resistor and capacitor that advice may change."""
    return tuple(key for key, _ in _VALUES)


def part_at(design: Design, key: str) -> PartValue | None:
    """Return the resistor or capacitor at a dotted key, None when the design has none there."""
    found = _at(design, key)
    return found if isinstance(found, PartValue) else None


def _at(design: Design, key: str) -> object:
    section, _, name = key.partition(".")
    return getattr(getattr(design, section, None), name, None)


def _value_knob(design: Design, key: str, unit: Unit, series: SeriesName | None) -> Knob | None:
    part = part_at(design, key)
    if part is None or part.technology not in KEPT:
        return None
    found = values(part, part.technology, series)
    fine = [*_values(part, found, unit), *_makes(part, unit, series), *_ratings(part, unit)]
    coarse = [
        *_values(part, thinned(found, _COARSE[unit]), unit),
        *_makes(part, unit, _COARSE[unit]),
        *_ratings(part, unit),
    ]
    if key in _MAY_GO:
        gone = Choice((Edit(key, None),), REMOVED_PART, f"{key}: taken out")
        fine, coarse = [*fine, gone], [*coarse, gone]
    return _knob(key, fine, coarse)


def _knob(name: str, fine: Iterable[Choice], coarse: Iterable[Choice] | None = None) -> Knob:
    ordered = tuple(sorted(fine, key=lambda choice: choice.steps))
    if coarse is None:
        return Knob(name, ordered, ordered)
    return Knob(name, ordered, tuple(sorted(coarse, key=lambda choice: choice.steps)))


def _replaced(key: str, before: str, after: str, steps: float) -> Choice:
    return Choice((Edit(key, after),), steps, f"{key}: {before} → {after}")


def _values(part: PartValue, found: Iterable[float], unit: Unit) -> Iterator[Choice]:
    for value in found:
        if not math.isclose(value, part.nominal, rel_tol=1e-9):
            steps = steps_between(part.nominal, value)
            yield _replaced(part.key, part.text, rewritten(part, value, unit), steps)


def _makes(part: PartValue, unit: Unit, series: SeriesName | None) -> Iterator[Choice]:
    """Yield the part in the next steadier technology; a resistor in its own value only."""
    if part.technology not in BETTER:
        return
    make, tolerance, rating = BETTER[part.technology]
    rating = rating or (f"{part.rating:g}W" if part.rating else "")
    low, high = KEPT[make].low, KEPT[make].high
    found = (part.nominal,) if unit == "Ω" else values(part, make, series)
    for value in found:
        if low <= value <= high:
            text = f"{value_text(value, unit)} {tolerance} {make} {rating}".strip()
            steps = OTHER_MAKE + steps_between(part.nominal, value)
            yield _replaced(part.key, part.text, text, steps)


def _ratings(part: PartValue, unit: Unit) -> Iterator[Choice]:
    """Yield a resistor in the larger sizes."""
    if unit == "F" or part.technology not in ("carbon-film", "metal-film"):
        return
    tolerance = f"{100 * part.tolerance_high:g}%"
    for sizes, watts in enumerate((w for w in WATTS if w > (part.rating or 0.25)), 1):
        text = f"{value_text(part.nominal, unit)} {tolerance} {part.technology} {watts:g}W"
        yield _replaced(part.key, part.text, text, OTHER_RATING * sizes)


def _reservoir_knob(design: Design, series: SeriesName | None) -> Knob | None:
    """Offer the reservoir in other values, each also for the higher voltages that are kept."""
    key: Final = "supply.reservoir"
    knob, part = _value_knob(design, key, "F", series), part_at(design, key)
    if knob is None or part is None or part.technology != "electrolytic":
        return knob
    own = Choice((Edit(key, part.text),), 0.0, "")
    higher = [
        _replaced(key, part.text, rated(choice.edits[0].text or "", f"{volts:g}V"), steps)
        for choice in (own, *knob.fine)
        for sizes, volts in enumerate((v for v in VOLTS if v > (part.rating or math.inf)), 1)
        for steps in (choice.steps + OTHER_RATING * sizes,)
    ]
    return _knob(key, [*knob.fine, *higher])


def _stage_knob(design: Design) -> Knob | None:
    """Offer the Schmitt parts of the clocked part's family as the conditioner."""
    if design.line_sense is None or design.clocked is None:
        return None
    present = design.conditioner
    name = "none" if present is None else present.part
    family = find_card(design.clocked.part).family
    fresh = name == "none"
    choices = []
    for card in _cards("schmitt"):
        if card.family == family and (fresh or card is not find_card(name)):
            edits = [Edit("conditioner.part", card.identifier)]
            if present is not None and present.maker is not None:
                edits.append(Edit("conditioner.maker", None))
            if present is not None and present.inputs_tied:
                edits.append(Edit("conditioner.inputs_tied", None))
            steps = ADDED_STAGE if fresh else OTHER_TYPE
            words = f"conditioner.part: {name} → {card.identifier}"
            choices.append(Choice(tuple(edits), steps, words))
    return _knob("conditioner.part", choices)


def _reset_stage_knob(design: Design) -> Knob | None:
    """Offer a Schmitt stage between the capacitor and a reset input that has none."""
    reset = design.reset
    if reset is None or find_card(reset.receiver).kind == "schmitt":
        return None
    card = find_card(reset.receiver)
    choices = []
    for other in _cards("schmitt"):
        if other.family == card.family:
            edits = [Edit("reset.receiver", other.identifier)]
            if reset.maker is not None:
                edits.append(Edit("reset.maker", None))
            if reset.driven is None and design.clocked is None and card.kind == "clocked":
                edits.append(Edit("reset.driven", reset.receiver))
            words = f"reset.receiver: {reset.receiver} → {other.identifier} before it"
            choices.append(Choice(tuple(edits), ADDED_STAGE, words))
    return _knob("reset.receiver", choices)


def _clamp_knob(design: Design) -> Knob | None:
    if design.line_sense is None or design.line_sense.clamp != "input":
        return None
    edit = Edit("line_sense.clamp", "diodes")
    return _knob("line_sense.clamp", [_added("line_sense.clamp", (edit,), 2, "two diodes")])


def _added(name: str, edits: tuple[Edit, ...], parts: int, what: str) -> Choice:
    return Choice(edits, ADDED_PART * parts, f"{name}: {what} added")


def _additions(design: Design) -> Iterator[Knob]:
    """Yield the parts for which the topology has room."""
    sense, reset, drive = design.line_sense, design.reset, design.gate_drive
    if sense is not None and sense.topology == "bridge-leg" and sense.bleed_resistor is None:
        yield _new_resistor("line_sense.bleed_resistor", ("10k", "22k", "47k", "100k"))
    if reset is not None:
        if reset.discharge_diode is None:
            edit = Edit("reset.discharge_diode", "1N4148")
            yield _knob(
                "reset.discharge_diode",
                [_added("reset.discharge_diode", (edit,), 1, "1N4148")],
            )
        if reset.pin_resistor is None:
            yield _new_resistor("reset.pin_resistor", ("1k", "10k", "100k"))
        if reset.button and reset.button_resistor is None:
            yield _new_resistor("reset.button_resistor", ("100R", "220R", "470R", "1k"))
    if drive is not None:
        if drive.gate_shunt_resistor is None:
            yield _new_resistor("gate_drive.gate_shunt_resistor", ("330R", "1k"))
        if drive.snubber_capacitor is None:
            yield _snubber()
        yield from _protection(design)


_HEATSINKS: Final = ("20 K/W", "10 K/W", "5 K/W")
"""Usual sizes, from a clip to an extruded profile (common practice, no source)."""

_WARM_A: Final = 0.5
"""Load current (A rms) from which a heatsink is worth a thought: less makes under half a watt."""


def _protection(design: Design) -> Iterator[Knob]:
    """Yield a varistor across the triac of a lagging load, a heatsink where there is heat."""
    drive, load, mains = design.gate_drive, design.load, design.mains
    if drive is None or load is None or mains is None:
        return
    if drive.varistor is None and load.kind == "inductive" and load.winding_voltage is None:
        fitting = sorted(
            (card.columns[0].figure("V_ac").high, card.identifier)
            for card in _cards("varistor")
            if card.columns[0].figure("V_ac").high >= mains.voltage_maximum
        )
        choices = [
            _added("gate_drive.varistor", (Edit("gate_drive.varistor", name),), 1, name)
            for _, name in fitting
        ]
        yield _knob("gate_drive.varistor", choices)
    amperes = load.power.high / load.power_factor / (load.voltage or mains.voltage)
    if drive.heatsink is None and amperes >= _WARM_A:
        choices = [
            _added("gate_drive.heatsink", (Edit("gate_drive.heatsink", size),), 1, size)
            for size in _HEATSINKS
        ]
        yield _knob("gate_drive.heatsink", choices)


def _new_resistor(key: str, texts: tuple[str, ...]) -> Knob:
    written = [f"{text} 5% carbon-film 0.25W" for text in texts]
    return _knob(key, [_added(key, (Edit(key, text),), 1, text) for text in written])


_SNUBBERS: Final = (("100R", "10n"), ("100R", "47n"), ("100R", "100n"), ("39R", "100n"))
"""Usual pairs across a triac (common practice, no source)."""


def _snubber() -> Knob:
    choices = []
    for resistor, capacitor in (
        ("100R", "10n"),
        ("100R", "47n"),
        ("100R", "100n"),
        ("39R", "100n"),
    ):
        edits = (
            Edit("gate_drive.snubber_resistor", f"{resistor} 5% carbon-film 1W"),
            Edit("gate_drive.snubber_capacitor", f"{capacitor} 20% X2 275V"),
        )
        choices.append(_added("gate_drive.snubber", edits, 2, f"{resistor} and {capacitor} X2"))
    return _knob("gate_drive.snubber", choices)


_CLASS: Final = {
    "triac": ("V_DRM", "I_T_rms"),
    "opto_triac": ("V_DRM",),
}
_GRADE: Final = {"triac": "I_GT_1", "opto_triac": "I_FT", "regulator": "I_O_max"}
SAME_OUTPUT: Final = 0.02
"""How far apart, as a share, the outputs of two regulators of one voltage may be."""


def _part_knob(design: Design, key: str) -> Knob | None:
    name = _at(design, key)
    if not isinstance(name, str):
        return None
    card = find_card(name)
    ranked = []
    for other in _cards(card.kind):
        if other is not card and _serves(card, other):
            steps = OTHER_GRADE if other.file == card.file else OTHER_TYPE
            written = _written_like(name, card, other)
            edits = (Edit(key, written), *_maker_edit(design, key, other))
            choice = Choice(edits, steps, f"{key}: {name} → {written}")
            ranked.append((_apart(card, other), choice))
    ordered = [choice for _, choice in sorted(ranked, key=lambda pair: pair[0])]
    return _knob(key, ordered)


def _cards(kind: str) -> Iterator[Card]:
    return (card for card in all_cards() if card.kind == kind)


def _serves(card: Card, other: Card) -> bool:
    """Tell whether `other` is of at least the same class, and does the same: an opto fires alike,
    a regulator has the same output."""
    if any(_least(other, name) < _least(card, name) for name in _CLASS.get(card.kind, ())):
        return False
    if card.kind == "regulator":
        return abs(_least(other, "V_O") / _least(card, "V_O") - 1) <= SAME_OUTPUT
    return card.columns[0].has("V_INH") == other.columns[0].has("V_INH")


def _least(card: Card, name: str) -> float:
    return min((c.figure(name).high for c in card.columns if c.has(name)), default=0.0)


def _apart(card: Card, other: Card) -> float:
    """Return how far the grades of two parts are apart, in E24 steps."""
    before, after = _least(card, _GRADE[card.kind]), _least(other, _GRADE[card.kind])
    return steps_between(before, after) if before and after else math.inf


def _written_like(name: str, card: Card, other: Card) -> str:
    """Return the other's name as the design writes such names: MOC3022 beside MOC3023."""
    prefix, found, _ = name.upper().partition(card.identifier.upper())
    written = f"{prefix}{other.identifier}"
    try:
        return written if found and find_card(written) is other else other.identifier
    except UnknownPartError:
        return other.identifier


def _maker_edit(design: Design, key: str, other: Card) -> tuple[Edit, ...]:
    """Return the edit that drops a maker whose column the other part does not have."""
    maker = _at(design, f"{key}_maker")
    if isinstance(maker, str) and maker.casefold() not in {m.casefold() for m in other.makers}:
        return (Edit(f"{key}_maker", None),)
    return ()
