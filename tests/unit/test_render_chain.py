"""The picture of the chain: every part of the design once, with its value, and every bench."""

from __future__ import annotations

from importlib.resources import files
from xml.etree import ElementTree

import pytest

from analog.design import Design, parse_design, read_design, starter_text
from analog.render.chain import Marked, draw_chain, lanes, shortened

MARKS = {
    "supply": Marked("✓ Supply", "pass"),
    "line_sense": Marked("✓ Line sense", "pass"),
    "conditioner": Marked("✓ Conditioner", "pass"),
    "reset": Marked("✗ Reset", "fail"),
    "gate_drive": Marked("? Gate drive", "undecided"),
}


def scenario(name: str) -> Design:
    return read_design(str(files("analog.scenarios").joinpath(f"{name}.toml")))


def texts(svg: str) -> list[str]:
    root = ElementTree.fromstring(svg)
    return [
        "".join(part.itertext()).replace("\N{NO-BREAK SPACE}", " ")
        for part in root.iter("{http://www.w3.org/2000/svg}tspan")
    ]


def test_every_part_of_the_design_stands_there_once() -> None:
    shown = texts(draw_chain(scenario("propagator-mat"), MARKS))
    for words in ("100 kΩ", "10 nF", "470 µF", "1 µF", "470 kΩ", "680 Ω", "220 Ω", "7809",
                  "MOC3023", "BTA06-SW", "4040", "45 W", "120 V 60 Hz"):  # fmt: skip
        assert shown.count(words) == 1, words


def test_what_a_topology_adds_stands_there_too() -> None:
    text = scenario("propagator-mat").text.replace(
        'topology = "bridge-leg"',
        'topology = "full-wave"\nisolating_diode = "BAT85"\nsecond_resistor = "33k"\n'
        'second_capacitor = "3n3"\nclamp_zener = "BZX79-C9V1"',
    )
    full = parse_design(text.replace('clamp = "input"', 'clamp = "zener"'), "full.toml")
    shown = texts(draw_chain(full, MARKS))
    for words in ("BAT85", "33 kΩ", "3.3 nF", "BZX79-C9V1"):
        assert shown.count(words) == 1, words


def test_an_optocoupler_stands_there_with_its_pull_up() -> None:
    text = scenario("propagator-mat").text.replace(
        'topology = "bridge-leg"',
        'topology = "optocoupler"\noptocoupler = "PC814"\npull_up_resistor = "33k"',
    )
    coupled = parse_design(
        text.replace('bleed_resistor = "10k 5% carbon-film 0.25W"\n', ""), "coupled.toml"
    )
    shown = texts(draw_chain(coupled, MARKS))
    assert shown.count("PC814") == shown.count("33 kΩ") == 1


def test_another_value_is_shown_and_in_the_netlist_too() -> None:
    """The picture and the netlist come from one record."""
    import numpy as np

    from analog.engine import netlist
    from analog.workflows.check import make_plans
    from analog.workflows.scenes import parameter_rows

    text = scenario("propagator-mat").text.replace('"10n 10% film', '"22n 10% film')
    changed = parse_design(text, "changed.toml")
    shown = texts(draw_chain(changed, MARKS))
    assert "22 nF" in shown
    assert "10 nF" not in shown
    scene = make_plans(changed, ["line_sense"])[0].scenes[0]
    names, rows = parameter_rows(scene, np.zeros((1, len(scene.space.axes))))
    deck = netlist(scene.experiment, dict(zip(names, rows[0].tolist(), strict=True)), "t")
    assert "2.2e-08" in deck


def test_benches_are_marked_with_their_verdict_in_words_and_only_those_there_are() -> None:
    svg = draw_chain(scenario("first-draft"), MARKS)
    root = ElementTree.fromstring(svg)
    frames = [e.get("class") for e in root.iter("{http://www.w3.org/2000/svg}rect")]
    assert frames == [
        "mark pass",
        "mark pass",
        "mark fail",
        "mark undecided",
    ]  # it has no conditioner
    for title in ("✓ Line sense", "✗ Reset", "? Gate drive"):
        assert title in svg
    assert "Conditioner" not in svg


def test_the_text_alternative_names_the_parts_in_order() -> None:
    label = ElementTree.fromstring(draw_chain(scenario("propagator-mat"), MARKS)).get("aria-label")
    assert label is not None
    order = ["transformer", "regulator 7809", "series resistor", "conditioner 40106",
             "reset resistor", "opto-triac MOC3023", "resistive load"]  # fmt: skip
    places = [label.replace("\N{NO-BREAK SPACE}", " ").index(words) for words in order]
    assert places == sorted(places)


def test_a_design_with_only_a_reset_has_one_lane() -> None:
    import render_sample

    design = parse_design(render_sample.DESIGN_TEXT, "a.toml")
    assert [bool(lane.cells) for lane in lanes(design)] == [False, False, True, False]
    assert "470 kΩ" in texts(draw_chain(design, {}))


def test_the_starter_design_can_be_drawn() -> None:
    assert len(texts(draw_chain(parse_design(starter_text("a"), "a.toml"), MARKS))) > 20


@pytest.mark.parametrize("text", ["a" * 200, "Ω" * 50, "two words here and more of them"])
def test_long_names_are_cut_to_their_room(text: str) -> None:
    cut = shortened(text, 60)
    assert cut.endswith("…")
    assert len(cut) < len(text)
    assert shortened("short", 60) == "short"
