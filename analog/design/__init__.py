"""The design file: what the user builds, as a frozen record, with every error located.

``read_design(path)`` and ``parse_design(text, filename)`` give a `Design` or raise `InputError`
with all problems of form and of meaning together.
"""

from analog.design.own import OwnCircuit
from analog.design.reader import (
    ReadDesigns,
    parse_design,
    problem_at,
    read_design,
    read_designs,
)
from analog.design.record import (
    Clocked,
    Conditioner,
    Design,
    Environment,
    GateDrive,
    LineSense,
    Load,
    Mains,
    Reset,
    Supply,
)
from analog.design.schema import design_schema, shipped_schema
from analog.design.starter import starter_text
from analog.design.values import PartValue, Spread
from analog.design.wishes import Expect, LimitOverride, SpreadRule

__all__ = [
    "Clocked",
    "Conditioner",
    "Design",
    "Environment",
    "Expect",
    "GateDrive",
    "LimitOverride",
    "LineSense",
    "Load",
    "Mains",
    "OwnCircuit",
    "PartValue",
    "ReadDesigns",
    "Reset",
    "Spread",
    "SpreadRule",
    "Supply",
    "design_schema",
    "parse_design",
    "problem_at",
    "read_design",
    "read_designs",
    "shipped_schema",
    "starter_text",
]
