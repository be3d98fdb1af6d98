"""What the design says about a part besides its value, for schematics and lists."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import BaseModel

from analog.design import Design, PartValue, Spread


def remarks(design: Design) -> dict[str, str]:
    """Return {dotted key: words}: tolerance and technology of values, names of parts."""
    return dict(_remarks(design))


def _remarks(design: Design) -> Iterator[tuple[str, str]]:
    for section in type(design).model_fields:
        record = getattr(design, section)
        if isinstance(record, BaseModel):
            for name in type(record).model_fields:
                words = _words(getattr(record, name))
                if words:
                    yield f"{section}.{name}", words


def _words(value: object) -> str:
    if isinstance(value, PartValue):
        tolerance = tolerance_words(value.tolerance_low, value.tolerance_high)
        return f"{tolerance} {value.technology}".strip()
    if isinstance(value, Spread):
        if value.nominal == 0:
            return ""
        return tolerance_words(value.low / value.nominal - 1, value.high / value.nominal - 1)
    return value if isinstance(value, str) else ""


def tolerance_words(low: float, high: float) -> str:
    """Return tolerances (fractions, the low one negative) as "±5 %" or "−20 % +80 %"."""
    if low == 0 and high == 0:
        return ""
    if abs(low + high) < 1e-9:
        return f"±{100 * high:.3g} %"
    return f"{100 * low:+.3g} % {100 * high:+.3g} %".replace("-", "−")
