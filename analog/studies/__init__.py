"""Studies: arrays in, arrays out. Nothing here knows a circuit, a file or a simulator."""

from analog.studies.extremes import Extreme, Extremes, Objective, extremes

__all__ = ["Extreme", "Extremes", "Objective", "extremes"]
