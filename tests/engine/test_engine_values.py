"""Values that come back from the engine against closed forms, in any order, from any worker."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import engine_cases as cases
import numpy as np
import pytest

from analog.circuits.record import (
    Circuit,
    Dc,
    Element,
    Experiment,
    Model,
    Param,
    Pulse,
    Pwl,
    Sine,
    Transient,
)
from analog.engine import Engine, open_engine, refined
from analog.errors import RunError

Counts = Callable[[int, int], int]
EMPTY = np.empty((1, 0))


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def test_charging_meets_the_closed_form(engine: Engine, counts: Counts) -> None:
    # v(t) = V(1 - exp(-t/RC)), so V/2 is reached at RC ln 2.
    rows = cases.spread_rows(counts(40, 400), np.random.default_rng(1))
    out = engine.run(cases.rc_experiment(), cases.NAMES, rows)
    tau = rows[:, 1] * rows[:, 2]
    assert not out.failures
    np.testing.assert_allclose(out.column("half_time"), tau * np.log(2), atol=1e-7)
    np.testing.assert_allclose(out.column("last"), -rows[:, 0] * np.expm1(-2e-3 / tau), rtol=1e-5)


def test_order_and_number_of_workers_change_no_bit(engine: Engine, counts: Counts) -> None:
    rows = cases.spread_rows(counts(60, 600), np.random.default_rng(2))
    order = np.random.default_rng(3).permutation(len(rows))
    experiment = cases.rc_experiment()
    forward = engine.run(experiment, cases.NAMES, rows).values
    with open_engine(jobs=2) as pair:
        shuffled = pair.run(experiment, cases.NAMES, rows[order]).values
    assert forward[order].tobytes() == shuffled.tobytes()


def test_traces_carry_the_same_values(engine: Engine) -> None:
    experiment = cases.rc_experiment()
    run = engine.traces(experiment, cases.NAMES, cases.ROW)
    values = engine.run(experiment, cases.NAMES, cases.ROW[None]).values[0]
    assert run.values == dict(zip(experiment.outputs, values.tolist(), strict=True))
    assert run.time[-1] == pytest.approx(2e-3, rel=1e-9)
    assert np.all(np.diff(run.time) > 0)
    drop = cases.ROW[1] * -run.trace("i(v1)")
    np.testing.assert_allclose(run.trace("v(out)")[1:] + drop[1:], cases.ROW[0], rtol=1e-6)
    with pytest.raises(KeyError, match=r"v\(nothing\) was not saved"):
        run.trace("v(nothing)")


def test_never_happened_is_nan_and_no_failure(engine: Engine) -> None:
    rows = np.array([[5.0, 1e6, 1e-6], cases.ROW])
    out = engine.run(cases.rc_experiment(), cases.NAMES, rows)
    assert np.isnan(out.column("half_time")).tolist() == [True, False]
    assert not out.failures


def test_temperature_follows_the_row_and_never_the_row_before(engine: Engine) -> None:
    # dV/dT of a junction at constant current: (V - EG - (XTI) kT/q)/T (the textbook law)
    experiment, names = cases.diode_experiment(), ("saturation", "ambient_c")
    cold_hot = np.array([[1e-14, 25.0], [1e-14, 85.0], [1e-14, 25.0], [1e-14, 35.0]])
    out = engine.run(experiment, names, cold_hot).column("out")
    default = engine.run(experiment, names[:1], np.array([[1e-14]])).column("out")
    assert out[0] == out[2] == default[0]
    kelvin = 298.15
    thermal = 1.380649e-23 * kelvin / 1.602176634e-19
    assert out[0] == pytest.approx(thermal * np.log(1e-3 / 1e-14), rel=1e-4)
    slope = (out[0] - 1.11 - 3 * thermal) / kelvin
    assert (out[3] - out[0]) / 10 == pytest.approx(slope, rel=0.02)


def test_sweep_and_operating_point(engine: Engine) -> None:
    divider = (
        Element("V1", "V", ("in", "0"), Dc(Param("level"))),
        Element("R1", "R", ("in", "out"), 3e3),
        Element("R2", "R", ("out", "0"), 1e3),
    )
    point = engine.traces(cases.operating_point(*divider), ("level",), np.array([8.0]))
    assert point.time.tolist() == [0.0]
    assert point.trace("v(out)") == pytest.approx([2.0])
    swept = engine.traces(cases.sweep(*divider), ("level",), np.array([8.0]))
    assert swept.sweep is not None
    np.testing.assert_allclose(swept.sweep, np.arange(0, 5.01, 0.25), atol=1e-12)
    np.testing.assert_allclose(swept.trace("v(out)"), swept.sweep / 4, atol=1e-9)
    finer = engine.traces(refined(cases.sweep(*divider)), ("level",), np.array([8.0]))
    assert finer.trace("v(out)").size == 201


def test_every_kind_of_element_obeys_its_law(engine: Engine) -> None:
    elements = (
        Element("V1", "V", ("in", "0"), Dc(Param("level"))),
        Element("VM", "V", ("in", "m"), Dc(0.0)),
        Element("R1", "R", ("m", "0"), 1e3),
        Element("E1", "E", ("e", "0"), 3.0, control=("in", "0")),
        Element("RE", "R", ("e", "0"), 1e3),
        Element("G1", "G", ("0", "g"), 2e-3, control=("in", "0")),
        Element("RG", "R", ("g", "0"), 1e3),
        Element("F1", "F", ("0", "f"), Param("gain"), control=("VM",)),
        Element("RF", "R", ("f", "0"), 1e3),
        Element("H1", "H", ("h", "0"), 500.0, control=("VM",)),
        Element("RH", "R", ("h", "0"), 1e3),
        Element("B1", "B", ("b", "0"), "v = {gain}-{level}*v(in)"),
        Element("RB", "R", ("b", "0"), 1e3),
        Element("I1", "I", ("0", "i"), Dc(1e-3)),
        Element("L1", "L", ("i", "j"), 1e-3),
        Element("RI", "R", ("j", "0"), 2e3),
        Element("S1", "S", ("in", "s"), control=("in", "0"), model="closing"),
        Element("RS", "R", ("s", "0"), 1e3),
        Element("Q1", "Q", ("in", "in", "q"), model="bipolar"),
        Element("RQ", "R", ("q", "0"), 1e3),
        Element(
            "M1", "M", ("n", "in", "0", "0"), model="mos", arguments=(("W", 1e-5), ("L", 1e-5))
        ),
        Element("RN", "R", ("in", "n"), 1e5),
    )
    models = (
        Model("closing", "SW", (("VT", 1.0), ("RON", 1e-3), ("ROFF", 1e9))),
        Model("bipolar", "NPN", (("IS", 1e-15), ("BF", 100.0))),
        Model("mos", "NMOS", (("VTO", 1.0), ("KP", 1e-3))),
    )
    expected = {"e": 12.0, "g": 8.0, "f": 10.0, "h": 2.0, "b": 2.5 - 16.0, "j": 2.0, "s": 4.0}
    experiment = Experiment(
        Circuit("kinds", elements, models),
        cases.operating_point(elements[0]).analysis,
        (*(f"v({node})" for node in expected), "v(q)", "v(n)"),
        "engine_cases:nothing",
        (),
    )
    run = engine.traces(experiment, ("level", "gain"), np.array([4.0, 2.5]))
    for node, level in expected.items():
        assert run.trace(f"v({node})")[0] == pytest.approx(level, rel=1e-5), node
    # Emitter follower: V_BE = V_T ln(I_E/I_S); triode region: I = KP((V_G - V_T)V - V²/2).
    emitter = run.trace("v(q)")[0]
    assert 4.0 - emitter == pytest.approx(0.025693 * np.log(emitter / 1e3 / 1e-15), rel=2e-3)
    drain = run.trace("v(n)")[0]
    assert (4.0 - drain) / 1e5 == pytest.approx(1e-3 * (3.0 * drain - drain**2 / 2), rel=1e-3)


@pytest.mark.parametrize(
    ("wave", "level"),
    [
        (Sine(2.0, Param("f"), 90.0, 1.0), lambda t: 1 + 2 * np.cos(2 * np.pi * 500 * t)),
        (
            Pulse(-1.0, 3.0, 5e-4, 1e-4, 1e-4, 4e-4, 1e-2),
            lambda t: np.interp(t, [5e-4, 6e-4, 1e-3, 1.1e-3], [-1, 3, 3, -1]),
        ),
        (
            Pwl(((0.0, 0.0), (Param("corner"), 2.0), (1.5e-3, -2.0))),
            lambda t: np.interp(t, [0, 1e-3, 1.5e-3], [0, 2, -2]),
        ),
    ],
    ids=["sine", "pulse", "pwl"],
)
def test_sources_follow_their_formula(
    engine: Engine, wave: Sine | Pulse | Pwl, level: Callable[[np.ndarray], np.ndarray]
) -> None:
    elements = (
        Element("V1", "V", ("out", "0"), wave),
        Element("R1", "R", ("out", "0"), 1e3),
    )
    experiment = Experiment(
        Circuit("wave", elements),
        Transient(stop_s=2e-3, step_s=1e-5),
        ("v(out)",),
        "engine_cases:level_out",
        ("out",),
    )
    run = engine.traces(experiment, ("f", "corner"), np.array([500.0, 1e-3]))
    np.testing.assert_allclose(run.trace("v(out)"), level(run.time), atol=1e-6)


def test_recording_can_start_late(engine: Engine) -> None:
    run = engine.traces(cases.rc_experiment(record_from_s=1e-3), cases.NAMES, cases.ROW)
    assert run.time[0] >= 1e-3 - 1e-5
    assert run.trace("v(out)")[0] == pytest.approx(-5 * np.expm1(-run.time[0] / 1e-3), rel=1e-4)


def test_refined_run_comes_closer(engine: Engine) -> None:
    coarse = cases.rc_experiment(step_s=1e-4, reltol=1e-2, trtol=7.0)
    exact = -5 * np.expm1(-2.0)
    errors = [
        abs(engine.run(e, cases.NAMES, cases.ROW[None]).column("last")[0] - exact)
        for e in (coarse, refined(coarse))
    ]
    assert errors[1] < errors[0] / 20


def test_progress_counts_every_row(engine: Engine) -> None:
    seen: list[tuple[int, int]] = []
    rows = np.vstack([cases.spread_rows(9, np.random.default_rng(4)), [np.nan, 1.0, 1.0]])
    engine.run(cases.rc_experiment(), cases.NAMES, rows, lambda *done: seen.append(done))
    assert seen[-1] == (10, 10)
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)


@pytest.mark.parametrize(
    ("reducer", "told"),
    [
        ("broken", "ZeroDivisionError: planted"),
        ("forgetful", "KeyError: 'last'"),
        ("infinite", "half_time is infinite"),
        ("missing", "has no attribute 'missing'"),
    ],
)
def test_faulty_measuring_code_is_no_sample_failure(
    engine: Engine, reducer: str, told: str
) -> None:
    with pytest.raises(RunError, match=told) as caught:
        engine.run(cases.rc_experiment(reducer), cases.NAMES, cases.ROW[None])
    assert caught.value.kind == "measuring code failed"
    # and the engine still works
    assert not engine.run(cases.rc_experiment(), cases.NAMES, cases.ROW[None]).failures


def test_rows_must_suit_the_names(engine: Engine) -> None:
    experiment = cases.rc_experiment()
    with pytest.raises(ValueError, match="lack the parameters capacitance"):
        engine.run(experiment, cases.NAMES[:2], np.ones((1, 2)))
    with pytest.raises(ValueError, match="do not suit 3 names"):
        engine.run(experiment, cases.NAMES, np.ones((1, 2)))
    with pytest.raises(ValueError, match="repeat"):
        engine.run(experiment, (*cases.NAMES, "level"), np.ones((1, 4)))


def test_no_rows_give_no_values(engine: Engine) -> None:
    out = engine.run(cases.rc_experiment(), cases.NAMES, np.empty((0, 3)))
    assert out.values.shape == (0, 2)
    assert out.runs == 0


def test_version_is_told(engine: Engine) -> None:
    assert engine.name == "ngspice"
    assert engine.version.split(".")[0].rstrip("+").isdigit()
    tested = engine.version.split(".")[0] in ("39", "44")
    assert (engine.note == "") == tested
