"""Every error Edgeproof raises on purpose, sorted by what the reader should do about it.

    EdgeproofError
    ├── InputError        mend the design file, the command or a part name   (exit code 2)
    ├── MachineError      mend this computer: no engine, folder, disk         (exit code 3)
    └── RunError          a simulation did not give data; the sample is kept  (never a pass)

All of them survive pickling, because they cross process borders.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with the input, where it stands and how to mend it.

    `line` and `column` count from 1; 1:1 stands for the whole file. `key` is the dotted key
    (``line_sense.capacitor``), empty for the whole file; `value` is what was found, as text.
    """

    file: str
    line: int
    column: int
    key: str
    value: str
    rule: str
    remedy: str

    def __str__(self) -> str:
        subject = f"{self.key} = {self.value}: " if self.key and self.value else ""
        subject = subject or (f"{self.key}: " if self.key else "")
        return f"{self.file}:{self.line}:{self.column}: {subject}{self.rule}. {self.remedy}"

    def as_dict(self) -> dict[str, Any]:
        """Return the fields as plain data for ``--json``."""
        return asdict(self)


class EdgeproofError(Exception):
    """Base of all errors raised on purpose; `exit_code` is the command's exit code."""

    exit_code = 3


class InputError(EdgeproofError):
    """The design file, a command option or a part name must be changed by the reader.

    Carries every problem found, never only the first.
    """

    exit_code = 2

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        if not problems:
            raise ValueError("an InputError needs at least one problem")
        super().__init__(problems)
        self.problems = problems

    def __str__(self) -> str:
        return "\n".join(str(problem) for problem in self.problems)


class MachineError(EdgeproofError):
    """This computer lacks something: the engine, a writable folder, room on the disk."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what, remedy)
        self.what = what
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{self.what}. {self.remedy}"


class RunError(EdgeproofError):
    """A simulation gave no valid data. `kind` is one of the named failures of the engine."""

    def __init__(self, kind: str, reason: str, netlist: str = "") -> None:
        super().__init__(kind, reason, netlist)
        self.kind = kind
        self.reason = reason
        self.netlist = netlist

    def __str__(self) -> str:
        return f"{self.kind}: {self.reason}"
