"""Finding a reducer by its name and holding it to its contract."""

from __future__ import annotations

import importlib
import math
import traceback
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from pathlib import Path
from types import TracebackType
from typing import cast

from analog.engine.outcome import Run

Reducer = Callable[[Run, Mapping[str, float]], Mapping[str, float]]
Shown = Callable[[Run, Mapping[str, float]], Run]


class ReducerError(Exception):
    """The measuring code itself is at fault; the text tells what and where."""


class _Blame(AbstractContextManager["_Blame"]):
    """Turns whatever the measuring code raises into a ReducerError that tells where."""

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        problem: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        if isinstance(problem, Exception):
            raise ReducerError(_told(problem)) from problem


def _told(problem: Exception) -> str:
    """Return what went wrong and where, by file names: no path of this machine gets out."""
    frames = traceback.extract_tb(problem.__traceback__)
    places = (f"{Path(f.filename).name}:{f.lineno} in {f.name}" for f in frames)
    return f"{type(problem).__name__}: {problem} ({', '.join(places)})"


def find_reducer(name: str) -> Reducer:
    """Return the function named ``package.module:function``; ReducerError when there is none."""
    return cast(Reducer, _find(name))


def find_shown(name: str) -> Shown:
    """Return the function that makes the run to be plotted; that of no name changes nothing."""
    if not name:
        return same_run
    found = cast(Shown, _find(name))

    def shown(run: Run, row: Mapping[str, float]) -> Run:
        with _Blame():
            return found(run, row)

    return shown


def same_run(run: Run, _row: Mapping[str, float]) -> Run:
    """Return the run as it was simulated."""
    return run


def _find(name: str) -> object:
    module, colon, function = name.partition(":")
    if not colon:
        raise ReducerError(f"reducer {name!r} is not named as module:function")
    with _Blame():
        found: object = getattr(importlib.import_module(module), function)
    return found


def reduce_run(
    reducer: Reducer, run: Run, row: Mapping[str, float], outputs: tuple[str, ...]
) -> list[float]:
    """Return the outputs in order; ReducerError when one is missing or infinite.

    The reducer is foreign code here: whatever it raises is reported with its traceback.
    """
    with _Blame():
        values = reducer(run, row)
        picked = [float(values[name]) for name in outputs]
    for name, value in zip(outputs, picked, strict=True):
        if math.isinf(value):
            raise ReducerError(f"output {name} is infinite; NaN stands for 'it never happened'")
    return picked
