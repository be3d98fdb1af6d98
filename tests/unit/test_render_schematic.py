"""A schematic shows the netlist's circuit: every part once, its value, its connections."""

from __future__ import annotations

import re
from collections.abc import Iterator
from importlib.resources import files
from xml.etree import ElementTree

import pytest
import render_sample

from analog.benches import BENCHES
from analog.circuits.record import GROUND, Circuit, Dc, Element, Experiment, Symbol
from analog.circuits.space import Space
from analog.design import read_design
from analog.engine import netlist
from analog.render.layout import is_rail
from analog.render.parts import remarks
from analog.render.schematic import arrange, draw
from analog.render.symbols import SHAPES, shape

SVG = "{http://www.w3.org/2000/svg}"
Point = tuple[float, float]
ROW = {"rail": 9.0, "r": 470e3, "c": 1e-6, "v_p": 6.3}


def parts(svg: str) -> dict[str, ElementTree.Element]:
    found = [g for g in ElementTree.fromstring(svg).iter(f"{SVG}g") if g.get("class") == "part"]
    references = [g.get("data-reference", "") for g in found]
    assert len(set(references)) == len(references), "a part is drawn twice"
    return dict(zip(references, found, strict=True))


def netlist_value(text: str, reference: str) -> float:
    line = re.search(
        rf"^{reference}\s+\S+\s+\S+\s+(\S+)(?: ic=\S+)?\s*$", text, re.MULTILINE | re.IGNORECASE
    )
    assert line, f"{reference} is not in the netlist:\n{text}"
    if line[1].startswith("{"):
        given = re.search(rf"^\.param {line[1][1:-1]}=(\S+)$", text, re.MULTILINE)
        assert given, f"{line[1]} has no .param line"
        return float(given[1])
    return float(line[1])


def shown_value(part: ElementTree.Element) -> float:
    number, unit = part.get("data-value", "").split("\N{NO-BREAK SPACE}")
    scale = {"M": 1e6, "k": 1e3, "m": 1e-3, "µ": 1e-6, "n": 1e-9, "p": 1e-12}
    return float(number) * (scale[unit[0]] if len(unit) > 1 else 1.0)


@pytest.mark.parametrize(("name", "values"), [("r", (470e3, 2.2e6)), ("c", (1e-6, 3.3e-9))])
def test_picture_and_netlist_show_the_same_value(name: str, values: tuple[float, ...]) -> None:
    experiment = render_sample.plan().scenes[0].experiment
    for value in values:
        row = ROW | {name: value}
        drawn = parts(draw(experiment.circuit, row, "RC").svg)
        text = netlist(experiment, row, "RC")
        reference = name.upper() + "1"
        assert shown_value(drawn[reference]) == pytest.approx(value, rel=5e-3)
        assert netlist_value(text, reference) == pytest.approx(value, rel=1e-9)


def test_every_part_with_a_symbol_is_drawn_once_and_no_other() -> None:
    circuit = render_sample.circuit()
    wanted = {element.reference for element in circuit.elements if element.symbol}
    assert set(parts(draw(circuit, ROW, "RC").svg)) == wanted == {"VDD", "R1", "D1", "C1"}


# ------------------------------------------------------------------ connections, from the picture


class Copper:
    """Joins points that the picture connects, knowing nothing of nets."""

    def __init__(self) -> None:
        self.parent: dict[Point, Point] = {}

    def root(self, point: Point) -> Point:
        self.parent.setdefault(point, point)
        while self.parent[point] != point:
            point = self.parent[point]
        return point

    def join(self, a: Point, b: Point) -> None:
        self.parent[self.root(a)] = self.root(b)


def point(text: str) -> Point:
    x, y = re.split(r"[ ,]", text)
    return round(float(x), 1), round(float(y), 1)


def pieces(path: str) -> Iterator[tuple[Point, Point]]:
    for start, end in re.findall(r"M([-\d. ]+)L([-\d. ]+)", path):
        yield point(start), point(end)


def on(at: Point, piece: tuple[Point, Point]) -> bool:
    (x1, y1), (x2, y2) = piece
    inside = min(x1, x2) <= at[0] <= max(x1, x2) and min(y1, y2) <= at[1] <= max(y1, y2)
    return inside and (x1 == x2 or y1 == y2)


