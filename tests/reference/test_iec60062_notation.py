"""Letter notation and tolerance codes of IEC 60062:2016 (from memory, high confidence)."""

from __future__ import annotations

from decimal import Decimal

import pytest

from analog.quantities import read_component

RESISTORS = {
    "R10": "0.1",
    "R15": "0.15",
    "R332": "0.332",
    "R59": "0.59",
    "1R0": "1",
    "1R5": "1.5",
    "3R32": "3.32",
    "5R9": "5.9",
    "10R": "10",
    "33R2": "33.2",
    "100R": "100",
    "332R": "332",
    "1K0": "1e3",
    "3K32": "3320",
    "10K": "10e3",
    "33K2": "33200",
    "590K": "590e3",
    "1M0": "1e6",
    "3M32": "3.32e6",
    "10M": "10e6",
    "1G0": "1e9",
    "59G": "59e9",
    "1T0": "1e12",
}
CAPACITORS = {
    "p10": "0.1e-12",
    "p332": "0.332e-12",
    "1p0": "1e-12",
    "3p32": "3.32e-12",
    "10p": "10e-12",
    "33p2": "33.2e-12",
    "100p": "100e-12",
    "n10": "100e-12",
    "n332": "332e-12",
    "1n0": "1e-9",
    "3n32": "3.32e-9",
    "10n": "10e-9",
    "100n": "100e-9",
    "u10": "100e-9",
    "\u00b5332": "332e-9",
    "1\u00b50": "1e-6",
    "3u32": "3.32e-6",
    "10\u00b5": "10e-6",
    "1m0": "1e-3",
    "33m2": "33.2e-3",
}
#: Symmetric letters in per cent, asymmetric ones as (below, above).
LETTERS = {
    "E": "0.005",
    "L": "0.01",
    "P": "0.02",
    "W": "0.05",
    "B": "0.1",
    "C": "0.25",
    "D": "0.5",
    "F": "1",
    "G": "2",
    "H": "3",
    "J": "5",
    "K": "10",
    "M": "20",
    "N": "30",
}
ASYMMETRIC = {"Q": ("10", "30"), "T": ("10", "50"), "S": ("20", "50"), "Z": ("20", "80")}
#: Below 10 pF the letters give picofarads.
PICOFARADS = {"B": "0.1", "C": "0.25", "D": "0.5", "F": "1", "G": "2"}


@pytest.mark.parametrize(("text", "value"), RESISTORS.items())
def test_resistor_codes(text: str, value: str) -> None:
    assert read_component(text, "Ω", "W").value == Decimal(value)


@pytest.mark.parametrize(("text", "value"), CAPACITORS.items())
def test_capacitor_codes(text: str, value: str) -> None:
    assert read_component(text, "F", "V").value == Decimal(value)


@pytest.mark.parametrize(("letter", "percent"), LETTERS.items())
def test_symmetric_letters(letter: str, percent: str) -> None:
    found = read_component(f"4K7 {letter}", "Ω", "W").tolerance
    assert found is not None
    assert (found.low, found.high) == (-Decimal(percent) / 100, Decimal(percent) / 100)


@pytest.mark.parametrize(("letter", "sides"), ASYMMETRIC.items())
def test_asymmetric_letters(letter: str, sides: tuple[str, str]) -> None:
    found = read_component(f"10n {letter}", "F", "V").tolerance
    assert found is not None
    assert (found.low, found.high) == (-Decimal(sides[0]) / 100, Decimal(sides[1]) / 100)


@pytest.mark.parametrize(("letter", "picofarads"), PICOFARADS.items())
def test_letters_of_capacitors_under_ten_picofarads(letter: str, picofarads: str) -> None:
    found = read_component(f"8.2pF {letter}", "F", "V").tolerance
    assert found is not None
    assert float(found.high) == pytest.approx(float(picofarads) / 8.2, rel=1e-12)
    assert found.low == -found.high
