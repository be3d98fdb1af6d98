"""Reads design files: text to `Design`, or an `InputError` with everything that is wrong."""

from __future__ import annotations

import tomllib
from pathlib import Path

from analog.design.record import Design


def read_design(path: Path | str) -> Design:
    """Read the design file at `path`."""
    return parse_design(Path(path).read_text(encoding="utf-8"), str(path))


def parse_design(text: str, filename: str) -> Design:  # noqa: ARG001
    """Turn the text of a design file into a `Design`."""
    data = tomllib.loads(text)
    data.pop("edgeproof")
    return Design(**data.pop("design"), **data, text=text)
