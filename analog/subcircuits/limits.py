"""What a sub-circuit file may hold at most: far above any filter, far below any attack."""

from __future__ import annotations

from typing import Final

LARGEST_BYTES: Final = 100_000
LONGEST_LINE: Final = 2_000
MOST_LINES: Final = 3_000
LONGEST_CARD: Final = 10_000
LONGEST_NAME: Final = 64
MOST_TOKENS: Final = 1_000
MOST_PORTS: Final = 16
MOST_PARAMETERS: Final = 200
MOST_DEFINITIONS: Final = 50
MOST_PARTS: Final = 500
"""Elements after every X has been replaced by what it stands for."""

DEEPEST_NESTING: Final = 8
DEEPEST_EXPRESSION: Final = 24
DEEPEST_CHAIN: Final = 120
"""Levels of expressions and of parameters that hang on parameters, together."""

MOST_TERMS: Final = 300
"""Numbers, names and operations of one expression."""

MOST_POINTS: Final = 100
"""Pairs of a piecewise linear source."""

SHORTEST_PERIOD_S: Final = 2e-3
"""Of a pulse train: the longest run, forty mains cycles, takes 750 pulses at most."""

MOST_PROBLEMS: Final = 50
