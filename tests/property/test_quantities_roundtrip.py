"""Reading and writing values, over all values rather than over chosen ones."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from analog.quantities import (
    SERIES,
    QuantityError,
    SeriesName,
    decade,
    format_quantity,
    nearest,
    neighbours,
    read_component,
    read_quantity,
    read_range,
)

FACTORS = {"T": 12, "G": 9, "M": 6, "k": 3, "m": -3, "u": -6, "n": -9, "p": -12, "": 0}
WHOLE = st.integers(min_value=0, max_value=9999)
PLACES = st.text("0123456789", min_size=1, max_size=4)


@settings(deadline=None)
@given(WHOLE, PLACES, st.sampled_from([letter for letter in FACTORS if letter]))
def test_letter_notation_is_read_exactly(whole: int, places: str, letter: str) -> None:
    expected = Decimal(f"{whole}.{places}").scaleb(FACTORS[letter])
    for unit in ("Ω", "F"):
        assert read_quantity(f"{whole}{letter}{places}", unit) == expected


@settings(deadline=None)
@given(WHOLE, PLACES, st.sampled_from(list(FACTORS)), st.sampled_from("VAWHF"))
def test_prefixed_values_are_read_exactly(whole: int, places: str, prefix: str, unit: str) -> None:
    expected = Decimal(f"{whole}.{places}").scaleb(FACTORS[prefix])
    assert read_quantity(f"{whole}.{places} {prefix}{unit}", unit) == expected
    assert read_quantity(f"-{whole}.{places}{prefix}{unit}", unit) == -expected


@settings(deadline=None)
@given(st.text(max_size=30), st.sampled_from(["Ω", "F", "V", "A", "s", "°C", "%", "1", "VA"]))
def test_any_text_is_read_or_refused_inside_itself(text: str, unit: str) -> None:
    for read in (read_quantity, read_range, lambda t, u: read_component(t, u, "V")):
        error = _refusal(read, text, unit)
        if error is not None:
            assert 0 <= error.position <= len(text)
            assert error.rule
            assert error.remedy


def _refusal(read: Callable[[str, str], object], text: str, unit: str) -> QuantityError | None:
    try:
        read(text, unit)
    except QuantityError as error:
        return error
    return None


@settings(deadline=None)
@given(
    st.floats(min_value=1e-14, max_value=9e14),
    st.booleans(),
    st.sampled_from(["Ω", "V", "A", "s", "F", "W", "Hz"]),
)
def test_what_is_written_reads_back_to_three_digits(size: float, negative: bool, unit: str) -> None:
    value = -size if negative else size
    back = float(read_quantity(format_quantity(value, unit), unit))
    assert abs(back - value) <= 0.005001 * abs(value)


@settings(deadline=None)
@given(st.floats(min_value=1e-12, max_value=1e12), st.sampled_from(SERIES))
def test_neighbours_enclose_and_are_adjacent(value: float, series: SeriesName) -> None:
    below, above = neighbours(value, series)
    assert below <= value <= above
    assert nearest(value, series) in (below, above)
    if below != above:
        steps = decade(series)
        largest = max(float(b / a) for a, b in zip(steps, (*steps[1:], Decimal(10)), strict=True))
        assert above / below <= largest * (1 + 1e-9)
