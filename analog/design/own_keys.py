"""The keys by which a section names a sub-circuit of the user's own."""

from __future__ import annotations

from typing import Annotated, Final

from pydantic import BaseModel, InstanceOf
from pydantic.json_schema import SkipJsonSchema

from analog.design.fields import Wording
from analog.design.own import OwnCircuit

_STEP: Final = r"[A-Za-z0-9_][A-Za-z0-9_.\-]*"

#: A file beside the design or in a folder below it: no drive, no root, no step upwards.
SubcircuitFile = Annotated[
    str,
    Wording(
        rf"{_STEP}(?:/{_STEP})*",
        "this is no plain name of a file in the design's folder",
        "Write it like my-filter.cir: letters, digits, '-', '_' and '.', folders with '/', no '..'",
        120,
    ),
]
#: A sub-circuit's or a port's name inside that file.
InnerName = Annotated[
    str,
    Wording(
        r"[A-Za-z0-9_]+",
        "a name in a sub-circuit file has only letters, digits and '_'",
        "Write it as the file does",
        64,
    ),
]
ToleranceText = Annotated[
    str,
    Wording(
        r"[0-9+\-\u2212±/. %\u00a0\u202f]+",
        "this is no tolerance",
        "Write it like 5%, ±5 % or -20+80%",
        40,
    ),
]


class OwnKeys(BaseModel):
    """Names a sub-circuit file and says what its ports are for (``pin = "out"``).

    `subcircuit_tolerances` gives resistors, capacitors and inductors that stand directly in the
    sub-circuit a tolerance (``R1 = "5%"``); all its other values are nominal. `own` is what was
    read from the file.
    """

    subcircuit: SubcircuitFile | None = None
    subcircuit_name: InnerName | None = None
    subcircuit_ports: dict[str, InnerName] | None = None
    subcircuit_tolerances: dict[str, ToleranceText] | None = None
    own: SkipJsonSchema[InstanceOf[OwnCircuit]] | None = None
