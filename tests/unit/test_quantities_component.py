"""Component strings and ranges."""

from __future__ import annotations

from decimal import Decimal

import pytest

from analog.quantities import QuantityError, read_component, read_range


def _read(text: str, unit: str, rating_unit: str) -> tuple[object, ...]:
    found = read_component(text, unit, rating_unit)
    sides = (found.tolerance.low, found.tolerance.high) if found.tolerance else None
    return found.value, sides, found.technology, found.rating


@pytest.mark.parametrize(
    ("text", "value", "low", "high"),
    [
        ("47 kΩ ±5 %", "47000", "-0.05", "0.05"),
        ("47k +/-5%", "47000", "-0.05", "0.05"),
        ("47k +-5%", "47000", "-0.05", "0.05"),
        ("47k 0.1%", "47000", "-0.001", "0.001"),
        ("47k 0%", "47000", "0", "0"),
        ("4k7J", "4700", "-0.05", "0.05"),
        ("4k7 K", "4700", "-0.1", "0.1"),
        ("10K M", "10000", "-0.2", "0.2"),
        ("100R F", "100", "-0.01", "0.01"),
        ("47k -20+80%", "47000", "-0.2", "0.8"),
        ("47k −20 % +80 %", "47000", "-0.2", "0.8"),
        ("47k -20/+80 %", "47000", "-0.2", "0.8"),
        ("47k +80-20%", "47000", "-0.2", "0.8"),
        ("47k Z", "47000", "-0.2", "0.8"),
    ],
)
def test_reads_tolerances(text: str, value: str, low: str, high: str) -> None:
    expected = (Decimal(value), (Decimal(low), Decimal(high)), None, None)
    assert _read(text, "Ω", "W") == expected


def test_reads_technology_and_rating_in_any_order() -> None:
    ten = (Decimal("0.00001"), (Decimal("-0.2"), Decimal("0.2")), "electrolytic", Decimal(16))
    assert _read("10u 20% electrolytic 16V", "F", "V") == ten
    assert _read("10uF 16 V electrolytic ±20 %", "F", "V") == ten
    assert _read("1u film 6V3", "F", "V") == (Decimal("1e-6"), None, "film", Decimal("6.3"))
    assert _read("4k7 250mW", "Ω", "W") == (Decimal(4700), None, None, Decimal("0.25"))
    assert _read("10n C0G", "F", "V") == (Decimal("1e-8"), None, "C0G", None)


def test_small_capacitor_letters_are_picofarads() -> None:
    found = read_component("4p7 C", "F", "V").tolerance
    assert found is not None
    assert float(found.high) == pytest.approx(0.25 / 4.7, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "position", "rule"),
    [
        ("0R", 0, "not above zero"),
        ("-4k7", 0, "not above zero"),
        ("4k7 -5%", 4, "both sides"),
        ("4k7 100%", 4, "100 % or more"),
        ("4k7 -100+10%", 4, "100 % or more"),
        ("4k7 5% 10%", 7, "tolerance is given twice"),
        ("4k7 J 10%", 6, "tolerance is given twice"),
        ("4k7 film wirewound", 9, "technology is given twice"),
        ("4k7 1W 2W", 7, "rating is given twice"),
        ("4k7 16V", 6, "is not the unit W"),
        ("4k7 A", 4, "no tolerance letter"),
        ("4k7 ?", 4, "left over"),
        ("4k7 {x}", 4, "left over"),
        ("4k7 5", 4, "left over"),
        ("4k7 film;shell", 8, "left over"),
    ],
)
def test_refuses_components(text: str, position: int, rule: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_component(text, "Ω", "W")
    assert (caught.value.position, rule in caught.value.rule) == (position, True), caught.value


@pytest.mark.parametrize("text", ["100n F", "8p2F", "4n7F 63V"])
def test_refuses_an_f_that_could_be_farad_or_one_per_cent(text: str) -> None:
    with pytest.raises(QuantityError, match="farad or ±1 %"):
        read_component(text, "F", "V")


def test_reads_an_f_that_can_only_be_one_thing() -> None:
    one_per_cent = (Decimal("-0.01"), Decimal("0.01"))
    assert _read("100nF", "F", "V") == (Decimal("1e-7"), None, None, None)
    assert _read("100nF F", "F", "V") == (Decimal("1e-7"), one_per_cent, None, None)


@pytest.mark.parametrize(
    ("text", "unit", "ends"),
    [
        ("9 V 5%", "V", ("8.55", "9", "9.45")),
        ("9 V", "V", ("9", "9", "9")),
        ("10 ms .. 50 ms .. 200 ms", "s", ("0.01", "0.05", "0.2")),
        ("10ms…200ms", "s", ("0.01", "0.105", "0.2")),
        ("15 pF ±50 %", "F", ("7.5e-12", "15e-12", "22.5e-12")),
        ("-10 °C 10%", "°C", ("-11", "-10", "-9")),
    ],
)
def test_reads_ranges(text: str, unit: str, ends: tuple[str, str, str]) -> None:
    found = read_range(text, unit)
    assert (found.low, found.nominal, found.high) == tuple(Decimal(end) for end in ends)


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("5 V .. 4 V", "minimum is over the maximum"),
        ("1 V .. 3 V .. 2 V", "minimum is over the maximum"),
        ("1 V .. 2 V 5%", "left over"),
        ("1 V .. 2", "the unit V is missing"),
        ("1 .. 2 V", "not the unit V"),
        ("1 V .. 2 V .. 3 V .. 4 V", "left over"),
        ("9 V 100%", "100 % or more"),
    ],
)
def test_refuses_ranges(text: str, rule: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_range(text, "V")
    assert rule in caught.value.rule
