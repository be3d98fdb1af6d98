"""The engine against the usual way of running ngspice, at equal accuracy, on the shipped design."""

from analog.benchmark.compare import Comparison, compare
from analog.benchmark.subjects import SUBJECTS, Subject

__all__ = ["SUBJECTS", "Comparison", "Subject", "compare"]
