"""Run decks of plain text in one session of this process and tell what became of each.

Started as a process of its own: several of the decks end the session, or the process. Reads JSON
from standard input: a list of {"lines", "save", "analysis", "commands"}; writes one JSON object
per deck. Elements of `commands` are executed between loading and running.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

from analog.circuits.record import Analysis, DcSweep, OperatingPoint, Transient
from analog.engine.library import used_library
from analog.engine.session import DeadSessionError, NoDataError, Session, c_line

ANALYSES: dict[str, tuple[Analysis, str]] = {
    "tran": (Transient(stop_s=1e-3, step_s=1e-5), ".tran 1e-5 1e-3 0 1e-5"),
    "op": (OperatingPoint(), ".op"),
    "dc": (DcSweep("V1", 0.0, 1.0, 0.1), ".dc V1 0 1 0.1"),
}


def attempt(session: Session, deck: dict[str, Any]) -> dict[str, Any]:
    analysis, line = ANALYSES[deck.get("analysis", "tran")]
    lines = ["* deck", *deck["lines"], deck.get("line", line), f".save {deck['save']}", ".end"]
    try:
        session.load([c_line(text) for text in lines])
        for command in deck.get("commands", []):
            session.exec_command(command)
        # A copy: the session's own array ends with its data.
        trace = session.simulate(analysis, [deck["save"]], {}).trace(deck["save"]).tolist()
    except NoDataError as problem:
        return {"kind": problem.kind, "reason": problem.reason}
    except DeadSessionError as problem:
        return {"kind": "dead", "reason": str(problem)}
    finally:
        messages = list(session.messages)
        if not session.dead:
            session.discard()
            session.remove_circuit()
    return {"kind": "data", "last": trace[-1], "points": len(trace), "messages": messages}


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        Path(".spiceinit").touch()
        session = Session(used_library().path, lambda _line: None)
        for deck in json.load(sys.stdin):
            print(json.dumps(attempt(session, deck)), flush=True)
            if session.dead:
                break
        os.chdir("/")


if __name__ == "__main__":
    main()
