"""Rules about sections that need each other and keys that need or exclude each other."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from analog.design.findings import Draft, Finding, finding
from analog.design.resetting import reset_rules
from analog.design.sensing import conditioner_rules, sensing_rules

_BENCH_SECTIONS: Final = ("line_sense", "conditioner", "reset", "gate_drive")

#: section: the sections it cannot do without, and why.
_NEEDS: Final = {
    "line_sense": (("mains", "the sensed voltage comes from it"),),
    "conditioner": (
        ("line_sense", "its input comes from there"),
        ("clocked", "its output goes there"),
    ),
    "gate_drive": (
        ("mains", "the triac switches it"),
        ("load", "the triac switches it on"),
    ),
}


def section_rules(draft: Draft) -> Iterator[Finding]:
    """Yield what is wrong between sections and between the keys of one section."""
    yield from _something_to_check(draft)
    yield from _needed_sections(draft)
    yield from sensing_rules(draft)
    yield from conditioner_rules(draft)
    yield from _own_winding(draft)
    yield from _driver_keys(draft)
    yield from _pulse_keys(draft)
    yield from _pairs(draft)
    yield from reset_rules(draft)
    yield from _load_keys(draft)
    yield from _fuse_and_filament(draft)


def _something_to_check(draft: Draft) -> Iterator[Finding]:
    supplied = ("mains.voltage", "supply.transformer_voltage", "supply.reservoir")
    if all(draft.given(key) for key in supplied):
        return
    if all(getattr(draft, name) is None for name in _BENCH_SECTIONS):
        words = ", ".join(f"[{name}]" for name in _BENCH_SECTIONS)
        remedy = f"Add at least one of {words}"
        yield Finding((), "there is nothing to check", remedy)


def _needed_sections(draft: Draft) -> Iterator[Finding]:
    for name, needs in _NEEDS.items():
        if getattr(draft, name) is None:
            continue
        for needed, why in needs:
            if getattr(draft, needed) is None:
                rule = f"[{name}] needs [{needed}]: {why}"
                yield Finding((name,), rule, f"Add the section [{needed}]", at_key=True)
    if draft.line_sense is not None and draft.conditioner is None and draft.clocked is None:
        rule = "[line_sense] needs a receiver for its signal"
        remedy = "Add [clocked], and [conditioner] when a Schmitt stage stands between"
        yield Finding(("line_sense",), rule, remedy, at_key=True)


def _own_winding(draft: Draft) -> Iterator[Finding]:
    for section, voltage, others in (
        ("line_sense", "winding_voltage", ("winding_rating", "winding_regulation")),
        ("supply", "transformer_voltage", ("transformer_rating", "transformer_regulation")),
        ("load", "winding_voltage", ("winding_rating", "winding_regulation")),
    ):
        view = getattr(draft, section)
        if view is None:
            continue
        has_voltage = draft.given(f"{section}.{voltage}")
        if has_voltage and not draft.given(f"{section}.{others[0]}"):
            rule = f"{voltage} needs {others[0]}: the winding's resistance follows from both"
            yield Finding((section, voltage), rule, f"Add {others[0]}", at_key=True)
        for name in others:
            if not has_voltage and getattr(view, name) is not None:
                yield finding(f"{section}.{name}", f"{name} needs {voltage}", f"Add {voltage}")


def _driver_keys(draft: Draft) -> Iterator[Finding]:
    drive = draft.gate_drive
    if drive is None or drive.driver is None:
        return
    needs = {
        "npn": ("driver_part", "base_resistor"),
        "pnp": ("driver_part", "base_resistor"),
        "nmos": ("driver_part",),
        "logic": (),
    }
    for name in needs[drive.driver]:
        if not draft.given(f"gate_drive.{name}"):
            rule = f'driver "{drive.driver}" needs {name}'
            yield Finding(("gate_drive", name), rule, f"Add {name}", at_key=True)
    if drive.driver == "logic":
        for name in ("driver_part", "base_resistor"):
            if getattr(drive, name) is not None:
                rule = 'driver "logic" feeds the LED without a transistor'
                yield finding(f"gate_drive.{name}", rule, f"Drop {name} or name another driver")


def _pulse_keys(draft: Draft) -> Iterator[Finding]:
    drive, mains = draft.gate_drive, draft.mains
    if drive is None:
        return
    if drive.led_drive == "pulsed" and not draft.given("gate_drive.pulse_width"):
        rule = 'led_drive "pulsed" needs pulse_width'
        yield Finding(("gate_drive", "pulse_width"), rule, "Add pulse_width", at_key=True)
    if drive.led_drive == "continuous" and drive.pulse_width is not None:
        rule = 'led_drive "continuous" has no pulse_width'
        yield finding("gate_drive.pulse_width", rule, 'Drop it, or write led_drive = "pulsed"')
    frequency = getattr(mains, "frequency", None)
    if drive.pulse_width is not None and frequency and drive.pulse_width >= 0.5 / frequency:
        rule = f"the pulse is not shorter than a half-cycle of {1e3 * 0.5 / frequency:.3g} ms"
        yield finding("gate_drive.pulse_width", rule, "Shorten it, or drive the LED continuously")


def _pairs(draft: Draft) -> Iterator[Finding]:
    """Parts that only make sense together."""
    yield from _snubbers(draft)
    reset = draft.reset
    if reset is not None and reset.button_resistor is not None and reset.button is False:
        rule = "button_resistor needs a button"
        yield finding("reset.button_resistor", rule, "Write button = true, or drop the resistor")
    conditioner = draft.conditioner
    if conditioner is not None and conditioner.part == "none":
        if conditioner.maker is not None:
            yield finding("conditioner.maker", 'part "none" has no maker', "Drop the maker")
        if conditioner.inputs_tied:
            yield finding("conditioner.inputs_tied", 'part "none" has no inputs', "Drop the key")


def _snubbers(draft: Draft) -> Iterator[Finding]:
    for prefix in ("", "opto_"):
        names = (f"{prefix}snubber_resistor", f"{prefix}snubber_capacitor")
        for first, second in (names, names[::-1]):
            if draft.given(f"gate_drive.{first}") and not draft.given(f"gate_drive.{second}"):
                rule = f"{first} needs {second}: a snubber is both in series"
                yield finding(f"gate_drive.{first}", rule, f"Add {second}")


def _fuse_and_filament(draft: Draft) -> Iterator[Finding]:
    """Yield keys of a fuse that do not suit each other, and a filament's on another load."""
    load = draft.load
    if load is None:
        return
    for name in ("cold_resistance", "heat_time"):
        if getattr(load, name) is not None and load.kind not in ("filament", None):
            rule = f"{name} belongs to a filament"
            yield finding(f"load.{name}", rule, 'Drop it, or write kind = "filament"')
    melting, clearing = load.fuse_melting, load.fuse_clearing
    if (melting is None) != (clearing is None):
        given, other = ("melting", "clearing") if clearing is None else ("clearing", "melting")
        rule = f"fuse_{given} needs fuse_{other}: a fuse is told by both"
        yield finding(f"load.fuse_{given}", rule, f"Add fuse_{other}")
    if melting is not None and clearing is not None and clearing < melting:
        rule = "a fuse lets more through until it has cleared than until it melts"
        yield finding("load.fuse_clearing", rule, "Swap or mend the two")


def _load_keys(draft: Draft) -> Iterator[Finding]:
    load = draft.load
    if load is None or load.power_factor is None:
        return
    if load.kind in ("resistive", "filament") and load.power_factor != 1.0:
        rule = f"a {load.kind} load has a power factor of 1"
        yield finding("load.power_factor", rule, 'Drop it, or write kind = "inductive"')
    if load.kind == "inductive" and load.power_factor == 1.0:
        rule = "an inductive load needs its power factor"
        yield Finding(("load", "power_factor"), rule, "Add it, like power_factor = 0.6")
