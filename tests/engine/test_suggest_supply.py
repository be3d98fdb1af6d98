"""A reservoir too small and rated too low is mended by one part that exists."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from analog.design import parse_design
from analog.engine import Engine, open_engine
from analog.workflows import check
from analog.workflows.suggest import suggest

THIN = """edgeproof = 1

[design]
name = "thin-supply"

[mains]
voltage = "120 V"
frequency = "60 Hz"

[environment]
ambient_minimum = "5 °C"
ambient_maximum = "45 °C"

[supply]
rail = "9 V 6%"
transformer_voltage = "12 V"
transformer_rating = "3 VA"
rectifier = "bridge"
reservoir = "47u 20% electrolytic 25V"
regulator = "7809"
load_current = "5 mA .. 15 mA .. 30 mA"
"""


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine() as opened:
        yield opened


def test_a_reservoir_is_mended_in_value_and_voltage(engine: Engine) -> None:
    """The rail is as exact as its regulator: no reservoir gives it the margin asked for."""
    design = parse_design(THIN, "thin.toml")
    found = suggest(design, engine)
    assert found.status == "found"
    assert set(found.aside) == {f"supply.rail_{end}.stated_rail" for end in ("minimum", "maximum")}
    (choice,) = found.suggestions[0].changes
    assert choice.edits[0].key == "supply.reservoir"
    assert choice.edits[0].text == "330u 20% electrolytic 35V"
    mended = check(parse_design(found.suggestions[0].text, "mended.toml"), engine)
    assert mended.results.verdict == "pass"
    smaller = THIN.replace("47u 20% electrolytic 25V", "220u 20% electrolytic 35V")
    assert check(parse_design(smaller, "smaller.toml"), engine).results.verdict == "fail"