def connected_pins(svg: str) -> tuple[Copper, dict[str, list[Point]]]:
    """Join pins over wires; wires that cross are joined only where a dot marks it."""
    root = ElementTree.fromstring(svg)
    pins = {
        reference: [point(pin) for pin in part.get("data-pins", "").split()]
        for reference, part in parts(svg).items()
    }
    wires: list[tuple[Point, Point]] = []
    dots: list[Point] = []
    copper = Copper()
    for group in root.iter(f"{SVG}g"):
        if group.get("class") == "net":
            for path in group.iter(f"{SVG}path"):
                wires += pieces(path.get("d", ""))
            for dot in group.iter(f"{SVG}circle"):
                dots.append(point(f"{dot.get('cx')} {dot.get('cy')}"))
        if group.get("class") == "rail":
            place = re.search(r"translate\(([-\d. ]+)\)", group.get("transform", ""))
            assert place
            copper.join(point(place[1]), (float(hash(group.get("data-net")) % 10**6), 1e9))
            wires.append((point(place[1]), point(place[1])))
    ends = [end for wire in wires for end in wire]
    for wire in wires:
        copper.join(*wire)
        for touching in (*dots, *ends, *(pin for several in pins.values() for pin in several)):
            if on(touching, wire):
                copper.join(touching, wire[0])
    return copper, pins


def hidden_joins(circuit: Circuit) -> dict[str, str]:
    """Return which nodes an undrawn ammeter makes one, by the netlist's own account."""
    copper = Copper()
    names = {
        node: (float(k), 0.0)
        for k, node in enumerate(
            sorted({node for element in circuit.elements for node in element.nodes})
        )
    }
    for element in circuit.elements:
        if element.symbol is None and element.kind == "V" and element.value == Dc(0.0):
            copper.join(names[element.nodes[0]], names[element.nodes[1]])
    return {node: str(copper.root(at)) for node, at in names.items()}


def check_connections(circuit: Circuit, svg: str) -> None:
    copper, pins = connected_pins(svg)
    same = hidden_joins(circuit)
    by_node: dict[str, set[Point]] = {}
    for element in circuit.elements:
        if element.symbol is None:
            continue
        for node, pin in zip(element.nodes, pins[element.reference], strict=False):
            by_node.setdefault(same[node], set()).add(copper.root(pin))
    for node, roots in by_node.items():
        assert len(roots) == 1, f"{node} falls into {len(roots)} pieces in the picture"
    roots_of_all = [next(iter(roots)) for roots in by_node.values()]
    assert len(set(roots_of_all)) == len(roots_of_all), "two nodes touch in the picture"


def test_the_pictures_wires_connect_what_the_netlist_connects() -> None:
    circuit = render_sample.circuit()
    check_connections(circuit, draw(circuit, ROW, "RC").svg)


def test_the_connection_check_sees_a_missing_wire() -> None:
    circuit = render_sample.circuit()
    svg = draw(circuit, ROW, "RC").svg
    broken = re.sub(r'(<g class="net" data-net="pin">)<path[^>]*/>', r"\1", svg)
    assert broken != svg
    with pytest.raises(AssertionError, match="pieces"):
        check_connections(circuit, broken)


SCENARIOS = sorted(
    path.name for path in files("analog.scenarios").iterdir() if path.name.endswith(".toml")
)


def real_scenes() -> Iterator[tuple[str, str, Experiment, dict[str, float]]]:
    for name in SCENARIOS:
        record = read_design(str(files("analog.scenarios").joinpath(name)))
        for bench in BENCHES:
            if not bench.runs_on(record):
                continue
            for scene in bench.plan(record).scenes:
                row = {k: float(v[0]) for k, v in scene.derive(nominal(scene.space)).items()}
                yield name, f"{bench.identifier}-{scene.identifier}", scene.experiment, row


def nominal(space: Space) -> dict[str, object]:
    import numpy as np

    return dict(space.decode(np.zeros((1, len(space.axes)))))


