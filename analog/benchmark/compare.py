"""One subject measured: accuracy verified on fresh samples, then both ways side by side.

The two ways take turns in short rounds, so that whatever else the machine does hits both.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import islice
from statistics import median

import numpy as np

from analog.benches.base import Scene
from analog.benchmark.exactness import (
    CYCLES,
    Row,
    Sample,
    Usual,
    coarsest,
    engine_error,
    exact_samples,
    settling_cycles,
    table,
    usual_error,
    usual_texts,
)
from analog.benchmark.processes import Cost, run_batch
from analog.benchmark.subjects import Subject
from analog.circuits.space import Floats
from analog.design import Design
from analog.engine import Engine, netlist
from analog.errors import RunError

ROUNDS = 5
OVERHEAD_SHARE = 0.10
OVERHEAD_S = 1e-4

_TUNING = 8
_ROUND_S = 1.5
_MOST_TRIED = 3

Tell = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Comparison:
    """A subject's figures; times in s per sample with all cores at work.

    `ratio` and `same_recipe` are wall time of the usual way, and of our own settings in one
    process per sample, over ours: the medians of the rounds. `ratio_cpu` and `same_recipe_cpu`
    are the same in processor time. `floor` is ngspice's own time, `overhead` what a sample costs
    one worker beyond it, both in processor time of one and the same run. Errors are shares of
    what is allowed.
    """

    bench: str
    scene: str
    usual: Usual
    usual_error: float
    own_error: float
    verified: int
    ratio: float
    ratio_cpu: float
    same_recipe: float
    same_recipe_cpu: float
    usual_s: float
    own_s: float
    floor: float
    overhead: float
    cores: int

    @property
    def overhead_share(self) -> float:
        """Overhead over ngspice's own processor time."""
        return self.overhead / self.engine_s

    @property
    def engine_s(self) -> float:
        """Processor time of ngspice's own run per sample."""
        return self.floor * self.cores

    @property
    def overhead_ok(self) -> bool:
        """Whether it is at most 10 % or 0.10 ms, whichever is larger."""
        return self.overhead <= max(OVERHEAD_SHARE * self.engine_s, OVERHEAD_S)


@dataclass(frozen=True, slots=True)
class Round:
    """One turn of each way."""

    usual: Cost
    recipe: Cost
    own: Cost
    engine_s: float
    overhead_s: float


def compare(
    subject: Subject,
    design: Design,
    engine: Engine,
    cores: int,
    fresh: int,
    seed: int = 0,
    tell: Tell = lambda _text: None,
) -> Comparison:
    """Measure one subject on `fresh` samples that no setting was chosen on.

    Raises RunError when the usual way meets the accuracy at no setting tried.
    """
    scene, whole = subject.find(design), subject.find_whole(design)
    rows = random_rows(scene, _TUNING + fresh, seed)
    tell(f"{subject.bench}: exact runs of {len(rows)} samples")
    samples = exact_samples(subject, whole, engine, rows)
    tuning, checked = samples[:_TUNING], samples[_TUNING:]
    tell(f"{subject.bench}: the coarsest usual settings")
    usual, error = usual_settings(subject, whole, tuning, checked, cores)
    own_error = engine_error(subject, scene, engine, checked)
    tell(f"{subject.bench}: both ways in turns, against step {usual.step_s:g} s")
    texts, _ = usual_texts(subject, whole, usual, checked)
    rounds = take_turns(texts, scene, engine, checked, cores)
    return _summary(subject, scene, usual, (error, own_error), rounds, len(checked), cores)


def random_rows(scene: Scene, count: int, seed: int) -> list[dict[str, float]]:
    """Return rows at uniformly random points of the scene's space."""
    points = np.random.default_rng(seed).uniform(-1, 1, (count, len(scene.space.axes)))
    columns: dict[str, Floats] = dict(scene.derive(scene.space.decode(points)))
    wide = {name: np.broadcast_to(np.asarray(c, float), count) for name, c in columns.items()}
    return [{name: float(column[k]) for name, column in wide.items()} for k in range(count)]


