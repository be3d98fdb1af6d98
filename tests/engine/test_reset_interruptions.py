"""Interruptions of the reset on the real engine: the window, its map, the published caution."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from analog.benches.reset_interruption import floor_v
from analog.benches.reset_interruption_measures import long_cut, returned
from analog.design import Design, parse_design, read_design
from analog.engine import Engine, Run, open_engine
from analog.workflows import Checked, check
from analog.workflows.interruptions import interruption_map, missed

SCENARIOS = Path(__file__).parents[2] / "analog" / "scenarios"

TEXT = """
edgeproof = 1
[design]
name = "cuts"
[environment]
ambient_minimum = "0 °C"
ambient_maximum = "50 °C"
[supply]
rail = "9 V 5%"
rise_time = "10 ms .. 15 ms .. 20 ms"
fall_time = "{fall}"
[reset]
resistor = "{resistor} 5% carbon-film"
capacitor = "{capacitor}"
receiver = "40106"
driven = "4013"
{more}
[[limits]]
measure = "reset.missed_reset_window"
maximum = "{limit}"
reason = "what this board may miss"
"""


def design(
    resistor: str = "470k",
    capacitor: str = "1u 10% film 63V",
    fall: str = "10 ms .. 20 ms .. 40 ms",
    more: str = 'discharge_diode = "1N4148"',
    limit: str = "100 ms",
) -> Design:
    values = {"resistor": resistor, "capacitor": capacitor, "fall": fall}
    return parse_design(TEXT.format(**values, more=more, limit=limit), "cuts.toml")


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=2) as opened:
        yield opened


def checked(record: Design, engine: Engine) -> Checked:
    return check(record, engine, benches=["reset"])


def verdict(found: Checked) -> str | None:
    rows = found.results.benches[0].measures
    return next(row.verdict for row in rows if row.measure == "missed_reset_window")


def test_cuts_of_100_to_1000_ms_fail_one_design_and_pass_another(engine: Engine) -> None:
    """A reset of R, C and Schmitt input takes only if the supply is off for long enough; cuts of
    100 ms to 1000 ms are the realistic test (EDN, column on power-on reset)."""
    lengths = np.geomspace(0.1, 1.0, 12)
    # Without a diode of its own and with 100 kΩ into the pin nothing empties 10 µF in a second.
    slow = design("1M", "10u 20% electrolytic 16V", more='pin_resistor = "100k"')
    quick = design("470k", "220n 10% film 63V")
    for record, expected in ((slow, "fail"), (quick, "pass")):
        found = checked(record, engine)
        assert verdict(found) == expected
        worst = found.bench("reset").worst["missed_reset_window"]
        taken = ~missed(record, worst, engine, lengths, 0 * lengths)
        assert taken.all() == (expected == "pass")
        assert taken.any() == (expected == "pass")


def test_a_reset_faster_than_the_rail_never_takes_and_fails(engine: Engine) -> None:
    """R·C of 10 ms charges while the rail still rises over 20 ms: no cut is long enough."""
    found = checked(design("100k", "100n 10% film 63V"), engine)
    row = next(
        row for row in found.results.benches[0].measures if row.measure == "missed_reset_window"
    )
    assert (row.verdict, row.worst) == ("fail", None)


@pytest.mark.parametrize("name", ["propagator-mat", "first-draft"])
def test_edges_are_those_of_cuts_that_come_back(name: str, engine: Engine) -> None:
    """One long run tells what single cuts with their returns tell, within 5 %."""
    record = read_design(SCENARIOS / f"{name}.toml")
    worst = checked(record, engine).bench("reset").worst["missed_reset_window"]
    for edge in ("t_lost", "t_sure"):
        ratio = np.linspace(0.9, 1.1, 81)
        found = missed(record, worst, engine, worst.values[edge] * ratio, 0 * ratio)
        changes = np.flatnonzero(found[1:] != found[:-1])
        assert len(changes) == 1, edge
        assert ratio[changes[0]] == pytest.approx(1.0, abs=0.05), edge


def test_map_agrees_with_random_cuts_but_beside_its_boundary(
    engine: Engine, counts, figure
) -> None:
    record = read_design(SCENARIOS / "propagator-mat.toml")
    worst = checked(record, engine).bench("reset").worst["missed_reset_window"]
    found = interruption_map(record, worst, engine)
    window, random = found.window, np.random.default_rng(7)
    assert len(window.x) >= 20
    assert len(window.y) >= 20
    count = counts(200, 1000)
    length = np.exp(random.uniform(*np.log(window.x[[0, -1]]), count))
    share = random.uniform(window.y[0], window.y[-1], count)
    truth = missed(record, worst, engine, length, share)
    wrong = [
        (a, b) for a, b, miss in zip(length, share, truth, strict=True) if window.at(a, b) != miss
    ]
    assert all(window.mixed(a, b) for a, b in wrong)
    assert truth.any()
    assert not truth.all()
    assert next(words for *_, words, _ in found.points) == "0 %, half a cycle"
    figure(f"{window.runs} runs for {window.inside.size} points; {len(wrong)} of {count} differ")


def test_a_long_brown_out_above_the_receivers_low_level_is_missed(engine: Engine) -> None:
    """At a residual rail under the logic's minimum but over V_N min a plain RC never asserts."""
    record = design()
    worst = checked(record, engine).bench("reset").worst["missed_reset_window"]
    shares = np.array([0.02, 0.25, 0.5])
    floors = [floor_v(worst.row, float(share)) for share in shares]
    assert floors[0] < worst.row["v_assert"] < floors[1] < worst.row["valid_supply"] < floors[2]
    lost = missed(record, worst, engine, np.full(3, 20.0), shares)
    assert lost.tolist() == [False, True, False]


def test_an_ideal_discharge_gives_the_closed_form() -> None:
    """Rail gone at once, u = V·e^(−t/RC): sure from RC·ln(V/V_N) on, lost at once."""
    time = np.linspace(0.0, 3.0, 30001)
    rail = np.where(time < 1e-4, 9.0 - 9e4 * time, 0.0)
    row = {"valid_supply": 3.0, "v_assert": 0.42, "r_reset": 1e5, "c_reset": 5e-6}
    pin = 9.0 * np.exp(-time / 0.5)
    run = Run(time, {"v(vdd)": rail, "v(pin)": pin}, {})
    found = long_cut(run, {**row, "rail_slope": 1e9})
    assert found["t_sure"] == pytest.approx(0.5 * math.log(9 / 0.42), rel=1e-3)
    assert found["missed_reset_window"] == pytest.approx(found["t_sure"], abs=2e-4)
    # The rail's return over 30 ms to 3 V adds 1.5 V · 30 ms / RC, to first order.
    carried = returned(np.zeros(1), np.zeros(1), {**row, "rail_slope": 100.0})
    assert carried[0] == pytest.approx(1.5 * 0.03 / 0.5, rel=0.03)
