"""Ways in which ngspice gives a wrong answer, or none, without an error: each is caught.

Every deck here was seen to return "no error" from the library while its data were missing,
partial, stale or wrong.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

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
    Transient,
)
from analog.engine import Engine, netlist, open_engine

GOOD = {"lines": ["V1 a 0 1", "R1 a b 1k", "C1 b 0 1u"], "save": "v(b)"}
Counts = Callable[[int, int], int]
SCRIPT = Path(__file__).with_name("bare_session.py")


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def run_decks(*decks: dict[str, Any]) -> list[dict[str, Any]]:
    """Run decks one after the other in one fresh process; as many answers as it lived for."""
    done = subprocess.run(
        [sys.executable, "-W", "ignore", str(SCRIPT)],
        input=json.dumps(decks),
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        check=False,
    )
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_missing_model_leaves_no_stale_plot() -> None:
    # The load returns 0 and so does the run; the plot before it would still be current.
    bad = {"lines": ["V1 a 0 1", "R1 a b 1k", "D1 b 0 absent"], "save": "v(b)"}
    before, failed, after = run_decks(GOOD, bad, GOOD)
    assert before["kind"] == after["kind"] == "data"
    assert before["last"] == after["last"]
    assert failed["kind"] == "bad circuit"
    assert "absent" in failed["reason"]


def test_stale_data_are_refused() -> None:
    # A command that runs the circuit early leaves a plot which a failed run would hand out.
    (answer,) = run_decks(GOOD | {"commands": ["run"]})
    assert answer["kind"] == "bad circuit"
    assert "earlier run" in answer["reason"]


def test_singular_circuit_did_not_converge() -> None:
    loop, after = run_decks({"lines": ["V1 a 0 1", "V2 a 0 2"], "save": "v(a)"}, GOOD)
    assert loop["kind"] == "did not converge"
    assert "singular" in loop["reason"]
    assert after["kind"] == "data"


def test_run_that_breaks_off_is_not_taken_for_data() -> None:
    bad = {
        "lines": [
            "I1 0 b PULSE(0 1 0.5m 1u 1u 1 2)",
            "B1 b 0 i=v(b)*(v(b)<1e-2 ? 1 : -1e3)",
            "C1 b 0 1e-18",
            "R1 b 0 1e9",
        ],
        "save": "v(b)",
    }
    (answer,) = run_decks(bad)
    assert answer["kind"] == "did not converge"
    assert "Timestep too small" in answer["reason"]
    assert "of 0.001 s" in answer["reason"]


def test_run_that_stops_early_without_a_word_is_truncated() -> None:
    (answer,) = run_decks(GOOD | {"commands": ["stop when time > 0.5m"]})
    assert answer["kind"] == "truncated"
    assert "of 0.001 s" in answer["reason"]


def test_sweep_that_stops_early_is_truncated() -> None:
    lines = ["V1 a 0 1", "R1 a b 1k", "R2 b 0 1k"]
    whole, short = run_decks(
        {"lines": lines, "save": "v(b)", "analysis": "dc"},
        {"lines": lines, "save": "v(b)", "analysis": "dc", "line": ".dc V1 0 0.5 0.1"},
    )
    assert (whole["kind"], whole["points"]) == ("data", 11)
    assert short["kind"] == "truncated"


def test_undefined_parameter_ends_the_session() -> None:
    # Afterwards the library "cannot recover": calling it again would be undefined.
    refused, *later = run_decks(
        GOOD | {"lines": ["V1 a 0 1", "R1 a b {nowhere}", "C1 b 0 1u"]}, GOOD
    )
    assert refused["kind"] in ("dead", "bad circuit")
    assert "nowhere" in refused["reason"].lower()
    # Either it survived and works, or nothing more is asked of it.
    assert [answer["kind"] for answer in later] == ([] if refused["kind"] == "dead" else ["data"])


def test_misspelt_model_parameter_is_no_mere_warning() -> None:
    lines = ["V1 a 0 1", "R1 a b 1k", "D1 b 0 d", ".model d D(IS=1e-14 ROHS=3)"]
    (answer,) = run_decks({"lines": lines, "save": "v(b)"})
    assert answer["kind"] == "bad circuit"
    assert "rohs" in answer["reason"].lower()


def test_missing_trace_is_no_data() -> None:
    (answer,) = run_decks(GOOD | {"save": "v(elsewhere)"})
    assert answer["kind"] == "bad circuit"


def test_rescued_operating_point_is_data() -> None:
    # Newton's method diverges on the flat ends of the arctangent; gmin stepping, which ngspice
    # reports on its error stream, finds the one solution.
    lines = ["B1 b 0 i = 1e-3*atan(5*(v(b)-3))", "R1 b 0 10k"]
    (answer,) = run_decks({"lines": lines, "save": "v(b)", "analysis": "op"})
    assert any("gmin stepping" in message for message in answer.get("messages", []))
    level = answer["last"]
    assert 1e-3 * np.arctan(5 * (level - 3)) == pytest.approx(-level / 1e4, rel=1e-6)


def test_operating_point_beyond_rescue_did_not_converge() -> None:
    lines = ["B1 b 0 i = atan(5*(v(b)-3))", "R1 b 0 1e9"]
    (answer,) = run_decks({"lines": lines, "save": "v(b)", "analysis": "op"})
    assert answer["kind"] == "did not converge"


def test_a_changed_model_is_reloaded_not_altered(figure: Callable[[str], None]) -> None:
    # ``altermod`` with two parameters applies the first only (ngspice 39); reloading is the way.
    lines = ["V1 d 0 5", "V2 g 0 3", "M1 d g 0 0 n", ".model n NMOS(VTO=2 KP=100u)"]
    deck = {"lines": lines, "save": "i(v1)", "analysis": "op"}
    altered = deck | {"commands": ["altermod n vto=1 kp=200u"]}
    rewritten = deck | {"lines": [*lines[:3], ".model n NMOS(VTO=1 KP=200u)"]}
    first, second = run_decks(altered, rewritten)
    assert second["last"] == pytest.approx(-200e-6 / 2 * 4, rel=1e-6)
    figure(f"altermod gives {first['last'] / second['last']:.2f} of the current")


def test_failed_rows_keep_reason_and_netlist(engine: Engine) -> None:
    rows = np.array([[2e-3], [0.5e-3], [3e-3]])
    out = engine.run(cases.breaking_off_experiment(), ("start_s",), rows)
    assert list(out.failures) == [1]
    failure = out.failures[1]
    assert failure.kind == "did not converge"
    assert "sqrt" in failure.reason
    assert ".param start_s=0.0005\n" in failure.netlist
    assert failure.attempts == 2
    assert np.isnan(out.values[1, 0])
    assert np.isfinite(out.values[[0, 2], 0]).all()
    assert out.runs == 4


def test_default_step_is_never_used() -> None:
    # Left to itself ngspice takes a fiftieth of the span, or the print step.
    text = netlist(cases.rc_experiment(), dict(zip(cases.NAMES, cases.ROW, strict=True)), "step")
    (line,) = [line for line in text.splitlines() if line.startswith(".tran")]
    assert line.split()[1:5] == ["1e-05", "0.002", "0.0", "1e-05"]


def test_interpolation_of_output_is_never_asked_for() -> None:
    # Once used it stays in force for every later circuit of the process.
    for experiment in (cases.rc_experiment(), cases.diode_experiment()):
        row = dict.fromkeys(experiment.circuit.parameters(), 1.0)
        assert "interp" not in netlist(experiment, row, "options").lower()


def expression(text: str, *more: Element) -> Experiment:
    return cases.operating_point(
        Element("V1", "V", ("in", "0"), Dc(2.0)),
        Element("B1", "B", ("out", "0"), text),
        Element("R1", "R", ("out", "0"), 1e3),
        *more,
    )


def test_parameters_in_expressions_keep_their_brackets(engine: Engine) -> None:
    # ngspice expands {a-b} as bare text: {a-b}*x would become a - b*x.
    row = np.array([[-3.0, 2.0]])
    out = engine.run(expression("v = 1-{a}*v(in)-({a}-{b})*v(in)"), ("a", "b"), row)
    assert out.values[0, 0] == pytest.approx(1 + 3 * 2 + 5 * 2)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("v = 10M*v(in)", "scale letter"),  # read as 10 milli
        ("v = v(in)^3", "not understood"),  # loses the sign
        ("v = v(in)**3", "sign is lost"),
        ("v = v(imn)", "does not have"),  # would be a new node at 0 V
        ("v = i(v2)", "does not have"),
        ("v = {a-b}*v(in)", "not understood"),
        ("v = pwl(v(in), 0, 0, 1, {a}) > 1 ? 1 : 0", "pwl"),  # ends the process
    ],
)
def test_expressions_ngspice_misreads_are_refused(text: str, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        netlist(expression(text), {"a": 1.0, "b": 1.0}, "refused")


def test_ngspice_does_misread_powers_and_scale_letters() -> None:
    # Shows that the refusals above are needed with the library in use.
    lines = ["V1 a 0 -2", "B1 b 0 v = v(a)^3", "R1 b 0 1k", "B2 c 0 v = 10M", "R2 c 0 1k"]
    power, scale = run_decks(
        {"lines": lines, "save": "v(b)", "analysis": "op"},
        {"lines": lines, "save": "v(c)", "analysis": "op"},
    )
    assert abs(power["last"]) == pytest.approx(8.0)  # +8 in ngspice 39
    assert scale["last"] == pytest.approx(10e-3)


def test_numbers_are_written_without_scale_letters() -> None:
    row = {"level": 10e6, "resistance": 1e-3, "capacitance": 47e-9}
    text = netlist(cases.rc_experiment(), row, "numbers")
    assert ".param level=10000000.0\n" in text
    assert ".param resistance=0.001\n" in text
    assert ".param capacitance=4.7e-08\n" in text


def test_node_called_gnd_is_refused() -> None:
    # It is node 0 everywhere, even as a sub-circuit's own pin.
    with pytest.raises(ValueError, match="gnd"):
        Element("R1", "R", ("a", "gnd"), 1.0)


def test_pulses_between_steps_are_not_missed(engine: Engine, counts: Counts) -> None:
    # Pulses of 100 ns at steps of 100 µs. Given as a PULSE train, ngspice 44.2 would leave out
    # one in eight.
    dice = np.random.default_rng(20)
    for _ in range(counts(10, 100)):
        delay, period = dice.uniform(1e-5, 3e-4), dice.uniform(1e-4, 3e-4)
        wave = Pulse(0.0, 1.0, delay, 1e-8, 1e-8, 1e-7, Param("period"))
        experiment = Experiment(
            Circuit(
                "burst",
                (
                    Element("V1", "V", ("out", "0"), wave),
                    Element("R1", "R", ("out", "0"), 1e3),
                ),
            ),
            Transient(stop_s=1e-3, step_s=1e-4),
            ("v(out)",),
            "engine_cases:level_out",
            ("out",),
        )
        run = engine.traces(experiment, ("period",), np.array([period]))
        high = (run.trace("v(out)") > 0.5).astype(int)
        seen = run.time[1:][np.diff(high) == 1]
        due = np.arange(delay, 1e-3 - 1.2e-7, period)
        np.testing.assert_allclose(seen, due, atol=2e-8)


def test_pulses_that_do_not_fit_are_bad_circuits(engine: Engine) -> None:
    wave = Pulse(0.0, 1.0, 0.0, 1e-6, 1e-6, Param("width"), 1e-4)
    experiment = Experiment(
        Circuit(
            "overlong",
            (Element("V1", "V", ("out", "0"), wave), Element("R1", "R", ("out", "0"), 1e3)),
        ),
        Transient(stop_s=1e-3, step_s=1e-5),
        ("v(out)",),
        "engine_cases:level_out",
        ("out",),
    )
    out = engine.run(experiment, ("width",), np.array([[5e-5], [2e-4]]))
    assert {i: f.kind for i, f in out.failures.items()} == {1: "bad circuit"}
    assert "does not fit its period" in out.failures[1].reason


def test_expression_in_time_needs_breakpoints(engine: Engine) -> None:
    burst = "v = {height}*exp(-abs(time-3.3e-4)/1e-7)"
    elements = (
        Element("B1", "B", ("out", "0"), burst),
        Element("R1", "R", ("out", "0"), 1e3),
    )
    bare = Experiment(
        Circuit("burst", elements),
        Transient(stop_s=1e-3, step_s=1e-4),
        ("v(out)",),
        "engine_cases:level_out",
        ("out",),
    )
    with pytest.raises(ValueError, match="no breakpoints"):
        netlist(bare, {"height": 1.0}, "bare")
    timing = (
        Element("V1", "V", ("tick", "0"), Pulse(0, 1, 3.3e-4, 1e-7, 1e-7, 1e-7, 1.0)),
        Element("R2", "R", ("tick", "0"), 1e3),
    )
    timed = Experiment(
        Circuit("burst", (*elements, *timing)), bare.analysis, bare.saves, bare.reducer, ("out",)
    )
    run = engine.traces(timed, ("height",), np.array([2.0]))
    assert run.trace("v(out)").max() == pytest.approx(2.0, rel=1e-6)


@pytest.mark.parametrize(
    ("name", "value", "told"),
    [
        ("resistance", 0.0, "R1's value (resistance) is 0.0"),  # would become 1 mΩ
        ("resistance", -1.0, "must be above 0"),
        ("capacitance", -1e-9, "must be 0 or more"),
        ("level", np.nan, "level is not finite"),
        ("level", -np.inf, "level is not finite"),
    ],
)
def test_rows_ngspice_would_swallow_are_bad_circuits(
    engine: Engine, name: str, value: float, told: str
) -> None:
    rows = np.array([cases.ROW, cases.ROW])
    rows[1, cases.NAMES.index(name)] = value
    out = engine.run(cases.rc_experiment(), cases.NAMES, rows)
    assert list(out.failures) == [1]
    assert out.failures[1].kind == "bad circuit"
    assert told in out.failures[1].reason
    assert np.isnan(out.values[1]).all()


def test_unknown_model_and_arguments_are_refused_before_the_run() -> None:
    diode = Element("D1", "D", ("out", "0"), model="absent")
    source = Element("I1", "I", ("0", "out"), Dc(1e-3))
    with pytest.raises(ValueError, match="no D model 'absent'"):
        netlist(cases.operating_point(source, diode), {}, "model")
    other = Model("absent", "NPN", ())
    with pytest.raises(ValueError, match="no D model 'absent'"):
        netlist(cases.operating_point(source, diode, models=(other,)), {}, "model")


def test_reserved_parameter_names_are_refused() -> None:
    source = Element("V1", "V", ("out", "0"), Dc(Param("temper")))
    with pytest.raises(ValueError, match="belongs to ngspice"):
        netlist(cases.operating_point(source), {"temper": 1.0}, "reserved")
