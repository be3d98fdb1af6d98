"""Findings as workflow commands, which a hosted CI shows beside the line they speak of.

One command per line, ``::error file=…,line=…,col=…,title=…::message``. Whatever a user wrote is
escaped as the runner's documentation of workflow commands asks: per cent, line breaks, and in
properties colon and comma.
"""

from __future__ import annotations

from analog.design import Design
from analog.design.findings import one_line
from analog.render.words import NO_BREAK, finding
from analog.results.records import Results
from analog.workflows.places import limit_place


def commands(results: Results, design: Design, file: str) -> tuple[str, ...]:
    """Return one command per limit that failed or could not be judged.

    `file` is the design's path from the root of the repository; the line is that of the key
    which sets the limit.
    """
    found = []
    for bench in results.benches:
        for row in bench.measures:
            if row.verdict in ("fail", "undecided"):
                line, column = limit_place(design, bench.bench, row)
                title = f"{bench.bench}.{row.measure}: {row.verdict}"
                level = "error" if row.verdict == "fail" else "warning"
                source = f". Limit from: {row.limit.source}" if row.limit else ""
                text = f"{finding(row)}{source}"
                found.append(command(level, file, line, column, title, text))
    return tuple(found)


def command(level: str, file: str, line: int, column: int, title: str, message: str) -> str:
    """Return one workflow command; `level` is error, warning or notice."""
    places = f"file={_property(file)},line={line},col={column},title={_property(title)}"
    return f"::{level} {places}::{_data(message)}"


def disarmed(text: str) -> str:
    """Return text of which no line is taken for a command by a runner that reads the log."""
    return "\n".join(_disarmed_line(line) for line in text.split("\n"))


def _disarmed_line(line: str) -> str:
    line = line.replace("##[", "# #[")
    bare = line.lstrip()
    return f"{line[: len(line) - len(bare)]}\\{bare}" if bare.startswith("::") else line


def _data(text: str) -> str:
    flat = one_line(text.replace(NO_BREAK, " "))
    return flat.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def _property(text: str) -> str:
    return _data(text).replace(":", "%3A").replace(",", "%2C")
