"""Exit codes, and which one wins when several designs end differently."""

from __future__ import annotations

from collections.abc import Iterable

from analog.verdicts import Verdict

PASSED = 0
FAILED = 1
BAD_INPUT = 2
UNDECIDED = 3
INTERRUPTED = 130
PIPE_CLOSED = 141
"""Nobody read the output to its end; what a program ended by SIGPIPE gives in a shell."""

_GRAVITY = (PASSED, UNDECIDED, FAILED, BAD_INPUT)


def gravest(codes: Iterable[int]) -> int:
    """Return the code of a command: bad input, else a failed limit, else undecided, else 0."""
    return max(codes, key=_GRAVITY.index, default=PASSED)


def of_verdict(verdict: Verdict | None) -> int:
    """Return the code of one design's verdict; a design without any limit has not failed."""
    return {"pass": PASSED, "fail": FAILED, "undecided": UNDECIDED, None: PASSED}[verdict]
