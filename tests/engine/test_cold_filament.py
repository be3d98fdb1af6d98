"""A lamp switched on cold by a continuous opto drive: every half-cycle conducts."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import filament_cases as cases
import pytest
from conformance_parts import Part
from conformance_power import opto_row, triac_row
from model_rows import run_rows

from analog.cards import find_card
from analog.engine import Engine, open_engine

Figure = Callable[[str], None]

NO_SHUNT_OHM = 1e9


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def part(name: str) -> Part:
    card = find_card(name)
    return Part(card, card.columns[0])


def lamp(power: float, v_rms: float, hertz: float, opto: str, r_gate: float) -> dict[str, float]:
    row = triac_row(part("BTA16-SW")) | opto_row(part(opto))
    return row | {
        "mains_peak": v_rms * math.sqrt(2),
        "mains_hz": hertz,
        "r_load": v_rms**2 / power,
        "heat": 25e-3,
        "i_led": 1.5 * row["i_ft"],
        "r_gate": r_gate,
        "r_gk": NO_SHUNT_OHM,
        "stop": 5 / hertz,
        "step": 1 / hertz / 200,
    }


@pytest.mark.parametrize("opto", ["MOC3023", "MOC3063"])
@pytest.mark.parametrize(("v_rms", "hertz", "r_gate"), [(120.0, 60.0, 180.0), (230.0, 50.0, 360.0)])
def test_cold_filament_conducts_every_half_cycle(
    engine: Engine, figure: Figure, opto: str, v_rms: float, hertz: float, r_gate: float
) -> None:
    """10 W to 2 kW; the first peak is many times the hot one, the last one nearly that."""
    powers = (10.0, 100.0, 2000.0)
    rows = [lamp(power, v_rms, hertz, opto, r_gate) for power in powers]
    out = run_rows(engine, cases.cold_filament(), rows)
    figure(f"first peaks {', '.join(f'{peak:.2f}' for peak in out['first_peak'])} A")
    assert (out["counted"] == 10).all()
    assert (out["missed"] == 0).all()
    for row, first, last in zip(rows, out["first_peak"], out["last_peak"], strict=True):
        hot = row["mains_peak"] / row["r_load"]
        assert first > 4 * hot
        late = 4.75 / hertz
        share = 1 - (1 - cases.COLD_SHARE) * math.exp(-late / row["heat"])
        assert last == pytest.approx(hot / share, rel=0.03)


def test_a_lamp_without_light_stays_dark(engine: Engine) -> None:
    """The count can fail: with the LED at a third of its trigger current all are missed."""
    row = lamp(100.0, 230.0, 50.0, "MOC3063", 360.0)
    out = run_rows(engine, cases.cold_filament(), [row | {"i_led": row["i_ft"] / 3}])
    assert out["missed"][0] == 10
