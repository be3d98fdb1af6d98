"""One libngspice in this process: PySpice's shared session, with messages judged by the data.

PySpice takes every line on stderr for an error; ngspice also reports its rescues there (gmin and
source stepping, the solver it chose) while the run is good, and returns 0 from runs that failed.
So the subclass only keeps the messages, and `simulate` decides by the vectors.
"""

from __future__ import annotations

import logging
import math
import re
import time
import warnings
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from analog.circuits.record import Analysis, DcSweep, OperatingPoint
from analog.engine.build import saved_vector, sweep_range
from analog.engine.outcome import Failure, FailureKind, Floats, Run
from analog.engine.sources import resolve

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # invalid escapes in docstrings, noticed by newer Pythons
    from PySpice.Spice.NgSpice.Shared import NgSpiceShared, ffi, ffi_string_utf8

# Runs between two calls that free ngspice's own record of past commands (it grows by 0.5 to 2 kB
# per run otherwise).
_RUNS_PER_RELEASE = 1000

# A run has reached its stop time when it is short of it by rounding only.
_STOP_SHARE = 1 - 1e-9

# What ngspice says when data are missing, most telling first, and the failure it stands for.
_TELLING: tuple[tuple[str, FailureKind], ...] = (
    ("can't find model", "bad circuit"),
    ("could not find a valid modelname", "bad circuit"),
    ("unable to find definition", "bad circuit"),
    ("unknown subckt", "bad circuit"),
    ("unrecognized parameter", "bad circuit"),
    ("undefined parameter", "bad circuit"),
    ("no such function", "bad circuit"),
    ("no data saved", "bad circuit"),
    ("circuit not parsed", "bad circuit"),
    ("there aren't any circuits", "bad circuit"),
    ("error on line", "bad circuit"),
    ("out of range", "did not converge"),
    ("timestep too small; time", "did not converge"),
    ("singular matrix", "did not converge"),
    ("timestep too small", "did not converge"),
    ("stepping failed", "did not converge"),
    ("aborted", "did not converge"),
)
_REASON_LENGTH = 300


class DeadSessionError(Exception):
    """ngspice asked to be unloaded; no further call into it is safe in this process."""


class NoDataError(Exception):
    """A run without valid data: `kind` is the named failure, `reason` one line for the reader."""

    def __init__(self, kind: FailureKind, reason: str) -> None:
        super().__init__(kind, reason)
        self.kind = kind
        self.reason = reason

    def failure(self) -> Failure:
        return Failure(self.kind, self.reason, "")


