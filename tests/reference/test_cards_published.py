"""Card figures against the tables they come from, and consequences the same sheets print.

The numbers stand here a second time, typed from the documents named beside them.
"""

from __future__ import annotations

import math

import pytest

from analog.cards import find_card, mains_preset, technology

# (part, maker, figure, supply V, minimum, typical, maximum)
PUBLISHED = [
    # TI CD40106B, SCHS097F, table 6.5
    ("40106", "TI", "V_P", 5, 2.2, 2.9, 3.6),
    ("40106", "TI", "V_P", 10, 4.6, 5.9, 7.1),
    ("40106", "TI", "V_P", 15, 6.8, 8.8, 10.8),
    ("40106", "TI", "V_N", 5, 0.9, 1.9, 2.8),
    ("40106", "TI", "V_N", 10, 2.5, 3.9, 5.2),
    ("40106", "TI", "V_N", 15, 4.0, 5.8, 7.4),
    ("40106", "TI", "V_H", 5, 0.3, 0.9, 1.6),
    ("40106", "TI", "V_H", 10, 1.2, 2.3, 3.4),
    ("40106", "TI", "V_H", 15, 1.6, 3.5, 5.0),
    # Philips HEF40106B, January 1995, DC characteristics
    ("40106", "Philips", "V_P", 10, 3.7, 5.8, 7.0),
    ("40106", "Philips", "V_N", 10, 3.0, 4.5, 6.3),
    ("40106", "Philips", "V_H", 10, 0.7, 1.3, None),
    # National CD40106BM, February 1988, DC characteristics
    ("40106", "National", "V_P", 10, 6.0, 6.8, 8.6),
    ("40106", "National", "V_N", 10, 1.4, 3.2, 4.0),
    ("40106", "National", "V_H", 10, 2.0, 3.6, 7.2),
    # ST HCF4093B, DC table, one input and both inputs
    ("4093", "ST", "V_P", 10, 4.6, 5.9, 7.1),
    ("4093", "ST", "V_P_tied", 10, 5.6, 7.0, 8.2),
    ("4093", "ST", "V_N_tied", 15, 4.8, 7.3, 9.6),
    # National CD4093BM, DC characteristics
    ("4093", "National", "V_N", 5, 1.5, 1.8, 2.25),
    # TI SN74HC14, electrical characteristics
    ("74HC14", "TI", "V_P", 4.5, 1.55, 2.5, 3.15),
    ("74HC14", "TI", "V_N", 6.0, 1.2, 2.0, 3.2),
    # NXP 74HC1G14, table 7
    ("74HC14", "NXP", "V_H", 4.5, 0.4, 0.83, 1.4),
    # TI CD4013B, SCHS023E, section 6.3
    ("4013", "TI", "transition_max", 5, None, None, 15e-6),
    ("4013", "TI", "transition_max", 10, None, None, 10e-6),
    ("4013", "TI", "transition_max", 15, None, None, 5e-6),
    # B-series limits (JESD13-B) as device sheets quote them
    ("4013", "TI", "V_IL", 10, None, None, 3.0),
    ("4013", "TI", "V_IH", 10, 7.0, None, None),
    ("4013", "TI", "I_OL", 10, 1.3e-3, 2.6e-3, None),
    # ON MC74HC4040A, recommended operating conditions
    ("74HC4040", "ON", "transition_max", 4.5, None, None, 500e-9),
    # National CD4069UBM, DC electrical characteristics
    ("4069UB", "National", "V_IH", 10, 8.0, None, None),
    # National CD4001BM/CD4011BM, March 1988, DC and AC electrical characteristics
    ("4011", "National", "I_OL", 15, 3.0e-3, 8.8e-3, None),
    ("4011", "National", "t_phl", 5, None, 120e-9, 250e-9),
    ("4001", "National", "t_plh", 10, None, 50e-9, 100e-9),
    ("4001", "National", "t_transition", 15, None, 40e-9, 80e-9),
    # Philips HEF4011UB and HEF4069UB, January 1995, AC characteristics
    ("4011UB", "Philips", "t_phl", 10, None, 25e-9, 50e-9),
    ("4011UB", "Philips", "t_plh", 5, None, 35e-9, 70e-9),
    ("4069UB", "Philips", "t_phl", 5, None, 45e-9, 90e-9),
    ("4069UB", "Philips", "t_transition", 10, None, 30e-9, 60e-9),
    # National CD4049UBM/CD4049UBC, DC electrical characteristics
    ("4049UB", "National", "I_OL", 5, 4.0e-3, 5e-3, None),
    ("4049UB", "National", "I_OH", 15, 6.2e-3, 12e-3, None),
]

