"""Figures between and outside the tabulated supplies, and what a finding must say of them."""

from __future__ import annotations

import pytest

from analog.cards import Figure, FigureTable, Source, find_card, technology
from analog.cards.sources import parse_source

TI = Source("document", "TI CD40106B, SCHS097F, 6.5")


def table(
    name: str, unit: str, supplies: tuple[float, ...], values: tuple[float, ...]
) -> FigureTable:
    return FigureTable(name, unit, supplies, None, None, values, "", TI, 0.3)


@pytest.mark.parametrize(
    ("vdd", "expected", "status"),
    [
        (5.0, (2.2, 2.9, 3.6), "tabulated"),
        (9.0, (2.2 + 0.8 * 2.4, 2.9 + 0.8 * 3.0, 3.6 + 0.8 * 3.5), "interpolated"),
        (12.0, (4.6 + 0.4 * 2.2, 5.9 + 0.4 * 2.9, 7.1 + 0.4 * 3.7), "interpolated"),
        (15.0, (6.8, 8.8, 10.8), "tabulated"),
        (3.0, (0.6 * 2.2, 0.6 * 2.9, 0.6 * 3.6), "not guaranteed"),
        (18.0, (1.2 * 6.8, 1.2 * 8.8, 1.2 * 10.8), "not guaranteed"),
    ],
)
def test_thresholds_between_and_outside_the_rows(
    vdd: float, expected: tuple[float, float, float], status: str
) -> None:
    figure = find_card("40106").column("TI").figure("V_P", vdd=vdd)
    assert (figure.minimum, figure.typical, figure.maximum) == pytest.approx(expected, rel=1e-12)
    assert figure.status == status


def test_scaling_below_the_table_depends_on_the_quantity() -> None:
    rows = ((5.0, 10.0), (3.0, 8.0))
    assert table("V_IH", "V", *rows).at(2.5).maximum == pytest.approx(1.5)
    assert table("I_OL", "A", *rows).at(2.5).maximum == pytest.approx(1.5)
    assert table("reset_pulse_min", "s", *rows).at(2.5).maximum == pytest.approx(6.0)
    assert table("transition_max", "s", *rows).at(2.5).maximum == pytest.approx(3.0)
    assert table("transition_rate_max", "s/V", *rows).at(2.5).maximum == pytest.approx(3.0)


def test_a_table_needs_a_supply_and_a_scalar_does_not() -> None:
    column = find_card("40106").column("TI")
    with pytest.raises(ValueError, match="give vdd"):
        column.figure("V_P")
    assert column.figure("clamp_current_absolute").maximum == 10e-3
    assert column.figure("clamp_current_absolute", vdd=9.0).status == "tabulated"


def test_no_column_mixes_makers() -> None:
    """Every threshold of a column names that column's maker (or says that it is from memory)."""
    makers = {"Philips": "Philips", "National": "National", "TI": "TI", "ST": "ST", "NXP": "NXP"}
    for name in ("40106", "4093", "74HC14"):
        for column in find_card(name).columns:
            for figure in ("V_P", "V_N", "V_H"):
                source = column.tables[figure].source
                assert source.kind == "memory" or source.text.startswith(makers[column.maker])


def test_thresholds_of_one_column_allow_a_part() -> None:
    """At every supply some V_P − V_N within the limits equals some V_H within its own."""
    for name in ("40106", "4093", "74HC14"):
        card = find_card(name)
        for column in card.columns:
            for vdd in column.tables["V_P"].supplies:
                v_p, v_n, v_h = (column.figure(n, vdd=vdd) for n in ("V_P", "V_N", "V_H"))
                assert v_p.low - v_n.high <= v_h.high
                assert v_p.high - v_n.low >= v_h.low
                assert v_p.centre - v_n.centre == pytest.approx(v_h.centre, abs=0.35 * v_h.centre)


def figure(low: float | None, typical: float | None, high: float | None, source: Source) -> Figure:
    return Figure("x", "V", low, typical, high, "", source, "tabulated", 0.3)


def test_ends_fall_back_on_typical_with_the_stated_spread() -> None:
    typical = figure(None, 2.0, None, TI)
    assert (typical.low, typical.centre, typical.high) == pytest.approx((1.4, 2.0, 2.6))
    negative = figure(None, -2.0, None, TI)
    assert (negative.low, negative.high) == pytest.approx((-2.6, -1.4))
    only_maximum = figure(None, None, 4.0, TI)
    assert (only_maximum.low, only_maximum.centre, only_maximum.high) == (4.0, 4.0, 4.0)
    both = figure(1.0, None, 3.0, TI)
    assert both.centre == 2.0


def test_notes_say_what_a_finding_rests_on() -> None:
    memory = Source("memory", "", "low")
    assert figure(None, 2.0, 3.0, TI).note("high") == ""
    assert figure(None, 2.0, 3.0, TI).note("low") == "rests on a typical figure"
    assert "from memory, low confidence" in figure(1.0, 2.0, 3.0, memory).note("low")
    assert "interpolated" in find_card("40106").columns[0].figure("V_P", vdd=9.0).note("high")


@pytest.mark.parametrize(
    ("note", "text"),
    [
        ("ti: section 6.5", "TI CD40106B, section 6.5"),
        ("ti", "TI CD40106B"),
        ("memory: high", "from memory, high confidence"),
        ("memory: low: seen once", "from memory, low confidence (seen once)"),
        ("practice", "common practice, no source"),
        ("practice: a tenth", "common practice, no source (a tenth)"),
        ("computed: V / I", "computed: V / I"),
    ],
)
def test_source_notes_read_as_sentences(note: str, text: str) -> None:
    assert str(parse_source(note, {"ti": "TI CD40106B"})) == text


def test_leakage_rules() -> None:
    electrolytic = technology("electrolytic").leakage
    film = technology("film").leakage
    assert electrolytic is not None
    assert film is not None
    assert electrolytic.maximum_a(1e-6, 9.0, 16.0, 20.0) == pytest.approx(3e-6)
    assert electrolytic.maximum_a(1e-4, 9.0, 16.0, 25.0) == pytest.approx(16e-6)
    assert electrolytic.maximum_a(1e-4, 9.0, 16.0, 60.0) == pytest.approx(48e-6)
    assert film.maximum_a(1e-6, 9.0, 63.0, 25.0) == pytest.approx(9e-9)
    assert film.maximum_a(1e-6, 9.0, 63.0, 85.0) == pytest.approx(90e-9)


def test_capacitor_loses_under_direct_voltage() -> None:
    assert technology("X7R").bias_change(25.0, 50.0) == pytest.approx((-0.3, -0.025))
    assert technology("X7R").bias_change(80.0, 50.0) == pytest.approx((-0.6, -0.1))
    assert technology("C0G").bias_change(50.0, 50.0) == (0.0, 0.0)


def test_resistor_sizes_never_promise_too_much() -> None:
    carbon = technology("carbon-film")
    assert carbon.size(0.25).limiting_v == 250
    assert carbon.size(0.4).limiting_v == 250
    assert carbon.size(0.05).limiting_v == 150
    assert carbon.size(5.0).rating_w == 2.0
    with pytest.raises(KeyError):
        technology("X7R").size(0.25)