class Session(NgSpiceShared):  # type: ignore[misc]
    """libngspice loaded from `path`; one per process, never twice (a second Init may crash)."""

    def __init__(self, path: Path, log: Callable[[str], None]) -> None:
        logging.getLogger("PySpice").disabled = True
        for name in ("NgSpiceShared", "Vector"):
            logging.getLogger(f"PySpice.Spice.NgSpice.Shared.{name}").disabled = True
        self._path = path
        self._log = log
        self.messages: list[str] = []
        self.dead = False
        self.banner = ""
        self._runs = 0
        self.run_s = 0.0
        self.loaded: object = None
        super().__init__()

    @property
    def library_path(self) -> str:
        """The file to load: a full path, since Debian ships only ``libngspice.so.0``."""
        return str(self._path)

    @staticmethod
    def _send_char(message: Any, _identifier: int, user_data: Any) -> int:
        self = ffi.from_handle(user_data)
        text = str(ffi_string_utf8(message))
        content = text.partition(" ")[2]
        self.messages.append(content)
        self._log(content)
        return 0

    @staticmethod
    def _send_stat(_message: Any, _identifier: int, _user_data: Any) -> int:
        return 0

    @staticmethod
    def _exit(status: int, _unload: bool, _quit: bool, _identifier: int, user_data: Any) -> int:
        ffi.from_handle(user_data).dead = True
        return status

    def exec_command(self, command: str, join_lines: bool = True) -> Any:
        """Execute one of our own commands and return what was said; never ``quit``."""
        before = len(self.messages)
        self._ngspice_shared.ngSpice_Command(command.encode("ascii"))
        if self.dead:
            raise DeadSessionError(self.diagnosis()[1])
        said = self.messages[before:]
        if command == "version -f":
            self.banner = "\n".join(said)
        return "\n".join(said) if join_lines else said

    def diagnosis(self) -> tuple[FailureKind | None, str]:
        """Return what the latest messages say went wrong, and the most telling of them."""
        told = [line.strip() for line in self.messages if line.strip()]
        for pattern, kind in _TELLING:
            for line in told:
                if pattern in line.lower():
                    return kind, line[:_REASON_LENGTH]
        return None, told[-1][:_REASON_LENGTH] if told else "ngspice said nothing"

    @property
    def version(self) -> str:
        """The version as the library states it, such as ``39``; empty when it states none."""
        match = re.search(r"ngspice-(\d+(?:\.\d+)*\+?)", self.banner)
        return match.group(1) if match else ""

    def load(self, lines: Sequence[Any], owner: object = None) -> None:
        """Load a circuit from `c_line` values in place of any other.

        `owner` is what it is known by in `loaded`. Raises NoDataError when ngspice refuses it.
        """
        self.remove_circuit()
        self.messages.clear()
        self.loaded = owner or lines
        array = ffi.new("char *[]", [*lines, ffi.NULL])
        code = self._ngspice_shared.ngSpice_Circ(array)
        if self.dead:
            raise DeadSessionError(self.diagnosis()[1])
        if code:
            raise NoDataError("bad circuit", self.diagnosis()[1])
        for message in self.messages:
            # Only a warning to ngspice, which then runs without the parameter.
            if "unrecognized parameter" in message.lower():
                raise NoDataError("bad circuit", message.strip()[:300])

    def alter(self, commands: Sequence[bytes]) -> None:
        """Set values of the loaded circuit; raises NoDataError when ngspice has anything to say."""
        self.messages.clear()
        for command in commands:
            self._ngspice_shared.ngSpice_Command(command)
        if self.dead:
            raise DeadSessionError(self.diagnosis()[1])
        if self.messages:
            raise NoDataError("bad circuit", self.messages[0].strip()[:_REASON_LENGTH])

    def simulate(
        self,
        analysis: Analysis,
        saves: Sequence[str],
        row: Mapping[str, float],
        command: str = "run",
    ) -> Run:
        """Run the loaded circuit by `command` and return its traces.

        The arrays are ngspice's own and hold until `discard`. Raises NoDataError without valid
        data.
        """
        if self._current_plot() != "const":
            # A failed run keeps the plot before it current; its data must never be read as new.
            raise NoDataError("bad circuit", "data of an earlier run were still there")
        started = time.process_time()
        self.exec_command(command)
        self.run_s += time.process_time() - started
        plot = self._current_plot()
        if plot == "const":
            raise self._problem("the run left no data")
        if isinstance(analysis, OperatingPoint):
            run = Run(np.zeros(1), self._traces(plot, saves))
        elif isinstance(analysis, DcSweep):
            run = self._sweep_run(plot, analysis, saves, row)
        else:
            run = self._transient_run(plot, resolve(analysis.stop_s, row), saves)
        _check_traces(run)
        return run

    def remove_circuit(self) -> None:
        """Forget the loaded circuit, if there is one."""
        if self.loaded is not None:
            self.loaded = None
            self.exec_command("remcirc")

    def discard(self) -> None:
        """Forget the data; every so often also ngspice's record of past commands."""
        self.exec_command("destroy all")
        self._runs += 1
        if self._runs % _RUNS_PER_RELEASE == 0:
            self._ngspice_shared.ngSpice_Command(ffi.NULL)

    def _current_plot(self) -> str:
        return str(ffi_string_utf8(self._ngspice_shared.ngSpice_CurPlot()))

    def _transient_run(self, plot: str, stop_s: float, saves: Sequence[str]) -> Run:
        time = self._vector(plot, "time")
        if time is None or time.size < 2:
            raise self._problem("the run left no data")
        if not time[-1] >= stop_s * _STOP_SHARE:
            raise self._problem(f"data end at {time[-1]:.6g} s of {stop_s:.6g} s", "truncated")
        return Run(time, self._traces(plot, saves))

    def _sweep_run(
        self, plot: str, analysis: DcSweep, saves: Sequence[str], row: Mapping[str, float]
    ) -> Run:
        _, stop, step = sweep_range(analysis, row)
        kind = "i-sweep" if analysis.source.lower().startswith("i") else "v-sweep"
        sweep = self._vector(plot, kind)
        if sweep is None:
            raise self._problem("the run left no data")
        if abs(sweep[-1] - stop) > abs(step) * (1 + 1e-6):
            raise self._problem(f"data end at {sweep[-1]:.6g} of {stop:.6g}", "truncated")
        return Run(np.empty(0), self._traces(plot, saves), sweep=sweep)

    def _traces(self, plot: str, saves: Sequence[str]) -> dict[str, Floats]:
        traces = {}
        for save in saves:
            vector = self._vector(plot, saved_vector(save))
            if vector is None:
                raise self._problem(f"{save} is not in the data", "bad circuit")
            traces[save] = vector
        return traces

    def _vector(self, plot: str, name: str) -> Floats | None:
        """Return a vector where it lies, None when it does not exist or holds nothing."""
        info = self._ngspice_shared.ngGet_Vec_Info(f"{plot}.{name}".encode("ascii"))
        if info == ffi.NULL or info.v_realdata == ffi.NULL or info.v_length == 0:
            return None
        data = ffi.buffer(info.v_realdata, info.v_length * 8)
        return np.frombuffer(data, dtype=np.float64)

    def _problem(self, what: str, otherwise: FailureKind = "did not converge") -> NoDataError:
        """Return the problem behind missing data, named by what ngspice said."""
        kind, told = self.diagnosis()
        return NoDataError(kind or otherwise, f"{what}: {told}")


def c_line(text: str) -> Any:
    """Return one netlist line as a C string; ngspice copies it when it loads the circuit."""
    return ffi.new("char[]", text.encode("ascii"))


def _check_traces(run: Run) -> None:
    expected = run.sweep.size if run.sweep is not None else run.time.size
    for name, trace in run.traces.items():
        if trace.size != expected:
            raise NoDataError("truncated", f"{name} has {trace.size} points instead of {expected}")
        # A sum is finite only if all are, and takes half the time of looking at each.
        if not math.isfinite(trace.sum()) and not np.isfinite(trace).all():
            raise NoDataError("did not converge", f"{name} is not finite throughout")
