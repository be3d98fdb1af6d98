"""A circuit that stays loaded and is altered gives what one loaded anew gives, bit for bit.

Every kind of value that a row can set, in random circuits of it; and every scene of the benches
that is altered, in any order and whatever row the circuit was loaded with.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Mapping
from importlib.resources import files

import engine_cases as cases
import numpy as np
import pytest

from analog.benches import BENCHES
from analog.benches.base import Scene
from analog.circuits.record import (
    Circuit,
    Dc,
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
from analog.design import read_design
from analog.engine.alteration import alterations
from analog.engine.build import prepare

DESIGN = "propagator-mat.toml"

EVERY_KIND = Experiment(
    Circuit(
        "every kind of value",
        (
            Element("VDC", "V", ("a", "0"), Dc(Param("level"))),
            Element(
                "VSINE", "V", ("b", "a"), Sine(Param("height"), Param("hz"), 90.0, Param("up"))
            ),
            Element("VRAMP", "V", ("c", "0"), Pwl(((0.0, 0.0), (Param("t_up"), Param("height"))))),
            Element("VLATE", "V", ("d", "0"), Pwl(((0.0, 0.0), (1e-4, 1.0)), Param("t_up"), 2.0)),
            Element(
                "VONCE", "V", ("e", "0"),
                Pulse(0.0, Param("height"), Param("t_up"), 1e-5, 1e-5, 2e-4, 1.0),
            ),
            Element("IDC", "I", ("0", "out"), Dc(Param("current"))),
            Element("R1", "R", ("b", "out"), Param("ohm")),
            Element("R2", "R", ("c", "out"), 2e3),
            Element("R3", "R", ("d", "out"), 3e3),
            Element("R4", "R", ("e", "out"), 4e3),
            Element("C1", "C", ("out", "0"), Param("farad"), initial=Param("start")),
            Element("L1", "L", ("out", "f"), Param("henry"), initial=Param("flow")),
            Element("R5", "R", ("f", "0"), 5e3),
            Element("E1", "E", ("g", "0"), Param("gain"), control=("out", "0")),
            Element("R6", "R", ("g", "h"), 1e3),
            Element("G1", "G", ("h", "0"), Param("siemens"), control=("out", "0")),
            Element("D1", "D", ("h", "0"), model="junction"),
            Element("B1", "B", ("h", "0"), "i = {sink}*tanh(v(h)/{soft})"),
        ),
        (Model("junction", "D", (("IS", 1e-14), ("CJO", 1e-11))),),
    ),
    Transient(1.5e-3, Param("step"), reltol=1e-5, use_initial=True),
    ("v(out)", "v(h)"),
    "engine_cases:last_levels",
    ("out", "h"),
)  # fmt: skip

RANGES = {
    "level": (0.0, 5.0), "height": (1.0, 4.0), "hz": (500.0, 2e3), "up": (-1.0, 1.0),
    "t_up": (1e-4, 5e-4), "current": (-1e-3, 1e-3), "ohm": (500.0, 5e3), "farad": (1e-8, 1e-7),
    "start": (-1.0, 1.0), "henry": (1e-3, 1e-2), "flow": (-1e-4, 1e-4), "gain": (0.5, 2.0),
    "siemens": (1e-4, 1e-3), "sink": (1e-5, 1e-3), "soft": (0.1, 1.0),
    "step": (1e-5, 2e-5), "ambient_c": (-20.0, 60.0),
}  # fmt: skip


def random_rows(count: int, seed: int) -> list[dict[str, float]]:
    rng = np.random.default_rng(seed)
    return [{n: float(rng.uniform(*r)) for n, r in RANGES.items()} for _ in range(count)]


def scenes() -> list[tuple[str, Scene]]:
    design = read_design(str(files("analog.scenarios").joinpath(DESIGN)))
    return [
        (f"{bench.identifier}-{scene.identifier}", scene)
        for bench in BENCHES
        for scene in bench.plan(design).scenes
    ]


def scene_rows(scene: Scene, count: int, seed: int) -> list[dict[str, float]]:
    points = np.random.default_rng(seed).uniform(-1, 1, (count, len(scene.space.axes)))
    columns = dict(scene.derive(scene.space.decode(points)))
    wide = {name: np.broadcast_to(np.asarray(c, float), count) for name, c in columns.items()}
    return [{name: float(column[k]) for name, column in wide.items()} for k in range(count)]


def compared(experiments: Mapping[str, tuple[Experiment, list[dict[str, float]]]]) -> dict:
    """Run rows of each experiment in one process of its own; see compare_alteration.py."""
    import pickle

    done = subprocess.run(
        [sys.executable, "-W", "ignore", str(cases.FOLDER / "compare_alteration.py")],
        input=pickle.dumps(experiments),
        capture_output=True,
        env=cases.environment(),
        check=False,
    )
    assert done.returncode == 0, done.stderr.decode()
    return json.loads(done.stdout)


def test_every_kind_of_value_is_set(counts: Callable[[int, int], int]) -> None:
    """Each parameter is seen to matter, so that a command without effect could not pass."""
    rows = random_rows(counts(6, 40), 1)
    (first,) = random_rows(1, 2)
    for name in RANGES:
        if name != "step":
            rows.append(first | {name: RANGES[name][1]})
    found = compared({"all": (EVERY_KIND, [first, *rows])})["all"]
    assert found["altered"]
    assert found["largest_share"] < 1e-5  # the relative tolerance both ran with
    assert found["same_in_any_order"]
    values = found["values"]
    for k, name in enumerate(name for name in RANGES if name != "step"):
        assert values[1 + counts(6, 40) + k] != values[0], f"{name} has no effect"


def test_scenes_of_the_benches(
    counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    number = counts(3, 30)
    work = {name: (s.experiment, scene_rows(s, number, 3)) for name, s in scenes()}
    light = {name: one for name, one in work.items() if alterations(prepare(one[0])) is not None}
    assert {"line_sense-line", "reset-power-down"} <= light.keys()
    found = compared(light)
    worst = max(one["largest_share"] for one in found.values())
    figure(f"{len(light)} scenes, {number} rows each: altered and reloaded differ by {worst:.1e}")
    for name, one in found.items():
        assert one["altered"], name
        assert one["same_in_any_order"], name
        assert one["largest_share"] < 1e-3, name  # steps may part at a rounding


@pytest.mark.parametrize(
    "change",
    [
        {"models": (Model("m", "D", (("IS", Param("saturation")),)),)},
        {"elements": (Element(
            "V1", "V", ("a", "0"), Pulse(0.0, Param("up"), 0.0, 1e-6, 1e-6, 1e-4, 2e-4)),)},
        {"elements": (Element(
            "V1", "V", ("a", "0"), Pwl(tuple((k * 1e-5, 1.0) for k in range(40)), Param("t"))),)},
    ],
    ids=["a model's parameter", "a pulse train", "a long moved shape"],
)  # fmt: skip
def test_what_has_no_command_is_loaded_for_every_row(change: Mapping) -> None:
    elements = (Element("R1", "R", ("a", "0"), 1e3), *change.get("elements", ()))
    circuit = Circuit("x", elements, tuple(change.get("models", ())))
    experiment = Experiment(circuit, Transient(1e-3, 1e-5), ("v(a)",), "engine_cases:nothing", ())
    assert alterations(prepare(experiment)) is None


def test_an_operating_point_is_altered_too() -> None:
    experiment = Experiment(
        Circuit(
            "divider",
            (
                Element("V1", "V", ("in", "0"), Dc(Param("level"))),
                Element("R1", "R", ("in", "out"), Param("ohm")),
                Element("R2", "R", ("out", "0"), 1e3),
            ),
        ),
        OperatingPoint(),
        ("v(out)",),
        "engine_cases:level_out",
        ("out",),
    )
    rows = [{"level": v, "ohm": r} for v, r in ((8.0, 3e3), (8.0, 1e3), (2.0, 1e3))]
    found = compared({"op": (experiment, rows)})["op"]
    assert found["altered"]
    assert [row[0] for row in found["values"]] == pytest.approx([2.0, 4.0, 1.0])
