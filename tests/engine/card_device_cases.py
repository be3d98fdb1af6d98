"""Operating points of built-in device models; importable in worker processes."""

from __future__ import annotations

from collections.abc import Mapping

from analog.cards import Column
from analog.circuits.record import (
    Circuit,
    Dc,
    Element,
    Experiment,
    Model,
    OperatingPoint,
    Param,
)
from analog.engine import Run


def diode(column: Column, reverse: bool = False) -> Experiment:
    """A current through the diode, forward or reverse; gives the voltage across it."""
    nodes = ("0", "out") if reverse else ("out", "0")
    elements = (
        Element("I1", "I", ("0", "out"), Dc(Param("current"))),
        Element("D1", "D", nodes, model="part"),
    )
    return _point(elements, column, "D", ("v(out)",), "voltage", ("voltage",))


def saturated(column: Column, polarity: str) -> Experiment:
    """Collector and base current forced into the transistor; gives |V_CE| and |V_BE|."""
    elements = (
        Element("I1", "I", ("0", "out"), Dc(Param("collector"))),
        Element("I2", "I", ("0", "base"), Dc(Param("base"))),
        Element("Q1", "Q", ("out", "base", "0"), model="part"),
    )
    outputs = ("v_ce", "v_be")
    return _point(elements, column, polarity, ("v(out)", "v(base)"), "transistor", outputs)


def gain(column: Column, polarity: str) -> Experiment:
    """A base current at a held collector voltage; gives the collector current."""
    elements = (
        Element("V1", "V", ("out", "0"), Dc(Param("collector"))),
        Element("I2", "I", ("0", "base"), Dc(Param("base"))),
        Element("Q1", "Q", ("out", "base", "0"), model="part"),
    )
    return _point(elements, column, polarity, ("i(v1)",), "current", ("current",))


def mosfet(column: Column) -> Experiment:
    """Gate and drain voltage held; gives the drain current."""
    elements = (
        Element("V1", "V", ("out", "0"), Dc(Param("drain"))),
        Element("V2", "V", ("base", "0"), Dc(Param("level"))),
        Element("M1", "M", ("out", "base", "0", "0"), model="part"),
    )
    return _point(elements, column, "NMOS", ("i(v1)",), "current", ("current",))


def _point(
    elements: tuple[Element, ...],
    column: Column,
    kind: str,
    saves: tuple[str, ...],
    reducer: str,
    outputs: tuple[str, ...],
) -> Experiment:
    model = Model("part", kind, tuple(column.spice.items()))  # type: ignore[arg-type]
    circuit = Circuit("device", elements, (model,))
    return Experiment(circuit, OperatingPoint(), saves, f"card_device_cases:{reducer}", outputs)


def voltage(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    return {"voltage": float(run.trace("v(out)")[-1])}


def current(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    return {"current": abs(float(run.trace("i(v1)")[-1]))}


def transistor(run: Run, _row: Mapping[str, float]) -> dict[str, float]:
    v_ce, v_be = (abs(float(run.trace(name)[-1])) for name in ("v(out)", "v(base)"))
    return {"v_ce": v_ce, "v_be": v_be}
