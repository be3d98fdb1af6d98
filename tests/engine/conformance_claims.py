"""What each model claims: which figures of a card it meets, how that is measured, how closely.

A card of a modelled kind is measured by this table the moment it is added. Every figure of such
a card stands here as a claim, or in `NOT_CLAIMED` with the reason; a new figure name makes the
test fail until somebody has decided which it is.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import conformance_detector as detector
import conformance_devices as devices
import conformance_logic as logic
import conformance_optocoupler as coupler
import conformance_power as power
from conformance_parts import Part

from analog.engine import Engine

Measure = Callable[[Engine, Part], float]


@dataclass(frozen=True, slots=True)
class Claim:
    """A figure, its measure, and how far (shares) the measure may lie `below` and `above`.

    `limits` instead holds the measure to the card's own minimum and maximum, to 5 % of a figure
    given only as typical. `expected` replaces
    the typical figure. `departure` claims measure the error itself, wanted 0.
    """

    figure: str
    measure: Measure
    below: float = 0.0
    above: float = 0.0
    limits: bool = False
    departure: bool = False
    expected: Callable[[Part], float] | None = None

    def fault(self, measured: float, part: Part) -> str:
        """Return what is wrong with a measured value, empty when nothing is."""
        low, high = self.bounds(part)
        if math.isfinite(measured) and low <= measured <= high:
            return ""
        return f"{part.label} {self.figure} {measured:.6g} is outside {low:.6g} to {high:.6g}"

    def bounds(self, part: Part) -> tuple[float, float]:
        if self.departure:
            return 0.0, self.above
        if self.limits:
            figure = part.figure(self.figure)
            if figure.minimum is None and figure.maximum is None:
                return 0.95 * figure.centre, 1.05 * figure.centre
            low = -math.inf if figure.minimum is None else figure.minimum
            return low, math.inf if figure.maximum is None else figure.maximum
        wanted = self.expected(part) if self.expected else part.centre(self.figure)
        ends = (wanted * (1 - self.below), wanted * (1 + self.above))
        return min(ends), max(ends)


def value(
    figure: str,
    tolerance: float,
    measure: Measure,
    expected: Callable[[Part], float] | None = None,
) -> Claim:
    return Claim(figure, measure, tolerance, tolerance, expected=expected)


def within(figure: str, measure: Measure) -> Claim:
    return Claim(figure, measure, limits=True)


def curve(figure: str, tolerance: float, measure: Measure) -> Claim:
    return Claim(figure, measure, above=tolerance, departure=True)


OUTPUT = (
    value("I_OL", 0.05, lambda e, p: logic.low_level(e, p), lambda p: p.centre("V_OL_test")),
    value(
        "I_OH",
        0.05,
        lambda e, p: p.supply - logic.high_level(e, p),
        lambda p: p.supply - p.centre("V_OH_test"),
    ),
    within("V_OL", lambda e, p: logic.low_level(e, p, loaded=False)),
    within("V_OH", lambda e, p: logic.high_level(e, p, loaded=False)),
    value("C_in", 0.02, logic.input_capacitance),
)

DELAY = (
    value("t_plh", 0.3, lambda e, p: logic.timing(e, p, "t_plh")),
    value("t_phl", 0.3, lambda e, p: logic.timing(e, p, "t_phl")),
    # Where a maker's delay leaves no time for the family's transition, the model keeps the delay;
    # where its output drive is too weak for its transition, the model keeps the drive.
    Claim("t_transition", lambda e, p: logic.timing(e, p, "t_transition"), 0.7, 0.35),
)

SCHMITT = (
    value("V_P", 0.003, lambda e, p: logic.threshold(e, p, rising=True)),
    value("V_N", 0.003, lambda e, p: logic.threshold(e, p, rising=False)),
    value("V_P_tied", 0.003, lambda e, p: logic.threshold(e, p, rising=True, tied=True)),
    value("V_N_tied", 0.003, lambda e, p: logic.threshold(e, p, rising=False, tied=True)),
    within("V_H", logic.hysteresis),
    within("V_H_tied", lambda e, p: logic.hysteresis(e, p, tied=True)),
    *DELAY,
    *OUTPUT,
)

# At the guaranteed levels the input reads what it must, and it changes midway between them.
INPUT = (
    Claim(
        "V_IL",
        lambda e, p: logic.input_reads(e, p, "V_IL"),
        0.1,
        0.001,
        expected=lambda p: p.supply,
    ),
    Claim(
        "V_IH",
        lambda e, p: p.supply - logic.input_reads(e, p, "V_IH"),
        0.1,
        0.001,
        expected=lambda p: p.supply,
    ),
)

CLOCKED = (*INPUT, *OUTPUT)

GATE = (
    *INPUT,
    *DELAY,
    value("gain", 0.1, logic.gain),
    *OUTPUT,
)


def _least(part: Part) -> float:
    """Return the holding current of the model, which never exceeds the latching current."""
    return min(part.centre("I_H"), part.centre("I_L"))


def _temperature_claims() -> tuple[Claim, ...]:
    def trigger(engine: Engine, part: Part) -> float:
        base = part.arguments["IGT1"]
        return power.over_temperature(
            engine,
            part,
            "I_GT_ratio",
            lambda ratio, t: (
                power.gate_ramp(engine, part, 1, "i_gate", i_gt_1=ratio * base, ambient_c=t) / base
            ),
        )

    def holding(engine: Engine, part: Part) -> float:
        base = _least(part)
        latching = part.arguments["IL"]
        return power.over_temperature(
            engine,
            part,
            "I_H_ratio",
            lambda ratio, t: (
                power.holding(engine, part, i_h=ratio * base, i_l=ratio * latching, ambient_c=t)
                / base
            ),
        )

    def gate_voltage(engine: Engine, part: Part) -> float:
        base = part.arguments["VGT"]
        return power.over_temperature(
            engine,
            part,
            "V_GT_ratio",
            lambda ratio, t: (
                power.gate_ramp(engine, part, 1, "v_gate", v_gt=ratio * base, ambient_c=t) / base
            ),
        )

    return (
        curve("I_GT_ratio", 0.01, trigger),
        curve("I_H_ratio", 0.03, holding),
        curve("V_GT_ratio", 0.02, gate_voltage),
    )


TRIAC = (
    value("I_GT_1", 0.01, lambda e, p: power.gate_ramp(e, p, 1, "i_gate")),
    value("I_GT_2", 0.01, lambda e, p: power.gate_ramp(e, p, 2, "i_gate")),
    value("I_GT_3", 0.01, lambda e, p: power.gate_ramp(e, p, 3, "i_gate")),
    value("I_GT_4", 0.01, lambda e, p: power.gate_ramp(e, p, 4, "i_gate")),
    value("V_GT", 0.02, lambda e, p: power.gate_ramp(e, p, 1, "v_gate")),
    value("I_L", 0.03, power.latching),
    value("I_H", 0.03, power.holding, _least),
    value("V_T0", 0.01, lambda e, p: power.on_line(e, p)[0]),
    value("R_d", 0.01, lambda e, p: power.on_line(e, p)[1]),
    value("dvdt_static", 0.05, power.static_dvdt),
    value("didt_c", 0.05, power.commutating_didt),
    *_temperature_claims(),
)


def _led_over_temperature(engine: Engine, part: Part) -> float:
    base = part.arguments["IFT"]
    return power.over_temperature(
        engine,
        part,
        "I_FT_ratio",
        lambda ratio, t: power.led_ramp(engine, part, i_ft=ratio * base, ambient_c=t) / base,
    )


OPTO_TRIAC = (
    value("I_FT", 0.01, power.led_ramp),
    value("V_F", 0.005, power.led_voltage),
    value("V_TM", 0.01, lambda e, p: power.opto_line(e, p)[0]),
    value("V_T0", 0.01, lambda e, p: power.opto_line(e, p)[1]),
    value("R_d", 0.01, lambda e, p: power.opto_line(e, p)[2]),
    value("I_H", 0.03, power.opto_holding, _least),
    value("V_INH", 0.03, power.inhibiting),
    value("dvdt_static", 0.05, power.opto_dvdt),
    curve("I_FT_ratio", 0.01, _led_over_temperature),
)

OPTOCOUPLER = (
    value("V_F", 0.005, coupler.led_voltage),
    value("CTR", 0.01, coupler.ratio),
    within("CTR_symmetry", coupler.symmetry),
    # Three coefficients stand for the whole curve.
    curve("CTR_ratio", 0.12, coupler.over_current),
    curve("CTR_T_ratio", 0.01, coupler.over_temperature),
    value("V_CE_sat", 0.02, coupler.saturation),
    # The solver's own conductance adds to it.
    Claim("I_CEO", coupler.dark_current, 0.01, 0.2),
    # One time constant stands for both edges.
    value("t_r", 0.3, lambda e, p: coupler.edge(e, p, "t_r")),
    value("t_f", 0.3, lambda e, p: coupler.edge(e, p, "t_f")),
    value("C_iso", 0.02, coupler.barrier_capacitance),
)

REGULATOR = (
    value("V_O", 0.01, lambda e, p: power.regulated(e, p, "out")),
    within("V_O_full", lambda e, p: power.regulated(e, p, "out", p.figure("I_O_max").high)),
    value("V_dropout", 0.01, power.dropout),
    value("I_limit", 0.01, power.limited),
    value("I_Q", 0.01, lambda e, p: power.regulated(e, p, "ground")),
    value("R_out", 0.01, power.output_resistance),
    value("ripple_rejection", 0.01, power.rejection),
)

TRANSFORMER = (
    value("rating", 0.02, power.rated_output_va),
    value("regulation", 0.02, power.voltage_rise),
    value(
        "magnetising_share",
        0.02,
        lambda e, p: power.idle_shares(e, p)[0],
        lambda p: power.idle_expected(p).imag,
    ),
    value(
        "iron_loss_share",
        0.02,
        lambda e, p: power.idle_shares(e, p)[1],
        lambda p: power.idle_expected(p).real,
    ),
    # With more leakage the model takes less secondary resistance, which shifts the core's part.
    value("leakage_share", 0.06, power.leakage_share),
    value("interwinding_capacitance", 0.01, power.between_windings),
)

DETECTOR = (
    value("V_DET", 0.002, lambda e, p: detector.passage(e, p, "v_fall")),
    value("V_HYS", 0.05, detector.hysteresis),
    value("I_OUT", 0.02, lambda e, p: detector.sink(e, p, "i(vout)", "V_OUT_test")),
    value("I_CD", 0.02, lambda e, p: detector.sink(e, p, "i(vcd)", "V_CD_test")),
    value("R_delay", 0.03, detector.delay_resistance),
)

DIODE = (
    *(
        within(name, lambda e, p, name=name: devices.forward_voltage(e, p, name))  # type: ignore[misc]
        for name in ("V_F", "V_F_1mA", "V_F_100mA")
    ),
    within("C_D", devices.junction_capacitance),
)
ZENER = (
    value("V_Z", 0.002, devices.zener_voltage),
    within("r_Z", devices.zener_resistance),
)
BIPOLAR = (
    *(
        within(name, lambda e, p, name=name: devices.saturation(e, p, name))  # type: ignore[misc]
        for name in (
            "V_CE_sat",
            "V_CE_sat_50mA",
            "V_CE_sat_100mA",
            "V_BE_sat",
            "V_BE_sat_50mA",
        )
    ),
    *(
        within(name, lambda e, p, name=name: devices.current_gain(e, p, name))  # type: ignore[misc]
        for name in ("h_FE", "h_FE_0mA1", "h_FE_1mA", "h_FE_50mA", "h_FE_100mA")
    ),
    within("V_BE_on", devices.base_voltage),
)
NMOS = (
    within("V_GS_th", devices.gate_threshold),
    within("R_DS_on", lambda e, p: devices.on_resistance(e, p, 4.5)),
    within("R_DS_on_10V", lambda e, p: devices.on_resistance(e, p, 10.0)),
    within("I_D_on", devices.on_current),
    within("C_iss", devices.input_capacitance),
)

CLAIMS: dict[str, tuple[Claim, ...]] = {
    "schmitt": SCHMITT,
    "clocked": CLOCKED,
    "gate": GATE,
    "optocoupler": OPTOCOUPLER,
    "triac": TRIAC,
    "opto_triac": OPTO_TRIAC,
    "regulator": REGULATOR,
    "detector": DETECTOR,
    "transformer": TRANSFORMER,
    "diode": DIODE,
    "zener": ZENER,
    "npn": BIPOLAR,
    "pnp": BIPOLAR,
    "nmos": NMOS,
}
"""Claims by kind of card."""

NO_MODEL = {
    "resistor": "a technology: tolerance and law, applied to the element's value",
    "capacitor": "a technology: tolerance and law, applied to the element's value",
    "varistor": "a power law in the circuit itself, through the card's two points",
}
"""Kinds without a model, and why."""

_REASONS = {
    "a rating, which benches compare with": """
        supply_minimum supply_maximum supply_absolute I_O_absolute clamp_current_absolute
        clamp_current_working transition_max transition_rate_max R_timing C_timing I_O_max
        V_IN_max R_th_ja R_th_jc T_j_max P_max V_ISO V_DRM V_R_max I_F_max I_F_average_max
        I_F_repetitive_max I_F_surge_max I2t I_GM I_TSM I_TSM_60Hz I_TSM_repetitive I_T_rms
        P_G_average didt_on didt_on_4 I_C_max V_CEO_max V_EBO_max I_D_max V_DS_max V_GS_max""",
    "a condition of another figure": """
        I_F_ctr_test V_CE_ctr_test I_F_sat_test I_C_sat_test V_CE_dark_test I_C_time_test
        R_L_time_test V_OL_test V_OH_test I_O_test I_dropout_test I_F_test I_TM_test I_Z_test
        I_Z_low_test V_R_test V_OUT_test V_CD_test V_IN_test""",
    "applied by the benches, outside the model": """
        ctr_ageing_factor I_OL_hot I_OH_hot led_cold_factor led_ageing_factor led_drive_factor
        quadrant_ratio_2 quadrant_ratio_3 quadrant_ratio_4 V_O_drift V_dropout_worst V_Z_drift""",
    "leakage: benches add its largest value outside the model": """
        I_in_leakage I_in_leakage_hot I_DRM I_DRM_inhibited I_R I_R_hot I_CBO I_CBO_hot I_C_off
        I_DSS I_DSS_hot I_GSS I_OUT_leakage""",
    "its time with R_delay is measured, which needs both": "delay_share",
    "inside of the counter or flip-flop, which is not modelled": """
        reset_pulse_min reset_recovery clock_pulse_min setup_time""",
    "a second working point of a figure, which the model does not separate": """
        I_L_2 V_GD dvdt_c dvdt_commutating""",
    "inside of the phototransistor; its effect is in the times": "C_CB",
    "measured in test_triac_model: the model comes out above the minimum": "didt_c_10V_per_us",
    "recovery at mains frequency is not judged": "t_rr",
    "the clamp's own circuit draws the knee from it": "r_Z_low",
}

NOT_CLAIMED = {name: reason for reason, names in _REASONS.items() for name in names.split()}
"""Figures of modelled kinds that no model claims, and why."""

NOT_CLAIMED_BY_KIND: dict[tuple[str, str], str] = {
    ("clocked", "t_transition"): "the clock input's own output edge is not judged",
    ("triac", "V_TM"): "the model follows the 125 °C line of V_T0 and R_d",
    ("opto_triac", "I_L"): "set for the model only, half over the holding current",
    ("optocoupler", "h_FE"): "inside of the phototransistor; its effect is in CTR and the times",
    ("zener", "V_F"): "SPICE's one series resistance is the Zener's; nobody drives one forward",
    ("optocoupler", "C_D"): "inside of the LED, small beside its current at mains frequency",
}
