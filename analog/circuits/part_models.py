"""From the figures of a card to the arguments of its model in `models/`.

These are the arguments of a typical part at 25 °C: the typical figure, else the middle of the
guaranteed ends, else the one end given. Benches move them between the ends of the card by axes
of their own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from analog.cards import Card, Column
from analog.circuits.detector_models import detector_arguments
from analog.circuits.line_filter import INPUT_OHM
from analog.circuits.logic_models import gate_arguments, output_arguments, output_threshold_v
from analog.circuits.optocoupler_models import optocoupler_arguments

NEVER_A = 1e3
"""Trigger current (A) of a quadrant in which a triac does not trigger."""

RANDOM_PHASE_V = 1e6
"""Inhibit voltage (V) of an opto-triac that has none."""

CLOCK_GAIN = 1000.0
"""Slope of a buffered input at its threshold: a thousand and more (common practice)."""

CLOCK_LAG_S = {"4000B": 30e-9, "74HC": 5e-9}
"""Time constant of a clock input by family (from memory; not tabulated by makers)."""

COMMUTATING_A_PER_S = 5e3
"""Critical commutating rate where a maker gives none: a small triac's (from memory)."""

DARLINGTON_V = 1.2
"""Dropout (V) of a regulator without load: two junctions of its pass device (from memory)."""

_BUILT_IN = {"diode": "D", "zener": "D", "npn": "NPN", "pnp": "PNP", "nmos": "NMOS"}


@dataclass(frozen=True, slots=True)
class PartModel:
    """How a part is simulated.

    `library` names a file of `models/` and is empty for a built-in device, whose SPICE type is
    `device` then. `arguments` are (name, SI value) as the library or the device calls them.
    `supply_v` is the supply the arguments hold at, None where they do not depend on one.
    """

    library: str
    device: str
    arguments: tuple[tuple[str, float], ...]
    supply_v: float | None = None

    def as_dict(self) -> dict[str, float]:
        """Return the arguments by name."""
        return dict(self.arguments)


def part_model(card: Card, column: Column, vdd: float | None = None) -> PartModel | None:
    """Return how one maker's part is simulated, None for parts without a model.

    `vdd` (V) is needed by logic parts: ValueError without it. Raises MissingFigureError when
    the column lacks a figure that the model cannot do without.
    """
    if column.spice:
        return PartModel("", _BUILT_IN[card.kind], tuple(column.spice.items()))
    if not card.library:
        return None
    if card.library in _LOGIC:
        if vdd is None:
            raise ValueError(f"the model of {card.identifier} depends on the supply: give vdd")
        arguments = _LOGIC[card.library](column, card.family, vdd)
        return PartModel(card.library, "", tuple(arguments.items()), vdd)
    return PartModel(card.library, "", tuple(_PLAIN[card.library](column).items()))


def tied_inputs(column: Column, vdd: float) -> dict[str, float]:
    """Return the thresholds (V) that replace `v_p` and `v_n` with both gate inputs tied."""
    return {
        "v_p": column.figure("V_P_tied", vdd).centre,
        "v_n": column.figure("V_N_tied", vdd).centre,
    }


def _schmitt(column: Column, family: str, vdd: float) -> dict[str, float]:
    rise, fall = (column.figure(name, vdd).centre for name in ("t_plh", "t_phl"))
    return {
        "vnom": vdd,
        "v_p": column.figure("V_P", vdd).centre,
        "v_n": column.figure("V_N", vdd).centre,
        **output_arguments(column, vdd),
        "t_pd": (rise + fall) / 2,
        "t_tr": column.figure("t_transition", vdd).centre,
        "c_in": column.figure("C_in", vdd).centre,
        "r_in": INPUT_OHM[family],
        "vto": output_threshold_v(vdd),
    }


def _clock_input(column: Column, family: str, vdd: float) -> dict[str, float]:
    middle = (column.figure("V_IL", vdd).centre + column.figure("V_IH", vdd).centre) / 2
    return {
        "f_th": middle / vdd,
        "gain": CLOCK_GAIN,
        "tau": CLOCK_LAG_S[family],
        "vnom": vdd,
        **output_arguments(column, vdd),
        "c_in": column.figure("C_in", vdd).centre,
        "r_in": INPUT_OHM[family],
    }


def _triac(column: Column) -> dict[str, float]:
    latching = column.figure("I_L").centre if column.has("I_L") else column.figure("I_H").centre
    return {
        **{f"IGT{q}": _or(column, f"I_GT_{q}", NEVER_A) for q in (1, 2, 3, 4)},
        "VGT": column.figure("V_GT").centre,
        "IL": latching,
        "IH": min(column.figure("I_H").centre, latching),
        "VT0": column.figure("V_T0").centre,
        "RD": column.figure("R_d").centre,
        "DVDT": column.figure("dvdt_static").centre / 1e6,
        "DIDTC": _or(column, "didt_c", COMMUTATING_A_PER_S) / 1e3,
    }


def _opto_triac(column: Column) -> dict[str, float]:
    return {
        "IFT": column.figure("I_FT").centre,
        "VF": column.figure("V_F").centre,
        "IFV": column.figure("I_F_test").centre,
        "VTM": column.figure("V_TM").centre,
        "ITM": column.figure("I_TM_test").centre,
        "RD": column.figure("R_d").centre,
        "IL": column.figure("I_L").centre,
        "IH": column.figure("I_H").centre,
        "VINH": _or(column, "V_INH", RANDOM_PHASE_V),
        "DVDT": column.figure("dvdt_static").centre / 1e6,
    }


def _regulator(column: Column) -> dict[str, float]:
    return {
        "v_o": column.figure("V_O").centre,
        "i_o": column.figure("I_O_test").centre,
        "v_drop": column.figure("V_dropout").centre,
        "i_drop": column.figure("I_dropout_test").centre,
        "v_d0": min(DARLINGTON_V, 0.9 * column.figure("V_dropout").centre),
        "i_lim": column.figure("I_limit").centre,
        "i_q": column.figure("I_Q").centre,
        "r_out": column.figure("R_out").centre,
        "line": float(10 ** (-column.figure("ripple_rejection").centre / 20)),
    }


def _transformer(column: Column) -> dict[str, float]:
    """Return what the card gives; voltages and frequency are those of the design."""
    return {
        "va": column.figure("rating").centre,
        "reg": column.figure("regulation").centre,
        "leak": column.figure("leakage_share").centre,
        "mag": column.figure("magnetising_share").centre,
        "iron": column.figure("iron_loss_share").centre,
        "c_iw": column.figure("interwinding_capacitance").centre,
    }


def _or(column: Column, name: str, otherwise: float) -> float:
    return column.figure(name).centre if column.has(name) else otherwise


_LOGIC: Mapping[str, Callable[[Column, str, float], dict[str, float]]] = {
    "schmitt": _schmitt,
    "clock_input": _clock_input,
    "gate": gate_arguments,
}
_PLAIN: Mapping[str, Callable[[Column], dict[str, float]]] = {
    "triac": _triac,
    "opto_triac": _opto_triac,
    "optocoupler": optocoupler_arguments,
    "regulator": _regulator,
    "detector": detector_arguments,
    "transformer": _transformer,
}
