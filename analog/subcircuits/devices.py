"""Built-in devices: which model parameters and instance values may be given, by SPICE name.

Names are those of the ngspice manual (chapters on diodes, BJTs, JFETs and MOSFETs, levels 1 to
3). A data sheet's extra words (maker, ratings) are not among them.
"""

from __future__ import annotations

from typing import Final

_NOISE: Final = "kf af"
_DIODE: Final = f"is rs n tt cjo vj m eg xti {_NOISE} fc bv ibv tnom"
_BIPOLAR: Final = (
    "is bf nf vaf ikf ise ne br nr var ikr isc nc rb irb rbm re rc cje vje mje tf xtf vtf itf ptf "
    f"cjc vjc mjc xcjc tr cjs vjs mjs xtb eg xti {_NOISE} fc tnom"
)
_MOS: Final = (
    "level vto kp gamma phi lambda rd rs cbd cbs is pb cgso cgdo cgbo rsh cj mj cjsw mjsw js tox "
    f"nsub nss nfs tpg xj ld uo ucrit uexp vmax neff {_NOISE} fc delta theta eta kappa tnom"
)
_JUNCTION_FET: Final = f"vto beta lambda rd rs cgs cgd pb is {_NOISE} fc tnom"

MODEL_PARAMETERS: Final[dict[str, frozenset[str]]] = {
    "d": frozenset(_DIODE.split()),
    "npn": frozenset(_BIPOLAR.split()),
    "pnp": frozenset(_BIPOLAR.split()),
    "nmos": frozenset(_MOS.split()),
    "pmos": frozenset(_MOS.split()),
    "njf": frozenset(_JUNCTION_FET.split()),
    "pjf": frozenset(_JUNCTION_FET.split()),
}

#: Second names of the same parameter.
SAME: Final = {"cj0": "cjo", "pc": "vjc", "pe": "vje", "va": "vaf", "ik": "ikf", "pb": "pb"}

#: Element kind: model types it takes.
TYPES: Final = {
    "d": ("d",),
    "q": ("npn", "pnp"),
    "m": ("nmos", "pmos"),
    "j": ("njf", "pjf"),
}

#: Element kind: values it takes as name = value.
INSTANCE_VALUES: Final[dict[str, frozenset[str]]] = {
    "r": frozenset({"r", "tc1", "tc2"}),
    "c": frozenset({"c", "tc1", "tc2"}),
    "l": frozenset({"l", "tc1", "tc2"}),
    "d": frozenset({"area"}),
    "q": frozenset({"area"}),
    "j": frozenset({"area"}),
    "m": frozenset({"l", "w", "ad", "as", "pd", "ps", "nrd", "nrs"}),
}

#: What must be above zero, among instance values.
POSITIVE: Final = frozenset({"area", "w"})

MOS_LEVELS: Final = (1.0, 2.0, 3.0)
