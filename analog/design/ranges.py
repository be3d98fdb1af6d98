"""Rules about numbers: ends in order, ratings above what they must stand, limits, expectation."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from analog.cards import UnknownPartError, find_card
from analog.design.findings import Draft, Finding, finding

BENCH_SECTIONS: Final = ("line_sense", "conditioner", "reset", "gate_drive", "supply")


def range_rules(draft: Draft) -> Iterator[Finding]:
    """Yield every pair of numbers that cannot both be true, and every limit out of order."""
    yield from _ambient(draft)
    yield from _mains(draft)
    yield from _ratings(draft)
    yield from _valid_supply(draft)
    yield from _regulated_rail(draft)
    yield from _limits(draft)
    yield from _spread(draft)
    yield from _expect(draft)


def _ambient(draft: Draft) -> Iterator[Finding]:
    room = draft.environment
    if room is None:
        return
    low, middle, high = room.ambient_minimum, room.ambient_typical, room.ambient_maximum
    if low is not None and high is not None and low > high:
        rule = f"the minimum is over the maximum of {high:g} °C"
        yield finding("environment.ambient_minimum", rule, "Swap or mend the two")
    elif None not in (low, middle, high) and not low <= middle <= high:
        rule = f"the typical value {middle:g} °C is outside {low:g} to {high:g} °C"
        yield finding("environment.ambient_typical", rule, "Write ambient_typical inside the range")


def _mains(draft: Draft) -> Iterator[Finding]:
    mains = draft.mains
    if mains is None:
        return
    low, nominal, high = mains.voltage_minimum, mains.voltage, mains.voltage_maximum
    if low is not None and high is not None and low > high:
        rule = f"the minimum is over the maximum of {high:g} V"
        yield finding("mains.voltage_minimum", rule, "Swap or mend the two")
        return
    if None not in (low, nominal) and low > nominal:
        rule = f"the minimum is over the nominal {nominal:g} V"
        yield finding("mains.voltage_minimum", rule, "Mend one of the two")
    if None not in (high, nominal) and high < nominal:
        rule = f"the maximum is under the nominal {nominal:g} V"
        yield finding("mains.voltage_maximum", rule, "Mend one of the two")


def _ratings(draft: Draft) -> Iterator[Finding]:
    """A capacitor's rated voltage against the highest voltage across it."""
    rail = draft.value("supply.rail")
    highest = getattr(rail, "high", None)
    mains_maximum = draft.value("mains.voltage_maximum")
    for key, voltage, what in (
        ("reset.capacitor", highest, "rail"),
        ("line_sense.capacitor", highest, "rail, which the pin's clamp lets it reach"),
        ("line_sense.second_capacitor", highest, "rail, which the pin's clamp lets it reach"),
        ("gate_drive.snubber_capacitor", mains_maximum, "mains"),
        ("gate_drive.opto_snubber_capacitor", mains_maximum, "mains"),
    ):
        rating = getattr(draft.value(key), "rating", None)
        if rating is not None and voltage is not None and rating < voltage:
            rule = f"rated {rating:g} V, under the {voltage:.4g} V of the {what}"
            yield finding(key, rule, "Use a capacitor of a higher rated voltage")


def _valid_supply(draft: Draft) -> Iterator[Finding]:
    valid, rail = draft.value("reset.valid_supply"), draft.value("supply.rail")
    if valid is not None and rail is not None and valid > rail.low:
        rule = f"the rail may stay at {rail.low:.4g} V and would never be valid"
        yield finding("reset.valid_supply", rule, "Write a voltage below the lowest rail")


def _regulated_rail(draft: Draft) -> Iterator[Finding]:
    """A rail that its own regulator cannot make is a slip in one of the two."""
    name, rail = draft.value("supply.regulator"), draft.value("supply.rail")
    if name is None or rail is None:
        return
    try:
        column = find_card(name).columns[0]
    except UnknownPartError:
        return  # the rule about part names says so
    figure = column.figure("V_O") if column.has("V_O") else None
    if figure is not None and not figure.low <= rail.nominal <= figure.high:
        rule = (
            f"the {name} makes {figure.low:g} to {figure.high:g} V, the rail is {rail.nominal:g} V"
        )
        yield finding("supply.regulator", rule, "Mend the rail or name the regulator that makes it")


def _limits(draft: Draft) -> Iterator[Finding]:
    seen: set[tuple[str, str | None]] = set()
    for index, limit in enumerate(draft.limits):
        where = ("limits", index)
        measure = getattr(limit, "measure", None)
        if measure is None:
            continue
        yield from _bench_present(draft, measure, (*where, "measure"))
        low, high = limit.minimum, limit.maximum
        if low is None and high is None and not any(path[:2] == where for path in draft.broken):
            rule = "a limit needs an end"
            yield Finding((*where, "measure"), rule, "Add minimum, maximum or both")
        if low is not None and high is not None and low > high:
            yield Finding((*where, "minimum"), "the minimum is over the maximum", "Swap the two")
        if (measure, limit.limit) in seen:
            yield Finding((*where, "measure"), "this limit is given twice", "Drop one of them")
        seen.add((measure, limit.limit))


def _bench_present(draft: Draft, measure: str, path: tuple[str | int, ...]) -> Iterator[Finding]:
    bench = measure.split(".", maxsplit=1)[0]
    if bench not in BENCH_SECTIONS:
        yield Finding(path, f"there is no bench {bench}", f"Known: {', '.join(BENCH_SECTIONS)}")
    elif getattr(draft, bench) is None:
        yield Finding(path, f"the design has no section [{bench}]", "Drop it or add the section")


def _spread(draft: Draft) -> Iterator[Finding]:
    seen: set[str] = set()
    for index, rule in enumerate(draft.spread):
        where = ("spread", index)
        if rule.of in seen:
            yield Finding((*where, "of"), "this value has a rule already", "Drop one of them")
        if rule.of is not None:
            seen.add(rule.of)
        if rule.of == "parts" and rule.reel is not None:
            remedy = "Name each part of the reel in a rule of its own"
            yield Finding((*where, "reel"), "not all parts come off one reel", remedy)
        if rule.sigmas is not None and rule.distribution != "normal":
            words = "only a normal distribution has standard deviations to its ends"
            yield Finding((*where, "sigmas"), words, 'Drop it, or write distribution = "normal"')


def _expect(draft: Draft) -> Iterator[Finding]:
    expect = draft.expect
    if expect is None or expect.verdict is None or expect.fails is None:
        return
    if expect.verdict == "fail" and not expect.fails:
        yield finding("expect.verdict", "a fail needs the measures that fail", "Add fails = […]")
    if expect.verdict != "fail" and expect.fails:
        rule = f"a design that comes out as {expect.verdict} has no failing measures"
        yield finding("expect.fails", rule, 'Drop fails, or write verdict = "fail"')
    for index, measure in enumerate(expect.fails):
        path = ("expect", "fails", index)
        yield from _bench_present(draft, measure, path)
        if measure in expect.fails[:index]:
            yield Finding(path, "this measure is named twice", "Drop one of them")