def usual_settings(
    subject: Subject,
    scene: Scene,
    tuning: Sequence[Sample],
    checked: Sequence[Sample],
    cores: int,
) -> tuple[Usual, float]:
    """Return the cheapest settings that hold on the fresh samples too, and their error share."""
    settled = settling_cycles(subject, scene, tuning, cores)
    for cycles in [count for count in CYCLES if count >= settled] if subject.settles else [0]:
        for usual in islice(coarsest(subject, scene, tuning, cycles, cores), _MOST_TRIED):
            error, _ = usual_error(subject, scene, usual, checked, cores)
            if error <= 1:
                return usual, error
    raise RunError("bad circuit", f"no usual settings are exact enough for {subject.bench}")


def take_turns(
    texts: Sequence[str],
    scene: Scene,
    engine: Engine,
    samples: Sequence[Sample],
    cores: int,
) -> list[Round]:
    """Run the usual way's netlists, the engine, and our own settings one process per sample.

    In turns of a few seconds.
    """
    recipe = [netlist(scene.experiment, sample.row, "sample") for sample in samples]
    rows = [sample.row for sample in samples]
    numbers = [
        _enough(run_batch(texts[:cores], cores)[1], len(texts)),
        _enough(run_batch(recipe[:cores], cores)[1], len(recipe)),
        _enough(run_engine(scene, engine, rows).own, 100_000),
    ]
    rounds = []
    for number in range(ROUNDS):
        own = run_engine(scene, engine, _cycled(rows, numbers[2]))
        first = _turned(texts, number, numbers[0])
        second = _turned(recipe, number, numbers[1])
        rounds.append(
            Round(
                run_batch(first, cores)[1],
                run_batch(second, cores)[1],
                own.own,
                own.engine_s,
                own.overhead_s,
            )
        )
    return rounds


@dataclass(frozen=True, slots=True)
class OwnRun:
    """The engine's cost; `engine_s` and `overhead_s` are processor time per sample."""

    own: Cost
    engine_s: float
    overhead_s: float


def run_engine(scene: Scene, engine: Engine, rows: Sequence[Row]) -> OwnRun:
    """Run rows on workers already started; nothing is stored."""
    names, numbers = tuple(rows[0]), table(rows)
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    out = engine.run(scene.experiment, names, numbers)
    main_s, wall_s = time.process_time() - cpu_s, time.perf_counter() - wall_s
    if out.failures:
        failure = next(iter(out.failures.values()))
        raise RunError(failure.kind, failure.reason, failure.netlist)
    busy_s, count = out.busy_s + main_s, len(rows)
    cost = Cost(count, wall_s, busy_s)
    return OwnRun(cost, out.engine_s / count, (busy_s - out.engine_s) / count)


def _enough(cost: Cost, most: int) -> int:
    """Return how many samples take about the time of a turn."""
    return max(2, min(most, round(_ROUND_S * cost.samples / cost.wall_s)))


def _cycled(rows: Sequence[Row], count: int) -> list[Row]:
    return [rows[k % len(rows)] for k in range(count)]


def _turned(texts: Sequence[str], turn: int, count: int) -> list[str]:
    return [texts[(turn * count + k) % len(texts)] for k in range(count)]


def _summary(
    subject: Subject,
    scene: Scene,
    usual: Usual,
    errors: tuple[float, float],
    rounds: Sequence[Round],
    verified: int,
    cores: int,
) -> Comparison:
    def middle(figure: Callable[[Round], float]) -> float:
        return median(figure(one) for one in rounds)

    return Comparison(
        bench=subject.bench,
        scene=scene.identifier,
        usual=usual,
        usual_error=errors[0],
        own_error=errors[1],
        verified=verified,
        ratio=middle(lambda one: _wall(one.usual) / _wall(one.own)),
        ratio_cpu=middle(lambda one: _cpu(one.usual) / _cpu(one.own)),
        same_recipe=middle(lambda one: _wall(one.recipe) / _wall(one.own)),
        same_recipe_cpu=middle(lambda one: _cpu(one.recipe) / _cpu(one.own)),
        usual_s=middle(lambda one: _wall(one.usual)),
        own_s=middle(lambda one: _wall(one.own)),
        floor=middle(lambda one: one.engine_s) / cores,
        overhead=middle(lambda one: one.overhead_s),
        cores=cores,
    )


def _wall(cost: Cost) -> float:
    return cost.wall_s / cost.samples


def _cpu(cost: Cost) -> float:
    return cost.cpu_s / cost.samples
