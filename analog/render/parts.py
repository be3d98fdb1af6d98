"""What the design says about a part besides its value, for schematics and lists."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pydantic import BaseModel

from analog.design import Design, PartValue, Spread


@dataclass(frozen=True, slots=True)
class Remark:
    """What to write under a value ("±5 % carbon-film"), and what where no value is shown."""

    beside_value: str
    alone: str


def remarks(design: Design) -> dict[str, Remark]:
    """Return the remark for each dotted key that has one."""
    return dict(_remarks(design))


def _remarks(design: Design) -> Iterator[tuple[str, Remark]]:
    for section in type(design).model_fields:
        record = getattr(design, section)
        if isinstance(record, BaseModel):
            for name in type(record).model_fields:
                remark = _remark(getattr(record, name))
                if remark is not None:
                    yield f"{section}.{name}", remark


def _remark(value: object) -> Remark | None:
    if isinstance(value, PartValue):
        tolerance = tolerance_words(value.tolerance_low, value.tolerance_high)
        return Remark(f"{tolerance} {value.technology}".strip(), value.text)
    if isinstance(value, Spread):
        if value.nominal == 0:
            return Remark("", value.text)
        ends = (value.low / value.nominal - 1, value.high / value.nominal - 1)
        return Remark(tolerance_words(*ends), value.text)
    return Remark(value, value) if isinstance(value, str) else None


def tolerance_words(low: float, high: float) -> str:
    """Return tolerances (fractions, the low one negative) as "±5 %" or "−20 % +80 %"."""
    if low == 0 and high == 0:
        return ""
    if abs(low + high) < 1e-9:
        return f"±{100 * high:.3g} %"
    return f"{100 * low:+.3g} % {100 * high:+.3g} %".replace("-", "−")
