"""Noise on the rail while the pin creeps through the release: one clean edge or several.

The pin of an RC takes milliseconds for the volts of a receiver's hysteresis, and noise on the
rail shakes the threshold against it, since thresholds follow the rail. The run holds a stretch
of that creep with a sine on the rail, and reads the receiver off the data of its thresholds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.base import Curve, Level, Mark, Measure, Plot, Scene
from analog.benches.reset_levels import each
from analog.benches.reset_space import ResetNetwork
from analog.circuits.record import Experiment, Param, Sine, Transient
from analog.circuits.reset_network import ResetParts, reset_network
from analog.circuits.space import Floats, RangeAxis
from analog.verdicts import Limit

OUTPUTS = ("release_edges", "release_hysteresis_margin", "t_release")

THRESHOLD = "reset.receiver.threshold"
"""Where the receiver's threshold lies between its earliest and its latest, 0 to 1."""

USUAL_NOISE_V = 0.05
"""Peak to peak on the rail of a logic board where the design states none: common practice."""

CYCLES, FASTEST_HZ = 60.0, 1e6
STRETCH = 4.0
"""How many times the noise the pin creeps in a run, half of it before the threshold."""

ONE_EDGE = Limit("clean_edge", None, 1.0, "one clean edge; a second one is a second reset")


@dataclass(frozen=True, slots=True)
class ReleaseRows:
    """Rows of the creep through the threshold."""

    network: ResetNetwork

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        network = self.network
        rows = network.common(values)
        rail = rows["rail"]
        rows |= network.levels.over_rail(rail)
        place, low = values[THRESHOLD], rows["threshold_low"]
        threshold = low + place * (rows["threshold_high"] - low)
        noise = 0 * rail + noise_v(network)
        shaken = noise * threshold / rail
        pin = rows["g_pin"] * rail * np.where(rows["active_high"] > 0, -1.0, 1.0)
        dropped = pin * rows.get("r_pin", np.zeros(1))
        settled = rail - (rows["leak_c"] + pin) * rows["r_reset"] - dropped
        start = threshold - 0.5 * STRETCH * shaken
        # Twice as long as the creep takes from there to the threshold, if it gets there at all.
        left = np.maximum(settled - threshold, 1e-3 * rail)
        length = 2 * rows["t_constant"] * np.log1p(0.5 * STRETCH * shaken / left)
        series = rows.get("r_series", np.zeros(1))
        share = series / (series + rows["r_reset"])
        hertz = np.minimum(CYCLES / length, FASTEST_HZ)
        return rows | {
            "noise": noise / 2,
            "f_noise": hertz,
            "threshold": threshold,
            "pin_threshold": network.levels.at_pin(rail, threshold),
            "hysteresis": each(rail, network.levels.hysteresis_v),
            "v_start": network.levels.at_pin(rail, (start + dropped - rail * share) / (1 - share)),
            "t_stop": length,
            "t_step": np.minimum(0.05 / hertz, length / 400),
        }


def noise_v(network: ResetNetwork) -> float:
    """Return the noise on the rail, V peak to peak."""
    stated = network.supply.noise
    return USUAL_NOISE_V if stated is None else stated


def release_scene(network: ResetNetwork, parts: ResetParts) -> tuple[Scene, ...]:
    """Return the scene; a detector's own comparator makes its edge, and it needs none."""
    if parts.topology == "detector":
        return ()
    rail = Sine(Param("noise"), Param("f_noise"), 0.0, Param("rail"))
    experiment = Experiment(
        reset_network("Reset: the release, with noise on the rail", parts, rail),
        Transient(
            Param("t_stop"),
            Param("t_step"),
            reltol=1e-5,
            trtol=7.0,
            initial=((parts.charged, Param("v_start")),),
        ),
        ("v(vdd)", "v(pin)"),
        "analog.benches.reset_measures:release",
        OUTPUTS,
    )
    return (
        Scene(
            "release",
            "The release with noise on the rail",
            experiment,
            network.space(RangeAxis(THRESHOLD, "1", 0.0, 0.5, 1.0), leaking=True),
            ReleaseRows(network),
            OUTPUTS[:2],
            (
                Plot(
                    "Reset pin creeping through the threshold",
                    "release_edges",
                    (Curve("v(pin)", "reset pin", "V"),),
                    (Level("threshold", "pin_threshold", "V"),),
                    (Mark("first edge", "t_release", "v(pin)"),),
                    axis="close",
                ),
            ),
        ),
    )


def release_measures(network: ResetNetwork) -> tuple[Measure, ...]:
    """Return the measures in words, none for a detector."""
    if network.reset.topology == "detector":
        return ()
    noise = f"{1e3 * noise_v(network):g} mV peak to peak on the rail"
    return (
        Measure(
            "release_edges",
            "1",
            "edges of the receiver at its release",
            "max",
            1.0,
            f"with {noise}, fast against the creep of the pin",
        ),
        Measure(
            "release_hysteresis_margin",
            "V",
            "hysteresis over what noise shakes at the release",
            "min",
            network.supply.rail.nominal,
            f"guaranteed hysteresis less the largest reversal of the pin against the threshold, "
            f"with {noise}",
        ),
    )


def release_limits(network: ResetNetwork) -> dict[str, tuple[Limit, ...]]:
    """Return one clean edge; a latch takes the first edge and no other, so that it has none."""
    if network.reset.latch or network.reset.topology == "detector":
        return {}
    return {"release_edges": (ONE_EDGE,)}