# (part, maker, figure, value): the guaranteed end, or the typical where that is all there is
SCALARS = [
    ("1N4148", "Vishay", "V_F", 1.0),  # Vishay 81857
    ("1N4148", "Vishay", "I_R", 25e-9),
    ("1N4007", "Vishay", "I2t", 3.7),  # Vishay 88503
    ("2N3904", "Fairchild", "V_CE_sat", 0.2),  # Fairchild 2N3904 rev A
    ("3063", "Fairchild", "I_FT", 5e-3),  # Fairchild MOC306x-M rev 1.0.4
    ("3063", "Fairchild", "V_INH", 20.0),
    ("3023", "Fairchild", "V_TM", 3.0),  # Fairchild MOC302x-M rev 1.0.2
    ("3053", "ON", "I_FT", 6e-3),  # ON MOC3053M
    ("BTA06-C", "ST", "I_GT_4", 50e-3),  # ST BTA06 rev 6, table 3
    ("BTA06-C", "ST", "I_L_2", 80e-3),
    ("BTA06-BW", "ST", "I_L", 70e-3),  # table 4
    ("BTA16-CW", "ST", "I_H", 35e-3),  # ST BTA16, document 7471 rev 9
    ("BT138E", "Philips", "I_GT_4", 25e-3),  # Philips BT138 E, September 1997
    ("PC817", "Sharp", "CTR", 6.0),  # Sharp PC817 series
    ("PC814A", "Sharp", "CTR", 1.5),  # Sharp PC814 series, classification table
    ("H11AA1", "Fairchild", "I_CEO", 50e-9),  # Fairchild H11AA1, DS300212
    ("T435", "ST", "I_L_2", 60e-3),  # ST T4 series, rev 7, table 4
    ("T410", "ST", "I_H", 15e-3),
    ("T405", "ST", "I_GT_2", 5e-3),
    ("Z0409", "ST", "I_GT_4", 10e-3),  # ST Z04, rev 7, table 2
    ("Z0410", "ST", "I_L_2", 50e-3),
    ("BT136E", "Philips", "I_GT_4", 25e-3),  # Philips BT136 series E, June 2001
    ("BT137", "Philips", "I_L_2", 45e-3),  # Philips BT137 series, June 1999
    ("BT134WE", "Philips", "I_L_2", 20e-3),  # Philips BT134W series E, August 1997
    ("BAT85", "Philips", "V_F", 0.4),  # Philips BAT85, 20 March 1996
]


@pytest.mark.parametrize(("part", "maker", "name", "vdd", "low", "typical", "high"), PUBLISHED)
def test_supply_dependent_figures(
    part: str,
    maker: str,
    name: str,
    vdd: float,
    low: float | None,
    typical: float | None,
    high: float | None,
) -> None:
    figure = find_card(part).column(maker).figure(name, vdd=vdd)
    assert (figure.minimum, figure.typical, figure.maximum) == (low, typical, high)
    assert figure.status == "tabulated"
    assert figure.source.kind == "document"


@pytest.mark.parametrize(("part", "maker", "name", "value"), SCALARS)
def test_plain_figures(part: str, maker: str, name: str, value: float) -> None:
    assert find_card(part).column(maker).figure(name).high == value


@pytest.mark.parametrize("part", ["T405", "T410", "T435", "Z0405", "Z0409", "Z0410", "BT136E"])
def test_trigger_figures_of_4_a_triacs_carry_their_sheet(part: str) -> None:
    (column,) = find_card(part).columns
    names = [f"I_GT_{quadrant}" for quadrant in (1, 2, 3)]
    for name in (*names, "I_H", "I_L", "I_L_2", "V_GT", "V_GD", "dvdt_static"):
        assert column.figure(name).source.kind == "document"


