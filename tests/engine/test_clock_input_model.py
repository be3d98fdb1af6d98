"""The ordinary clock input on its own: threshold, drive, slow noisy edges, shared ground lead."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import clock_input_cases as cases
import numpy as np
import pytest
from model_rows import run_random
from numpy.typing import NDArray

from analog.cards import family_figures
from analog.circuits.record import (
    Circuit,
    Dc,
    Element,
    Experiment,
    OperatingPoint,
    Param,
)
from analog.engine import Engine, Outcomes, open_engine

Counts = Callable[[int, int], int]
Figure = Callable[[str], None]
Rows = list[dict[str, float]]


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def run(engine: Engine, experiment: Experiment, rows: Rows) -> Outcomes:
    names = tuple(rows[0])
    out = engine.run(experiment, names, np.array([[row[name] for name in names] for row in rows]))
    assert not out.failures, next(iter(out.failures.values())).reason
    return out


def edge_row(
    rise_s: float,
    noise_v: float = 0.0,
    noise_hz: float = 1e5,
    noise_deg: float = 0.0,
    **changes: float,
) -> dict[str, float]:
    """A row of `noisy_edge`: the part of a 0 to VDD ramp of `rise_s` around the threshold."""
    row = {"f_th": 0.5, "gain": 2000.0, "tau": 30e-9, "vdd": 10.0, **cases.FROM_4000B, **changes}
    slope = row["vdd"] / rise_s
    half = max(
        3 * noise_v, 20 * slope * row["tau"], 0.005 * row["vdd"], 3 * row["vdd"] / row["gain"]
    )
    middle = row["f_th"] * row["vdd"]
    stop = 2 * half / slope
    step = min(stop / 200, 0.02 / noise_hz) if noise_v else stop / 400
    row |= {"noise": noise_v, "noise_hz": noise_hz, "noise_deg": noise_deg}
    return row | {"level_0": middle - half, "level_1": middle + half, "stop": stop, "step": step}


def ideal_crossings(row: dict[str, float]) -> int:
    """Count how often the ramp plus sine really passes the threshold, by sampling it finely."""
    points = int(200 * max(1.0, row["stop"] * row["noise_hz"]))
    time = np.linspace(0, row["stop"], points)
    slope = (row["level_1"] - row["level_0"]) / row["stop"]
    angle = 2 * math.pi * row["noise_hz"] * time + math.radians(row["noise_deg"])
    level = row["level_0"] + slope * time + row["noise"] * np.sin(angle)
    return int(np.count_nonzero(np.diff(level > row["f_th"] * row["vdd"])))


def test_threshold_is_the_stated_share_of_the_supply(engine: Engine, counts: Counts) -> None:
    draw = np.random.default_rng(1)
    rows = [
        edge_row(5e-3, vdd=float(draw.uniform(3, 15)), f_th=float(draw.uniform(0.3, 0.7)))
        for _ in range(counts(40, 200))
    ]
    out = run(engine, cases.noisy_edge(), rows)
    wanted = np.array([row["f_th"] * row["vdd"] for row in rows])
    np.testing.assert_allclose(out.column("level"), wanted, rtol=2e-3)
    assert (out.column("edges") == 1).all()


@pytest.mark.parametrize(("family", "supplies"), [("4000B", (5, 10, 15)), ("74HC", (4.5, 6.0))])
def test_output_levels_at_the_cards_currents(
    engine: Engine, figure: Figure, family: str, supplies: tuple[float, ...]
) -> None:
    """V_OL and V_OH at the tabulated currents within 5 % (JESD13-B and JESD7-A drive)."""
    tables = family_figures()[family]
    elements = (
        Element("V1", "V", ("vdd", "0"), Dc(Param("vdd"))),
        Element("V2", "V", ("pin", "0"), Dc(Param("level"))),
        cases.clock_input(("pin", "out", "vdd", "0")),
        Element("I1", "I", ("0", "out"), Dc(Param("into"))),
    )
    circuit = Circuit("levels", elements, (), ("clock_input",))
    point = Experiment(
        circuit, OperatingPoint(), ("v(out)",), "clock_input_cases:settled", ("out",)
    )
    rows, wanted = [], []
    for vdd in supplies:
        i_ol, i_oh, v_ol, v_oh = (
            tables[name].at(vdd).low if name[0] == "I" else tables[name].at(vdd).centre
            for name in ("I_OL", "I_OH", "V_OL_test", "V_OH_test")
        )
        drive = {"vnom": vdd, "i_ol": i_ol, "v_ol": v_ol, "i_oh": i_oh, "v_oh": vdd - v_oh}
        common = {"f_th": 0.5, "gain": 1000.0, "tau": 30e-9, "vdd": vdd, **drive}
        rows += [common | {"level": vdd, "into": i_ol}, common | {"level": 0.0, "into": -i_oh}]
        wanted += [v_ol, v_oh]
    found = run(engine, point, rows).column("out")
    figure(f"{family} levels {', '.join(f'{v:.3f}' for v in found)} V")
    drop = np.where(np.arange(len(found)) % 2, np.repeat(supplies, 2) - found, found)
    limit = np.where(np.arange(len(found)) % 2, np.repeat(supplies, 2) - np.array(wanted), wanted)
    np.testing.assert_allclose(drop, limit, rtol=0.05)


# (noise Hz, ramp 0 to 10 V in s, noise amplitude V): transitions by 1 + 2 floor(2 a f / slope)
TABLE = [
    (1e5, 50e-6, 0.02, 1),
    (1e5, 50e-6, 0.5, 1),
    (1e5, 500e-6, 0.1, 3),
    (1e5, 500e-6, 0.5, 11),
    (1e5, 5e-3, 0.02, 5),
    (1e5, 5e-3, 0.1, 21),
    (1e6, 50e-6, 0.1, 3),
    (1e6, 50e-6, 0.5, 11),
    (1e6, 500e-6, 0.02, 5),
    (1e6, 500e-6, 0.1, 21),
]


def test_transitions_of_a_slow_noisy_edge(engine: Engine, figure: Figure) -> None:
    """A sine of amplitude a on a ramp crosses a level 1 + 2·floor(2·a·f/slope) times."""
    rows = [edge_row(rise, noise, hertz) for hertz, rise, noise, _ in TABLE]
    found = run(engine, cases.noisy_edge(), rows).column("edges")
    figure("edges " + ", ".join(f"{edges:.0f}" for edges in found))
    for edges, (hertz, rise, noise, expected) in zip(found, TABLE, strict=True):
        assert 1 + 2 * math.floor(2 * noise * hertz * rise / 10 + 1e-9) == expected
        assert edges == expected


def test_transitions_follow_the_crossings_of_random_noisy_edges(
    engine: Engine, counts: Counts, figure: Figure
) -> None:
    draw = np.random.default_rng(2)
    rows: Rows = []
    while len(rows) < counts(40, 300):
        hertz, rise = 10 ** draw.uniform(4.5, 6), 10 ** draw.uniform(-4.5, -2.5)
        noise = float(draw.uniform(0.02, 0.5))
        if 2 * noise * hertz * rise / 10 < 40:
            rows.append(edge_row(rise, noise, hertz, float(draw.uniform(0, 360)), tau=5e-9))
    found = run(engine, cases.noisy_edge(), rows).column("edges")
    wanted = np.array([ideal_crossings(row) for row in rows])
    error = np.abs(found - wanted)
    figure(f"up to {wanted.max()} crossings, largest miscount {error.max():.0f}")
    assert wanted.max() > 20
    assert (found % 2 == 1).all()
    assert (error <= np.maximum(2, 0.05 * wanted)).all()


def test_noise_far_above_the_own_bandwidth_is_hidden(engine: Engine) -> None:
    """At 50 MHz a lag of 30 ns leaves a tenth: the input does not follow each crossing."""
    slow, fast = edge_row(5e-3, 0.02), edge_row(500e-6, 0.02, 5e7)
    found = run(engine, cases.noisy_edge(), [slow, fast]).column("edges")
    assert ideal_crossings(slow) == 5
    assert ideal_crossings(fast) > 100
    assert found.tolist() == [5.0, 1.0]


def lead_row(rise_s: float, lead_r: float, lead_l: float, load: float) -> dict[str, float]:
    row = {"f_th": 0.5, "gain": 2000.0, "tau": 5e-9, "vdd": 5.0, **cases.FROM_HC}
    row |= {"i_ol": 48e-3, "i_oh": 48e-3}  # eight outputs change together
    slope = 5 / rise_s
    half = max(60 * slope * row["tau"], 0.06)
    stop = 2 * half / slope
    row |= {"level_0": 2.5 - half, "level_1": 2.5 + half, "stop": stop, "step": row["tau"] / 5}
    return row | {"lead_r": lead_r, "lead_l": lead_l, "load": load}


def test_shared_ground_lead_makes_a_clean_slow_edge_oscillate(
    engine: Engine, figure: Figure
) -> None:
    """Eight 50 pF loads through 20 nH: a 0.1 µs edge passes once, a 20 µs edge many times."""
    rows = [
        lead_row(0.1e-6, 0.1, 20e-9, 400e-12),
        lead_row(20e-6, 0.1, 20e-9, 400e-12),
        lead_row(20e-6, 1e-3, 1e-12, 400e-12),
    ]
    fast, slow, ideal = run(engine, cases.common_lead(), rows).column("edges")
    figure(f"0.1 µs edge {fast:.0f}, 20 µs edge {slow:.0f}, without the lead {ideal:.0f}")
    assert ideal == 1
    assert slow >= 5
    assert fast <= 3


def test_threshold_follows_the_local_ground_pin(engine: Engine) -> None:
    """With 0.5 V between the vss pin and ground the threshold is 0.5 V + f_th·(VDD − 0.5 V)."""
    elements = (
        Element("V1", "V", ("vdd", "0"), Dc(Param("vdd"))),
        Element("V2", "V", ("pin", "0"), cases.ramp()),
        Element("V3", "V", ("vss", "0"), Dc(0.5)),
        cases.clock_input(("pin", "out", "vdd", "vss")),
        Element("C1", "C", ("out", "0"), 50e-12),
    )
    experiment = cases.experiment(elements, "swings", ("edges", "level"))
    row = edge_row(5e-3, f_th=0.4) | {"level_0": 3.5, "level_1": 5.5, "stop": 1e-3, "step": 1e-6}
    del row["noise"], row["noise_hz"], row["noise_deg"]
    level = run(engine, experiment, [row]).column("level")[0]
    assert level == pytest.approx(0.5 + 0.4 * 9.5, rel=1e-3)


def test_no_random_sample_is_lost(engine: Engine, counts: Counts, figure: Figure) -> None:
    draw = np.random.default_rng(3)

    def one(values: NDArray[np.float64]) -> dict[str, float]:
        return edge_row(
            10 ** (-6 + 3 * values[0]),
            0.3 * values[1],
            10 ** (4 + 2 * values[2]),
            360 * values[3],
            vdd=3 + 12 * values[4],
            f_th=0.3 + 0.4 * values[5],
            gain=200 * 25 ** values[6],
            tau=5e-9 * 20 ** values[7],
        )

    rows = [one(draw.uniform(0, 1, 8)) for _ in range(counts(60, 500))]
    out = run_random(engine, cases.noisy_edge(), rows, figure)
    assert (out.column("edges") >= 1).all()
