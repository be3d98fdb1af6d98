"""The netlist as text: what stands in it, in which form, and what is refused. No engine."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from analog.circuits.record import (
    Circuit,
    Dc,
    DcSweep,
    Element,
    Experiment,
    Model,
    OperatingPoint,
    Param,
    Pulse,
    Pwl,
    Sine,
    Transient,
)
from analog.engine import netlist, refined
from analog.engine.build import prepare, printable, saved_vector
from analog.engine.sources import number

SOURCE = Element("V1", "V", ("in", "0"), Dc(Param("level")))
LOAD = Element("R1", "R", ("in", "0"), Param("load"))
ROW = {"level": 5.0, "load": 1e3, "stop": 2e-3, "unused": 3.0}


def experiment(*elements: Element, **changes: object) -> Experiment:
    circuit = Circuit("text", elements or (SOURCE, LOAD))
    analysis = Transient(stop_s=Param("stop"), step_s=1e-5)
    base = Experiment(circuit, analysis, ("v(in)",), "module:function", ("out",))
    return replace(base, **changes)  # type: ignore[arg-type]


def lines(chosen: Experiment, row: dict[str, float] = ROW) -> list[str]:
    return netlist(chosen, row, "a title").splitlines()


def test_whole_text() -> None:
    assert lines(experiment()) == [
        "* a title",
        ".param level=5.0",
        ".param load=1000.0",
        "V1 in 0 DC {level}",
        "R1 in 0 {load}",
        ".options noacct noinit tnom=25.0 reltol=0.0001 abstol=1e-10 vntol=1e-06 method=trap "
        "trtol=1.0",
        ".save v(in)",
        ".temp 25.0",
        ".tran 1e-05 0.002 0.0 1e-05",
        ".meas tran largest_v_in max v(in)",
        ".meas tran smallest_v_in min v(in)",
        ".end",
    ]


def test_engine_gets_the_numbers_written_in() -> None:
    library = ".subckt half in out level=1"
    deck = replace(prepare(experiment()), body=("R1 in 0 {load}", library, "R2 in out {level}"))
    fixed = replace(deck, body=(*deck.body, ".ends half", "B1 in 0 i=({level})*{load}"))
    written = [line if isinstance(line, str) else line.filled(ROW) for line in fixed.with_blanks()]
    assert written == [
        "R1 in 0 1000.0",
        library,
        "R2 in out {level}",  # its own parameter, not the row's
        ".ends half",
        "B1 in 0 i=(5.0)*1000.0",
    ]


@pytest.mark.parametrize("value", [0.1 + 0.2, 1 / 3, 1e-15, 47e-9, 4.7e22, -5e-324, 0.0])
def test_numbers_read_back_unchanged(value: float) -> None:
    text = number(value)
    assert float(text) == value
    assert re.fullmatch(r"-?\d+(\.\d+)?(e[+-]\d+)?", text)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_what_is_no_number_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="no number to simulate with"):
        netlist(experiment(), ROW | {"level": value}, "title")


def test_ambient_temperature_comes_from_the_row() -> None:
    assert ".temp -20.0" in lines(experiment(), ROW | {"ambient_c": -20.0})


def test_sine_has_neither_delay_nor_damping() -> None:
    # With them ngspice sets no breakpoint where the wave begins.
    wave = Sine(Param("level"), 50.0, 90.0, 1.0)
    text = lines(experiment(Element("V1", "V", ("in", "0"), wave), LOAD))
    assert "V1 in 0 SIN(1.0 {level} 50.0 0.0 0.0 90.0)" in text


def test_pulse_and_pwl() -> None:
    pulse = Element("V1", "V", ("in", "0"), Pulse(0.0, 5.0, 1e-3, 1e-6, 2e-6, 3e-3, 1e-2))
    points = Element("I2", "I", ("in", "0"), Pwl(((0.0, 0.0), (Param("load"), Param("level")))))
    text = lines(experiment(pulse, points, analysis=Transient(1e-2, 1e-5)))
    assert "V1 in 0 PULSE(0.0 5.0 0.001 1e-06 2e-06 0.003 0.01)" in text
    assert "I2 in 0 PWL(0.0 0.0 {load} {level})" in text


def test_pulse_trains_are_written_out() -> None:
    # ngspice 44.2 leaves out pulses of a PULSE train.
    train = Pulse(0.0, Param("level"), 0.0, 1e-4, 1e-4, 2e-4, Param("period"))
    chosen = experiment(Element("V1", "V", ("in", "0"), train), LOAD)
    text = lines(chosen, ROW | {"stop": 1.25e-3, "period": 5e-4})
    (line,) = [line for line in text if line.startswith("V1")]
    values = [float(word) for word in line.partition("(")[2].rstrip(")").split()]
    times, levels = values[::2], values[1::2]
    starts = [0.0, 5e-4, 1e-3]
    assert times == pytest.approx(
        [start + step for start in starts for step in (0.0, 1e-4, 3e-4, 4e-4)]
    )
    assert levels == [0.0, 5.0, 5.0, 0.0] * 3


def test_pulse_train_without_gaps() -> None:
    train = Pulse(0.0, 1.0, 0.0, 1e-4, 1e-4, 3e-4, 5e-4)
    text = lines(experiment(Element("V1", "V", ("in", "0"), train), LOAD))
    (line,) = [line for line in text if line.startswith("V1")]
    times = [float(word) for word in line.partition("(")[2].rstrip(")").split()[::2]]
    assert times == sorted(set(times))
    assert len(times) == 1 + 3 * 4


@pytest.mark.parametrize(
    ("period", "told"), [(1e-4, "does not fit"), (2e-7, "does not fit"), (4e-4, "")]
)
def test_pulse_longer_than_its_period(period: float, told: str) -> None:
    train = Pulse(0.0, 1.0, 0.0, 1e-5, 1e-5, 3e-4, Param("period"))
    chosen = experiment(Element("V1", "V", ("in", "0"), train), LOAD)
    if told:
        with pytest.raises(ValueError, match=told):
            lines(chosen, ROW | {"period": period})
    else:
        assert lines(chosen, ROW | {"period": period})


def test_too_many_pulses() -> None:
    train = Pulse(0.0, 1.0, 0.0, 1e-9, 1e-9, 1e-7, 1e-6)
    with pytest.raises(ValueError, match="too many to write out"):
        lines(experiment(Element("V1", "V", ("in", "0"), train), LOAD))


def test_initial_conditions() -> None:
    capacitor = Element("C1", "C", ("in", "0"), 1e-6, initial=Param("level"))
    analysis = Transient(1e-3, 1e-6, use_initial=True, initial=(("in", Param("level")),))
    text = lines(experiment(SOURCE, LOAD, capacitor, analysis=analysis))
    assert "C1 in 0 1e-06 ic={level}" in text
    assert ".ic v(in)=5.0" in text
    assert ".tran 1e-06 0.001 0.0 1e-06 uic" in text


def test_sweep_and_point() -> None:
    sweep = experiment(analysis=DcSweep("V1", 5.0, 0.0, 0.5))
    assert ".dc V1 5.0 0.0 -0.5" in lines(sweep)
    assert ".meas dc largest_v_in max v(in)" in lines(sweep)
    assert ".dc V1 5.0 0.0 -0.05" in lines(refined(sweep))
    point = lines(experiment(analysis=OperatingPoint()))
    assert ".op" in point
    assert ".print op v(in)" in point
    assert not [line for line in point if line.startswith((".meas", ".tran"))]


def test_refined_takes_smaller_steps() -> None:
    text = lines(refined(experiment(), 4))
    assert ".tran 2.5e-06 0.002 0.0 2.5e-06" in text
    assert "reltol=1e-06" in next(line for line in text if line.startswith(".options"))


def test_readings_get_the_row_s_numbers() -> None:
    chosen = experiment(
        readings=(("full", "when v(in)={level} rise=1"), ("half", "when v(in)={0.5*level}"))
    )
    assert ".meas tran full when v(in)=5.0 rise=1" in lines(chosen)
    assert ".meas tran half when v(in)=2.5" in lines(chosen)
    with pytest.raises(ValueError, match="no plain measurement"):
        lines(experiment(readings=(("half", "when v(in)={level}/2"),)))


def test_library_sub_circuit_stands_in_the_text_once() -> None:
    gates = tuple(
        Element(
            f"X{i}",
            "X",
            ("in", f"out{i}", "vdd", "0"),
            model="schmitt",
            arguments=(("v_p", Param("level")), ("v_n", 2.0)),
        )
        for i in (1, 2)
    )
    supply = Element("V2", "V", ("vdd", "0"), Dc(9.0))
    chosen = experiment(circuit=Circuit("gates", (SOURCE, LOAD, supply, *gates), (), ("schmitt",)))
    text = lines(chosen)
    assert sum(line.lower().startswith(".subckt schmitt") for line in text) == 1
    assert "X1 in out1 vdd 0 schmitt v_n=2.0 v_p={level}" in text or (
        "X1 in out1 vdd 0 schmitt v_p={level} v_n=2.0" in text
    )
    assert not [line for line in text[1:] if line.startswith("*")]


@pytest.mark.parametrize(
    ("element", "told"),
    [
        (Element("X1", "X", ("in", "0"), model="schmitt"), "2 nodes instead of 4"),
        (Element("X1", "X", ("in", "0"), model="nowhere"), "no library has"),
        (
            Element("X1", "X", ("in", "a", "b", "0"), model="schmitt", arguments=(("vp", 1.0),)),
            "takes no vp",
        ),
        (Element("D1", "D", ("in", "0"), model="nowhere"), "no D model"),
        (Element("R2", "R", ("in", "0"), Dc(1.0)), "needs a number"),
        (Element("R2", "R", ("in", "0"), 0.0), "must be above 0"),
        (Element("V2", "V", ("in", "0"), 1.0), "needs a stimulus"),
        (Element("R2", "R", ("in",), 1.0), "1 nodes instead of 2"),
        (Element("E1", "E", ("in", "0"), 1.0, control=("nowhere", "0")), "two nodes"),
        (Element("F1", "F", ("in", "0"), 1.0, control=("V9",)), "voltage source of"),
        (Element("B1", "B", ("in", "0"), "in = 1"), "neither 'i =' nor 'v ='"),
        (
            Element("V2", "V", ("in", "0"), Pulse(0.0, 1.0, 0.0, 0.0, 1e-6, 1.0, 2.0)),
            "rise_s",
        ),
        (Element("V2", "V", ("in", "0"), Pwl(((0.0, 0.0), (0.0, 1.0)))), "rising order"),
    ],
)
def test_circuits_that_cannot_be_meant(element: Element, told: str) -> None:
    circuit = Circuit("bad", (SOURCE, LOAD, element), (), ("schmitt",))
    with pytest.raises(ValueError, match=told):
        netlist(experiment(circuit=circuit), ROW, "title")


@pytest.mark.parametrize("save", ["in", "v(in", "v(in) i(v1)", "v(nowhere)", "i(r9)", "p(v1)"])
def test_saves_that_are_none(save: str) -> None:
    with pytest.raises(ValueError, match="save"):
        netlist(experiment(saves=(save,)), ROW, "title")


def test_save_names_and_vectors() -> None:
    assert saved_vector("v(in)") == "in"
    assert saved_vector("i(v1)") == "v1#branch"
    assert saved_vector("i(v.x1.vs)") == "v.x1.vs#branch"


def test_title_is_one_printable_line() -> None:
    assert printable("half\nwave\t.end \x1b[31m 47 kΩ") == "half wave .end [31m 47 k"
    assert len(printable("x" * 1000)) == 200


def test_models_are_written_in_the_record_s_numbers() -> None:
    diode = Element("D1", "D", ("in", "0"), model="clamp")
    model = Model("clamp", "D", (("IS", 2.5e-9), ("RS", Param("load"))))
    text = lines(experiment(circuit=Circuit("models", (SOURCE, LOAD, diode), (model,))))
    assert ".model clamp D (IS=2.5e-09 RS={load})" in text