@pytest.mark.parametrize("part", ["4020", "4024", "4040", "4060", "4017"])
def test_counters_with_a_schmitt_clock_have_no_limit(part: str) -> None:
    """TI SCHS030D; National CD4020B/4040B/4060B; Intersil CD4017BMS."""
    for column in find_card(part).columns:
        assert column.unlimited_transition
        assert not column.has("transition_max")


def test_tying_4093_inputs_raises_both_thresholds_by_0V4_to_1V5() -> None:
    """ST HCF4093B, the two blocks of the DC table."""
    column = find_card("4093").column("ST")
    for vdd in (5, 10, 15):
        for name in ("V_P", "V_N"):
            single, tied = (column.figure(n, vdd=vdd).centre for n in (name, f"{name}_tied"))
            assert 0.39 < tied - single < 1.51


@pytest.mark.parametrize(
    ("temperature_c", "i_gt_a"), [(-40, 0.114), (0, 0.0663), (125, 0.0218), (-35, 0.10575)]
)
def test_cold_gate_current_of_a_50_ma_triac(temperature_c: float, i_gt_a: float) -> None:
    """ST BTA06, figure 7, read off the vector drawing; linear between its vertices."""
    column = find_card("BTA06-B").columns[0]
    temperatures, ratios = column.curve("I_GT_ratio")
    k = max(i for i in range(len(temperatures) - 1) if temperatures[i] <= temperature_c)
    share = (temperature_c - temperatures[k]) / (temperatures[k + 1] - temperatures[k])
    ratio = ratios[k] + share * (ratios[k + 1] - ratios[k])
    assert column.figure("I_GT_1").high * ratio == pytest.approx(i_gt_a, rel=0.005)


def test_quadrant_ratios_of_the_10_a_example() -> None:
    """Teccor/Littelfuse AN1002: I_GT(I) 10 mA gives 15, 14 and 31 mA."""
    column = find_card("BTA06-C").columns[0]
    ratios = [column.figure(f"quadrant_ratio_{q}").centre for q in (2, 3, 4)]
    assert [10 * ratio for ratio in ratios] == pytest.approx([15, 14, 31])


@pytest.mark.parametrize(
    ("part", "current_rms_a", "loss_w", "base_c", "sheet_c", "tolerance_k"),
    [
        ("BT137", 8.0, 11.52, 101.95, 102.0, 0.3),  # Philips BT137, June 1999
        ("BTA16-CW", 16.0, 18.64, 85.85, 86.0, 0.3),  # ST BTA16, document 7471 rev 9
        ("BTA06-C", 6.0, 6.75, 106.8, 105.0, 2.0),  # ST BTA06: its sheet rounds down
    ],
)
def test_conduction_loss_meets_the_sheets_own_temperature_limit(
    part: str,
    current_rms_a: float,
    loss_w: float,
    base_c: float,
    sheet_c: float,
    tolerance_k: float,
) -> None:
    """P = V_T0·I_avg + R_d·I_rms², and T_mb = T_j − R_th·P must be the rated-current limit."""
    column = find_card(part).columns[0]
    average = 2 * math.sqrt(2) / math.pi * current_rms_a
    loss = column.figure("V_T0").centre * average + column.figure("R_d").centre * current_rms_a**2
    base = column.figure("T_j_max").high - column.figure("R_th_jc").high * loss
    assert loss == pytest.approx(loss_w, abs=0.01)
    assert base == pytest.approx(base_c, abs=0.1)
    assert base == pytest.approx(sheet_c, abs=tolerance_k)


def test_bt138_on_state_line_meets_its_voltage_limit() -> None:
    """Philips BT138: V_T0 + R_d·15 A = 1.649 V against V_T 1.65 V maximum."""
    column = find_card("BT138").columns[0]
    line = column.figure("V_T0").centre + 15 * column.figure("R_d").centre
    assert line == pytest.approx(column.figure("V_TM").high, rel=0.001)


