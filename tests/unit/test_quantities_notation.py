"""One value: what is read, what is refused, and at which character."""

from __future__ import annotations

import pickle
from decimal import Decimal

import pytest

from analog.quantities import QuantityError, read_quantity


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("4k7", "Ω", "4700"),
        ("4K7", "Ω", "4700"),
        ("47 kΩ", "Ω", "47000"),
        ("47 k\u2126", "Ω", "47000"),
        ("47kohm", "Ω", "47000"),
        ("0R22", "Ω", "0.22"),
        ("R22", "Ω", "0.22"),
        ("100R", "Ω", "100"),
        ("1M", "Ω", "1e6"),
        ("1 MΩ", "Ω", "1e6"),
        ("4m7", "Ω", "0.0047"),
        ("2u2", "F", "2.2e-6"),
        ("2\u00b52", "F", "2.2e-6"),
        ("2\u03bc2", "F", "2.2e-6"),
        ("100n", "F", "1e-7"),
        ("10 nF", "F", "1e-8"),
        ("n47", "F", "4.7e-10"),
        ("12 V", "V", "12"),
        ("5V6", "V", "5.6"),
        ("400mV", "V", "0.4"),
        ("20 mA", "A", "0.02"),
        ("3 VA", "VA", "3"),
        ("50 Hz", "Hz", "50"),
        ("1.5 ms", "s", "0.0015"),
        ("-10 °C", "°C", "-10"),
        ("\u221210 °C", "°C", "-10"),
        ("+40°C", "°C", "40"),
        ("25 %", "%", "0.25"),
        ("25 %", "1", "0.25"),
        ("0.6", "1", "0.6"),
        (".5 V", "V", "0.5"),
        ("  12\u00a0V  ", "V", "12"),
        ("10 mH", "H", "0.01"),
    ],
)
def test_reads_exactly(text: str, unit: str, value: str) -> None:
    assert read_quantity(text, unit) == Decimal(value)


@pytest.mark.parametrize(
    ("text", "unit", "position", "rule"),
    [
        ("", "V", 0, "empty"),
        ("   ", "V", 3, "empty"),
        ("1e999", "V", 1, "powers of ten"),
        ("1e3 Ω", "Ω", 1, "powers of ten"),
        ("nan", "V", 0, "does not begin with a number"),
        ("inf", "V", 0, "does not begin with a number"),
        ("-inf V", "V", 1, "does not begin with a number"),
        ("NaN", "Ω", 0, "does not begin with a number"),
        ("4,7 kΩ", "Ω", 1, "comma"),
        ("1meg", "Ω", 1, "mega is written M"),
        ("1 MEG", "Ω", 1, "mega is written M"),
        ("100", "Ω", 3, "the unit Ω is missing"),
        ("12", "V", 2, "the unit V is missing"),
        ("12k", "V", 2, "'k' is not the unit V"),
        ("12 A", "V", 3, "'A' is not the unit V"),
        ("3 VA", "V", 2, "'VA' is not the unit V"),
        ("3 V", "VA", 2, "'V' is not the unit VA"),
        ("10 m°C", "°C", 3, "is not the unit °C"),
        ("12 V 5", "V", 5, "'5' is left over"),
        ("12 V; quit", "V", 4, "is left over"),
        ("4k7k", "Ω", 3, "'k' is left over"),
        ("4.7k7", "Ω", 3, "decimal point"),
        ("12 V\n.control", "V", 4, "one line"),
        ("12\x00V", "V", 2, "one line"),
        ("1" * 30 + " V", "V", 0, "beyond anything physical"),
        ("1" * 300, "V", 0, "far too long"),
        ("0x10 V", "V", 1, "is not the unit V"),
        ("1_000 V", "V", 1, "is not the unit V"),
        ("٤7 V", "V", 0, "does not begin with a number"),
    ],
)
def test_refuses_and_says_where(text: str, unit: str, position: int, rule: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_quantity(text, unit)
    assert rule in caught.value.rule
    assert caught.value.position == position
    assert caught.value.remedy


def test_mega_is_never_milli() -> None:
    assert read_quantity("1M", "Ω") == 10**9 * read_quantity("1m", "Ω")
    assert read_quantity("2 MV", "V") == 10**9 * read_quantity("2 mV", "V")


def test_error_survives_pickling() -> None:
    with pytest.raises(QuantityError) as caught:
        read_quantity("12 A", "V")
    again = pickle.loads(pickle.dumps(caught.value))
    assert (again.position, again.rule, str(again)) == (3, caught.value.rule, str(caught.value))
    assert "character 4 of '12 A'" in str(again)
