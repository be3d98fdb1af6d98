"""A picture of the page with its caption."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture with its caption; `missing` says why there is none."""

    title: str
    svg: str
    caption: str
    width: float = 0.0
    missing: str = ""