@pytest.mark.parametrize(("part", "volts"), [("1N4148", 0.665), ("1N4007", 0.91)])
def test_diode_parameters_give_the_typical_drop(part: str, volts: float) -> None:
    """V = N·kT/q·ln(I/IS + 1) + RS·I at 27 °C (ngspice manual, junction diode)."""
    column = find_card(part).columns[0]
    spice, current = column.spice, column.figure("I_F_test").centre
    thermal_v = 1.380649e-23 * 300.15 / 1.602176634e-19
    drop = spice["N"] * thermal_v * math.log(current / spice["IS"] + 1) + spice["RS"] * current
    assert drop == pytest.approx(volts, abs=0.005)
    assert drop == pytest.approx(column.figure("V_F").centre, abs=0.01)
    assert drop < column.figure("V_F").high


@pytest.mark.parametrize(
    ("part", "current_a", "limit_v"),
    [("BAT85", 1e-3, 0.32), ("BAT85", 10e-3, 0.4), ("BAT85", 100e-3, 0.8), ("1N5819", 1.0, 0.6)],
)
def test_schottky_parameters_stay_below_the_sheets_maxima(
    part: str, current_a: float, limit_v: float
) -> None:
    """Philips BAT85, electrical characteristics; 1N5819 from memory."""
    spice = find_card(part).columns[0].spice
    drop = spice["N"] * 0.025865 * math.log(current_a / spice["IS"] + 1) + spice["RS"] * current_a
    assert 0.5 * limit_v < drop < limit_v


def test_zener_parameters_give_the_nominal_voltage() -> None:
    """BZX79C series: the nominal voltage at 5 mA, r_Z below its limit."""
    for name in ("5V1", "5V6", "6V2", "6V8", "7V5", "8V2", "9V1", "10", "11", "12", "13", "15"):
        column = find_card(f"BZX79-C{name}").columns[0]
        spice = column.spice
        volts = spice["BV"] + 5e-3 * spice["RS"]
        assert volts == pytest.approx(column.figure("V_Z").centre, rel=1e-4)
        assert spice["RS"] < column.figure("r_Z").high


def test_fairchild_2n3904_base_leakage_has_its_femto() -> None:
    """Fairchild 2N3904 rev A prints ISE = 6.734 without a suffix; amperes are impossible."""
    assert find_card("2N3904").columns[0].spice["ISE"] == 6.734e-15


def test_opto_on_state_line_meets_v_tm() -> None:
    for name in ("3020", "3041", "3052", "3063"):
        for column in find_card(name).columns:
            figure = {n: column.figure(n).centre for n in ("V_T0", "R_d", "I_TM_test", "V_TM")}
            line = figure["V_T0"] + figure["R_d"] * figure["I_TM_test"]
            assert line == pytest.approx(figure["V_TM"], rel=1e-9)


def test_led_allowances_multiply_to_the_makers_advice() -> None:
    """ON MOC3051M to MOC3053M, note 3: drive at least 1.5 times the largest I_FT."""
    column = find_card("3063").columns[0]
    product = column.figure("led_cold_factor").high * column.figure("led_ageing_factor").high
    assert product == pytest.approx(column.figure("led_drive_factor").low, rel=0.005)


def test_electrolytic_leakage_rule_of_the_makers() -> None:
    """0.01·C·V or 3 µA (Chemi-Con FAQ): 100 µF 10 V 10 µA, 47 µF 40 V 18.8 µA, 2200 µF 35 V."""
    leakage = technology("electrolytic").leakage
    assert leakage is not None
    for farads, volts, amperes in (
        (100e-6, 10, 10e-6),
        (47e-6, 40, 18.8e-6),
        (2200e-6, 35, 770e-6),
    ):
        assert leakage.maximum_a(farads, volts, volts, 20.0) == pytest.approx(amperes)


def test_mains_presets() -> None:
    """IEC 60038 and EN 50160 at 230 V 50 Hz, ANSI C84.1 at 120 V 60 Hz."""
    europe, america = mains_preset(230.0, 50.0), mains_preset(120.0, 60.0)
    assert europe is not None
    assert america is not None
    assert (europe.minimum_v, europe.maximum_v, europe.frequency_tolerance) == (198, 253, 0.01)
    assert (america.minimum_v, america.maximum_v) == (104, 132)
    assert mains_preset(24.0, 50.0) is None