def test_real_benches_are_drawn_as_they_are_simulated() -> None:
    drawn = 0
    for name, scene, experiment, row in real_scenes():
        svg = draw(experiment.circuit, row, scene).svg
        shown = parts(svg)
        wanted = {e.reference for e in experiment.circuit.pictured if e.symbol}
        assert set(shown) == wanted, (name, scene)
        check_connections(experiment.circuit, svg)
        text = netlist(experiment, row, scene)
        for element in experiment.circuit.elements:
            if element.kind in "RCL" and element.symbol:
                value = netlist_value(text, element.reference)
                assert shown_value(shown[element.reference]) == pytest.approx(value, rel=6e-3)
                drawn += 1
    assert drawn > 20


def test_no_label_of_a_real_bench_lies_on_anything() -> None:
    record = read_design(str(files("analog.scenarios").joinpath(SCENARIOS[0])))
    words = remarks(record)
    seen = set()
    for name, scene, experiment, row in real_scenes():
        symbols = tuple(element.symbol for element in experiment.circuit.elements)
        if not any(symbols) or symbols in seen:
            continue
        seen.add(symbols)
        assert arrange(experiment.circuit, row, words).faults == 0, (name, scene)


# ---------------------------------------------------------------------------------- the drawer


def two_resistors(*symbols: Symbol) -> Circuit:
    return Circuit(
        "two",
        (
            Element("R1", "R", ("a", "b"), 1e3, symbol=symbols[0]),
            Element("R2", "R", ("b", GROUND), 1e3, symbol=symbols[1]),
        ),
    )


def test_a_wire_goes_around_a_part_in_its_way() -> None:
    circuit = Circuit(
        "detour",
        (
            Element("R1", "R", ("a", "b"), 1.0, symbol=Symbol("resistor", ((0, 0), (2, 0)))),
            Element("R2", "R", ("c", "d"), 1.0, symbol=Symbol("resistor", ((4, 1), (4, -1)))),
            Element("R3", "R", ("b", "e"), 1.0, symbol=Symbol("resistor", ((6, 0), (8, 0)))),
        ),
    )
    check_connections(circuit, draw(circuit, {}, "detour").svg)


def test_junctions_get_a_dot_and_plain_corners_none() -> None:
    corner = two_resistors(
        Symbol("resistor", ((0, 2), (2, 2))), Symbol("resistor", ((3, 1), (3, -1)))
    )
    assert draw(corner, {}, "corner").svg.count("<circle") == 0
    tee = Circuit(
        "tee",
        (
            *corner.elements,
            Element("R3", "R", ("b", "c"), 1.0, symbol=Symbol("resistor", ((4, 2), (6, 2)))),
        ),
    )
    assert draw(tee, {}, "tee").svg.count("<circle") == 1


def test_user_text_in_labels_is_escaped() -> None:
    circuit = render_sample.circuit(label='<script>alert("1")</script>')
    svg = draw(circuit, ROW, 'a "title" <b>').svg
    assert "<script" not in svg
    ElementTree.fromstring(svg)


def test_more_terminals_than_nodes_is_refused() -> None:
    wrong = Circuit(
        "wrong",
        (Element("R1", "R", ("a", "b"), 1.0, symbol=Symbol("box", ((0, 0), (1, 0), (2, 0)))),),
    )
    with pytest.raises(ValueError, match="R1 has more terminals than nodes"):
        draw(wrong, {}, "wrong")


@pytest.mark.parametrize("name", SHAPES)
def test_every_shape_draws_something_around_its_pins(name: str) -> None:
    for count in (2, 3, 4):
        terminals = tuple((2.0 * k, float(k % 2)) for k in range(count))
        drawn = shape(name, terminals)
        assert "<path" in drawn.art
        assert len(drawn.pins) == count
        assert "style=" not in drawn.art


def test_a_picture_is_the_same_every_time() -> None:
    circuit = render_sample.circuit()
    assert draw(circuit, ROW, "RC").svg == draw(circuit, ROW, "RC").svg


def test_rails_are_ground_and_supply() -> None:
    assert [net for net in ("0", "vdd", "pin", "out") if is_rail(net)] == ["0", "vdd"]
