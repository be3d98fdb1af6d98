"""Hostile text in every field that takes text: refused, or harmless, never a second line."""

from __future__ import annotations

import re
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from analog.circuits.record import Circuit, Dc, Element, Experiment, Model, Param, Transient
from analog.engine import netlist
from analog.errors import MachineError

SMUGGLED = (
    "\n.control\nshell touch executed\n.endc",
    "1\n.include ../../x",
    "x; shell touch executed",
    "{shell touch executed}",
    "`touch executed`",
    "../../x",
    ".control",
    "1k\r\n+ quit",
    "a b c d",
    "$HOME",
    "10M",
    "nan",
    "",
)
HOSTILE = st.one_of(
    st.sampled_from(SMUGGLED),
    st.text(max_size=40),
    st.builds(lambda head, tail: head + tail, st.sampled_from(["r1", "v(in)", "i = 1"]), st.text()),
    st.builds(lambda a, b: a + b, st.text(max_size=5), st.sampled_from(SMUGGLED)),
)
FIELDS = st.sampled_from(
    [
        "title",
        "reference",
        "node",
        "expression",
        "model",
        "argument",
        "model argument",
        "save",
        "reading",
        "reading name",
        "initial node",
        "parameter",
        "sweep source",
        "library",
        "control",
    ]
)
WORD = r"[\w.+\-#]+"
LINE = re.compile(
    rf"\* [ -~]*|\.param \w+=\S+|\.options [\w.=+\- ]+|\.temp \S+|\.ic v\({WORD}\)=\S+"
    rf"|\.tran( [\w.+\-]+)+|\.save( [vi]\({WORD}\))+|\.meas tran \w+ [\w .,+\-()=]+|\.end"
    rf"|\.model \w+ D \([\w.=+\-{{}} ]*\)|[A-Z]\w*( [\w.{{}}+\-]+)+( \w+=\S+)*"
    rf"|B\w* \w+ \w+ [iv]=[\w .,+\-*/()<>={{}}?:!&|]+"
)


def build(field: str, text: str) -> Experiment:
    def pick(name: str, sound: str) -> str:
        return text if field == name else sound

    elements = (
        Element("V1", "V", ("in", "0"), Dc(Param(pick("parameter", "level")))),
        Element(pick("reference", "R1"), "R", ("in", pick("node", "out")), 1e3),
        Element("R2", "R", ("out", "0"), 1e3, arguments=((pick("argument", "tc1"), 0.0),)),
        Element("B1", "B", ("out", "0"), pick("expression", "i = 1e-6*v(in)")),
        Element("D1", "D", ("out", "0"), model=pick("model", "clamp")),
        Element("F1", "F", ("out", "0"), 1.0, control=(pick("control", "V1"),)),
    )
    models = (Model(pick("model", "clamp"), "D", ((pick("model argument", "IS"), 1e-14),)),)
    libraries = (text,) if field == "library" else ()
    return Experiment(
        Circuit(text if field == "title" else "sound", elements, models, libraries),
        Transient(1e-3, 1e-5, initial=((pick("initial node", "out"), 0.0),)),
        (pick("save", "v(out)"),),
        "module:function",
        ("out",),
        readings=((pick("reading name", "top"), pick("reading", "max v(out)")),),
    )


@settings(deadline=None)  # the first call imports PySpice
@given(field=FIELDS, text=HOSTILE)
def test_text_never_becomes_a_command(field: str, text: str) -> None:
    try:
        written = netlist(build(field, text), {"level": 1.0, text: 1.0}, text)
    except (ValueError, KeyError, MachineError):  # the last: a library that does not exist
        return
    for line in written.splitlines():
        assert LINE.fullmatch(line), line
    assert written.isascii()
    assert "shell" not in re.sub(r"^\* .*$", "", written, flags=re.MULTILINE)


@settings(deadline=None)
@given(value=st.floats(allow_nan=True, allow_infinity=True))
def test_only_finite_numbers_are_written(value: float) -> None:
    try:
        written = netlist(build("none", ""), {"level": value}, "title")
    except ValueError:
        return
    (line,) = [line for line in written.splitlines() if line.startswith(".param level=")]
    assert float(line.partition("=")[2]) == value


def test_the_sound_one_is_accepted() -> None:
    sound = build("none", "")
    assert all(LINE.fullmatch(line) for line in netlist(sound, {"level": 1.0}, "t").splitlines())
    assert replace(sound, saves=("v(in)",)).saves == ("v(in)",)
