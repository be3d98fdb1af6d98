"""What a sweep says, draws and writes: percentages, sentences, histograms, harmless cells."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree

import pytest

from analog.design import Design, parse_design
from analog.render.histogram import WIDTH_PX, histogram
from analog.render.samples import harmless
from analog.render.sweepwords import coordinate_words, driver_sentence, percent, rare_words
from analog.results import (
    Distribution,
    Estimate,
    LimitRow,
    MeasureRow,
    Percentile,
    RareFailure,
)

ONE = Estimate(1.0, 0.9, 1.1)
SPREAD = Distribution(
    ONE, ONE, (Percentile(0.5, ONE),), None, 1.0, 2.0, (1, 4, 2, 0), 7, 0.95, "somehow"
)
ROW = MeasureRow("hold_time", "s", None, 1.0, {}, None, None, None, None, "", 7, spread=SPREAD)


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0, "0 %"),
        (0.5, "50 %"),
        (0.99, "99 %"),
        (0.990025, "99 %"),
        (0.9951, "99.51 %"),
        (0.9999, "99.99 %"),
        (0.99996, "99.996 %"),
        (1, "100 %"),
        (0.0001, "0.01 %"),
    ],
)
def test_percentages_never_round_up_to_all(share: float, text: str) -> None:
    assert percent(share) == text
    assert (percent(share) == "100 %") == (share == 1)


@pytest.mark.parametrize("text", ["=1+1", "+x", "-x", "@x", "\tx", "|x"])
def test_cells_are_no_formulas(text: str) -> None:
    assert harmless(text) == f"'{text}"
    assert harmless("reset.hold_time [s]") == "reset.hold_time [s]"


def limited(low: float | None, high: float | None) -> MeasureRow:
    return replace(ROW, limit=LimitRow("mine", low, high, "me"), verdict="pass")


def elements(picture: str, tag: str) -> list[ElementTree.Element]:
    return list(ElementTree.fromstring(picture).iter(tag))


def test_a_histogram_has_a_bar_for_every_step() -> None:
    bars = elements(histogram(ROW), "rect")
    heights = [float(bar.get("height", "0")) for bar in bars]
    assert heights == pytest.approx([10, 40, 20, 0])
    assert all(0 <= float(bar.get("x", "-1")) <= WIDTH_PX for bar in bars)


def test_a_near_limit_is_a_line_where_it_lies_and_a_far_one_an_arrow() -> None:
    near, far = histogram(limited(0.9, None)), histogram(limited(None, 50.0))
    line = elements(near, "path")[-1].get("d", "")
    assert line.endswith("54")
    first = elements(near, "rect")[0]
    assert float(line[1:].split()[0]) < float(first.get("x", "0"))
    assert "stroke-dasharray" in near
    assert "stroke-dasharray" not in far
    assert elements(far, "path")[-1].get("d", "").startswith(f"M{236 - 6}")


def test_what_does_not_spread_has_no_picture() -> None:
    assert histogram(replace(ROW, spread=None)) == ""
    assert histogram(replace(ROW, spread=replace(SPREAD, highest=1.0))) == ""


def design() -> Design:
    return parse_design(
        'edgeproof = 1\n[design]\nname = "x"\n[environment]\nambient_minimum = "0 °C"\n'
        'ambient_maximum = "50 °C"\n[supply]\nrail = "9 V"\n[reset]\nresistor = "470k 5%"\n'
        'capacitor = "1u 20% film"\nreceiver = "40106"\ndriven = "4013"\n',
        "x.toml",
    )


def driver(key: str, total: float) -> dict[str, object]:
    ends = {"total_low": total - 0.05, "total_high": total + 0.05}
    return {"key": key, "total": total, "change": -0.02, **ends}


def test_a_driver_is_told_with_its_interval_and_what_a_closer_part_would_bring() -> None:
    """All of the variance and half the tolerance: half of the spread."""
    row = replace(ROW, drivers=(driver("reset.capacitor tolerance", 1.0),))
    said = driver_sentence(row, design())
    assert "the tolerance of reset.capacitor 100 % (95 to 105 %; −20" in said
    assert "ms from its low to its high end)" in said
    assert said.endswith("A 10 % part instead of 20 % would leave 50 % of the spread.")


def test_no_closer_part_for_what_is_none_or_drives_little() -> None:
    for key, total in (("supply.rail", 0.9), ("reset.resistor tolerance", 0.1)):
        said = driver_sentence(replace(ROW, drivers=(driver(key, total),)), design())
        assert "part instead" not in said
    assert driver_sentence(ROW, design()) == ""


def test_coordinates_in_words() -> None:
    assert coordinate_words("reel A 1") == "the reel A 1"
    assert coordinate_words("a.b temperature") == "the temperature law of a.b"
    assert coordinate_words("environment.age") == "environment.age"


def test_rare_failures_in_words() -> None:
    known = RareFailure(1e-5, 0.1, 8e-6, 1.2e-5, 4000, "importance sampling", "")
    assert "1e-05 of the boards (8e-06 to 1.2e-05" in rare_words(known)
    refused = RareFailure(None, None, None, None, 4000, "none", "weights scatter")
    assert rare_words(refused) == "failure probability not known: weights scatter"
    nothing = RareFailure(0.0, None, 0.0, 0.0, 9, "guaranteed extremes", "no failure inside")
    assert rare_words(nothing) == "no failure inside"
