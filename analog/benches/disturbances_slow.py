"""Disturbances that the transformer passes like the mains itself: waveform, frequency, voltage."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from analog.benches import disturbance_levels as levels
from analog.benches import disturbance_measures as measures
from analog.benches.disturbances import (
    SERVICE,
    Delivered,
    Disturbance,
    Row,
    Variant,
    onset,
    times,
)
from analog.circuits.mains_side import dipped, in_series, loaded, of_changing_frequency
from analog.circuits.record import Circuit, Experiment, Param, Pulse, Pwl, Sine, Transient
from analog.design import Mains

ORDERS = (3, 5, 7, 9, 11, 13)
CYCLES = 4
SIGNALS_HZ = (110.0, 316.7, 425.0, 1050.0, 3000.0)
"""Carriers of ripple control in use, and the end of the range (from memory)."""

NOTCH_ANGLES = 6
NOTCH_OFFSETS_DEG = (5.0, 20.0, 35.0, 50.0)
EDGE_S = 20e-6

DIPS = (
    (0.0, 0.5, "0 %, half a cycle"),
    (0.0, 1.0, "0 %, one cycle"),
    (0.4, 10.0, "40 %, 10 cycles"),
    (0.7, 25.0, "70 %, 25 cycles"),
)
"""Share left, length in cycles: IEC 61000-4-11:2004, table 1, classes 2 and 3. Interruptions of
250 cycles empty every supply and belong to the reset."""

DIP_SOURCE = "IEC 61000-4-11:2004, table 1"
FREQUENCY_SOURCE = "IEC 61000-4-28, from memory"


@dataclass(frozen=True, slots=True)
class Line:
    """The undisturbed circuit with its settings, the angle at which its runs start, the mains."""

    circuit: Circuit
    saves: tuple[str, ...]
    start_deg: float
    mains: Mains

    def experiment(
        self,
        circuit: Circuit,
        reducer: str,
        outputs: tuple[str, ...],
        *more: str,
        fast: bool = False,
    ) -> Experiment:
        """Return the experiment on a disturbed circuit; a `fast` wave makes short steps itself."""
        reltol, trtol = (1e-3, 7.0) if fast else (1e-4, 3.0)
        analysis = Transient(
            Param("t_stop"), Param("t_step"), reltol=reltol, trtol=trtol, use_initial=True
        )
        name = f"analog.benches.disturbance_measures:{reducer}"
        return Experiment(circuit, analysis, ("v(pin)", *self.saves, *more), name, outputs)


def slow_disturbances(line: Line) -> Iterator[Disturbance]:
    """Yield harmonics, signals, notches, dips, changes of frequency and of voltage."""
    yield _harmonics(line, "flattening", -90.0, "all in phase against the crest")
    yield _harmonics(line, "peaking", 90.0, "all in phase with the crest")
    yield _signals(line)
    yield _notches(line)
    yield from (_dip(line, *entry) for entry in DIPS)
    yield from _frequencies(line)
    yield from _voltages(line)


def _steady(row: Row) -> dict[str, float]:
    """Return the times of a disturbance that is always there; its first cycle is not judged."""
    cycle = 1 / row["f_mains"]
    return times(row, row["t_start"] + cycle, row["t_start"] + (1 + CYCLES) * cycle)


def _harmonics(line: Line, name: str, at_crest_deg: float, words: str) -> Disturbance:
    shares = levels.scaled_harmonics(ORDERS)
    sources = tuple(
        (
            f"VH{order}",
            Sine(
                Param(f"v_h{order}"),
                Param(f"f_h{order}"),
                (order * line.start_deg + at_crest_deg - 90.0 * order) % 360.0,
            ),
        )
        for order in ORDERS
    )

    def change(row: Row, level: float) -> dict[str, float]:
        crest = row["v_peak"]
        amplitudes = {f"v_h{order}": level * shares[order] * crest for order in ORDERS}
        frequencies = {f"f_h{order}": order * row["f_mains"] for order in ORDERS}
        finest = {"t_step": min(row["t_step"], 1 / (20 * max(ORDERS) * row["f_mains"]))}
        thd = {"thd": level * levels.THD_LIMIT}
        return {**amplitudes, **frequencies, **finest, **thd, **_steady(row)}

    listed = ", ".join(f"{order}: {100 * share:.1f} %" for order, share in shares.items())
    return Disturbance(
        f"harmonics-{name}",
        f"Harmonics that are {name} the wave",
        f"orders {listed} of the fundamental, THD {100 * levels.THD_LIMIT:g} %, {words}",
        levels.EN_50160,
        SERVICE,
        line.experiment(in_series(line.circuit, sources), "harmonics", measures.HARMONICS),
        (Variant("", change),),
        (
            Delivered("distortion", "total harmonic distortion", "thd", 0.01, "1"),
            Delivered("spectrum_error", "largest error of an order", 0.0, 2e-3, "1"),
        ),
        highest=6.0,
    )


def _signals(line: Line) -> Disturbance:
    def variant(hertz: float) -> Variant:
        share = levels.signal_share(hertz)

        def change(row: Row, level: float) -> dict[str, float]:
            return {
                "v_signal": level * share * row["v_peak"],
                "f_signal": hertz,
                "start_deg": line.start_deg,
                "t_step": min(row["t_step"], 1 / (20 * hertz)),
                **_steady(row),
            }

        return Variant(f"{hertz:g} Hz, {100 * share:.3g} %", change)

    sources = (("VSIGNAL", Sine(Param("v_signal"), Param("f_signal"))),)
    ends = " to ".join(f"{hertz:g}" for hertz in (SIGNALS_HZ[0], SIGNALS_HZ[-1]))
    return Disturbance(
        "signals",
        "Ripple-control signals",
        f"9 % up to 500 Hz, 5 % from 1 kHz, tried at {len(SIGNALS_HZ)} carriers, {ends} Hz",
        levels.EN_50160,
        SERVICE,
        line.experiment(in_series(line.circuit, sources), "signal", measures.SIGNAL),
        tuple(variant(hertz) for hertz in SIGNALS_HZ),
        (
            Delivered("signal_peak", "peak", "v_signal", 0.02, "V"),
            Delivered("signal_hz", "frequency", "f_signal", 0.02, "Hz"),
        ),
        points=2,
    )


def _notched(line: Line, offset: float) -> Variant:
    """Return notches towards zero, evenly over the cycle from an angle (°) on."""
    angles = [offset + 360.0 / NOTCH_ANGLES * k for k in range(NOTCH_ANGLES)]

    def change(row: Row, level: float) -> dict[str, float]:
        hertz, flank = row["f_mains"], EDGE_S / 10
        depth = level * levels.NOTCH_DEPTH * row["v_peak"]
        changes = {"v_notch": depth, "start_deg": line.start_deg, "notches": float(NOTCH_ANGLES)}
        for k, angle in enumerate(angles):
            changes[f"t_n{k}"] = (angle - line.start_deg) / 360.0 % 1.0 / hertz
            changes[f"v_n{k}"] = -math.copysign(depth, math.sin(math.radians(angle)))
        width = levels.notch_width_s(hertz)
        shape = {"t_flank": flank, "t_flat": width - flank, "t_cycle": 1 / hertz}
        return {**changes, **shape, **_steady(row)}

    return Variant(f"the first {offset:g}° behind the zero", change)


def _notches(line: Line) -> Disturbance:
    flank, flat, cycle = (Param(name) for name in ("t_flank", "t_flat", "t_cycle"))
    sources = tuple(
        (f"VN{k}", Pulse(0.0, Param(f"v_n{k}"), Param(f"t_n{k}"), flank, flank, flat, cycle))
        for k in range(NOTCH_ANGLES)
    )
    width = 1e6 * levels.notch_width_s(line.mains.frequency)
    return Disturbance(
        "notches",
        "Commutation notches of a converter",
        f"six a cycle towards zero, {100 * levels.NOTCH_DEPTH:g} % of the crest, {width:.0f} µs",
        "IEC 60146-1-1, class B, from memory",
        "notches",
        line.experiment(in_series(line.circuit, sources), "notches", measures.NOTCHES),
        tuple(_notched(line, offset) for offset in NOTCH_OFFSETS_DEG),
        (
            Delivered("notch_depth", "depth", "v_notch", 0.01, "V"),
            Delivered("notch_count", "notches a cycle", "notches", 0.1, "1"),
        ),
        highest=2.5,
        points=3,
    )


def _envelope() -> Pwl:
    """Return the depth of a dip over time."""
    names = ("t_on", "t_bottom", "t_off", "t_over")
    on, bottom, off, over = (Param(name) for name in names)
    depth = Param("dip_depth")
    return Pwl(((0.0, 0.0), (on, 0.0), (bottom, depth), (off, depth), (over, 0.0)))


def _fallen(
    row: Row, start_deg: float, angle: float, length_s: float, depth: float
) -> dict[str, float]:
    """Return the parameters of a dip that begins at an angle of the mains."""
    begin = onset(row, angle, start_deg)
    ends = {"t_on": begin, "t_bottom": begin + EDGE_S, "t_off": begin + length_s}
    return {
        **ends,
        "t_over": begin + length_s + EDGE_S,
        "t_edge": EDGE_S,
        "dip_depth": depth,
        "dip_left": 1 - depth,
        "dip_s": length_s,
        **times(row, row["t_start"] + 0.1 / row["f_mains"], begin + length_s + 3 / row["f_mains"]),
    }


def _dip(line: Line, left: float, cycles: float, words: str) -> Disturbance:
    def variant(angle: float) -> Variant:
        def change(row: Row, level: float) -> dict[str, float]:
            length = cycles / row["f_mains"]
            return _fallen(row, line.start_deg, angle, length, min(1.0, level * (1 - left)))

        return Variant(f"from {angle:g}° on", change)

    circuit = dipped(line.circuit, _envelope())
    return Disturbance(
        f"dip-{100 * left:.0f}-{cycles:g}".replace(".", "-"),
        f"Dip to {words}",
        f"{100 * left:g} % left for {cycles:g} cycles",
        DIP_SOURCE,
        "dips",
        line.experiment(circuit, "dip", measures.DIP, "v(depth)"),
        tuple(variant(angle) for angle in (0.0, 90.0)),
        (
            Delivered("left_share", "share left", "dip_left", 0.02, "1"),
            Delivered("dip_length", "length", "dip_s", 0.01, "s"),
        ),
        highest=1 / (1 - left),
        points=2 if cycles > 5 else 3,
    )


FREQUENCY_STEPS = ((-0.06, "−6 %"), (0.04, "+4 %"))
FREQUENCY_DRIFTS = ((-0.15, "−15 %"), (0.15, "+15 %"))


def _frequencies(line: Line) -> Iterator[Disturbance]:
    """Yield steps of level 3, harder than the 10 s that the standard gives them, and the drifts
    of level 4 within a second."""
    steps = tuple(_variant_of_frequency(share, words, 0.0) for share, words in FREQUENCY_STEPS)
    drifts = tuple(_variant_of_frequency(share, words, 1.0) for share, words in FREQUENCY_DRIFTS)
    experiment = line.experiment(
        of_changing_frequency(line.circuit), "frequency", measures.FREQUENCY
    )
    delivered = (Delivered("hertz_after", "frequency afterwards", "f_after", 2e-3, "Hz"),)
    for name, title, level, variants, points, highest in (
        ("frequency-steps", "Steps of frequency", "−6 % and +4 % at once (level 3)", steps, 3, 2.0),
        ("frequency-drift", "Drift of frequency", "±15 % within 1 s (level 4)", drifts, 1, 1.0),
    ):
        yield Disturbance(
            name,
            title,
            level,
            FREQUENCY_SOURCE,
            SERVICE,
            experiment,
            variants,
            delivered,
            highest=highest,
            points=points,
        )


def _variant_of_frequency(share: float, words: str, seconds: float) -> Variant:
    def change(row: Row, level: float) -> dict[str, float]:
        cycle = 1 / row["f_mains"]
        begin, length = row["t_start"] + 1.1 * cycle, max(seconds, EDGE_S)
        shift = level * share * row["f_mains"]
        after = row["f_mains"] + shift
        return {
            "f_change": shift,
            "f_after": after,
            "t_changes": begin,
            "t_change": length,
            "t_changed": begin + length,
            **times(row, row["t_start"] + 0.1 * cycle, begin + length + 4 / after),
        }

    return Variant(words, change)


RANGES = {
    230.0: ((198.0, 253.0), "IEC 60038, utilisation, from memory"),
    120.0: ((104.0, 127.0), "ANSI C84.1, range B utilisation, from memory"),
}
"""Ends of the mains voltage (V rms) by nominal."""


def _voltages(line: Line) -> Iterator[Disturbance]:
    nominal = line.mains.voltage
    ends, source = RANGES.get(
        nominal,
        (
            (line.mains.voltage_minimum, line.mains.voltage_maximum),
            "the design's own range: no standard's is known for this nominal",
        ),
    )

    def variant(voltage: float) -> Variant:
        def change(row: Row, level: float) -> dict[str, float]:
            crest = row["v_peak"] * max(0.0, 1 + level * (voltage / nominal - 1))
            return {"v_peak": crest, "v_effective": crest / math.sqrt(2), **_steady(row)}

        return Variant(f"{voltage:g} V", change)

    yield Disturbance(
        "voltage",
        "Ends of the supply voltage",
        f"{ends[0]:g} V and {ends[1]:g} V",
        source,
        SERVICE,
        line.experiment(line.circuit, "voltage", measures.VOLTAGE),
        tuple(variant(end) for end in ends),
        (Delivered("emf_rms", "winding's open-circuit voltage", "v_effective", 2e-3, "V"),),
        highest=6.0,
        points=3,
        nominal_mains=True,
    )


def load_switching(
    line: Line, drop_share: float, switched_a: float, words: str, source: str
) -> Disturbance:
    """Return the design's own load going on and off: the mains drops by a share of itself, the
    reservoir gives `switched_a` (A) more."""
    depth = _envelope()
    current = replace(
        depth, points=tuple((t, Param("i_switched") if v != 0.0 else 0.0) for t, v in depth.points)
    )
    circuit = loaded(dipped(line.circuit, depth), current)

    def variant(angle: float) -> Variant:
        def change(row: Row, level: float) -> dict[str, float]:
            fallen = _fallen(row, line.start_deg, angle, 5 / row["f_mains"], level * drop_share)
            return {**fallen, "i_switched": level * switched_a}

        return Variant(f"on at {angle:g}°", change)

    return Disturbance(
        "load-switching",
        "The design's own load going on and off",
        words,
        source,
        SERVICE,
        line.experiment(circuit, "dip", measures.DIP, "v(depth)"),
        tuple(variant(angle) for angle in (0.0, 90.0)),
        (
            Delivered("depth_share", "share lost", "dip_depth", 0.01, "1"),
            Delivered("dip_length", "length", "dip_s", 0.01, "s"),
        ),
        highest=min(8.0, 1 / drop_share),
        points=2,
    )
