"""Sub-circuits a user brings along: read by a grammar of what is allowed, kept as a record.

``read_subcircuit(text, filename, name)`` gives a `Reading` or raises `InputError` with file, line,
rule and remedy of everything refused; ``write_subcircuit(record)`` writes the record out in names
of ours. No word of the user's file is in the record, so none can reach a simulator.

Allowed are R C L K D Q M J E F G H, V and I (DC, PULSE, SIN, short PWL), B with listed functions,
X to sub-circuits of the same file, ``.subckt .ends .param .model`` of built-in types. Numbers
follow SPICE: M is milli.
"""

from analog.subcircuits.reader import decode, read_subcircuit
from analog.subcircuits.record import (
    Behaviour,
    Current,
    DeviceModel,
    Expression,
    Number,
    Operation,
    Part,
    Reading,
    Subcircuit,
    Temperature,
    Voltage,
    Wave,
)
from analog.subcircuits.writer import expression_text, write_subcircuit

__all__ = [
    "Behaviour",
    "Current",
    "DeviceModel",
    "Expression",
    "Number",
    "Operation",
    "Part",
    "Reading",
    "Subcircuit",
    "Temperature",
    "Voltage",
    "Wave",
    "decode",
    "expression_text",
    "read_subcircuit",
    "write_subcircuit",
]
