"""Mains presets: the voltage range that function and stress are judged over, per nominal."""

from __future__ import annotations

from dataclasses import dataclass

from analog.cards.figures import Source


@dataclass(frozen=True, slots=True)
class MainsPreset:
    """A public supply: voltages in V rms, frequency in Hz, its tolerance as a share.

    Function is judged down to `minimum_v`, stress up to `maximum_v`.
    """

    nominal_v: float
    frequency_hz: float
    minimum_v: float
    maximum_v: float
    frequency_tolerance: float
    minimum_source: Source
    maximum_source: Source
    frequency_source: Source


_FREQUENCY_50 = Source(
    "document", "EN 50160, frequency of interconnected systems: 10-s mean within ±1 %"
)
_FREQUENCY_60 = Source("practice", "±1 %, as EN 50160 gives for 50 Hz")

_PRESETS = (
    MainsPreset(
        230.0,
        50.0,
        198.0,
        253.0,
        0.01,
        Source("memory", "IEC 60038: 230 V −10 % and 4 % drop inside the building", "high"),
        Source("memory", "IEC 60038 and EN 50160: 230 V +10 %", "high"),
        _FREQUENCY_50,
    ),
    MainsPreset(
        120.0,
        60.0,
        104.0,
        132.0,
        0.01,
        Source("memory", "ANSI C84.1, range B, utilisation voltage", "high"),
        Source("practice", "120 V +10 %; ANSI C84.1 range B ends at 127 V"),
        _FREQUENCY_60,
    ),
)


def mains_presets() -> tuple[MainsPreset, ...]:
    """Return all presets."""
    return _PRESETS


def mains_preset(nominal_v: float, frequency_hz: float) -> MainsPreset | None:
    """Return the preset of a nominal voltage and frequency, None when there is none."""
    for preset in _PRESETS:
        if preset.nominal_v == nominal_v and preset.frequency_hz == frequency_hz:
            return preset
    return None
