"""The cautions that go with every report, README and starter design, as plain sentences."""

from __future__ import annotations

SUMMARY = (
    "Mains voltage can kill and can start a fire. A pass here says that the circuit does its "
    "job on paper; it says nothing about whether it is safe to build, touch or leave running."
)

CAUTIONS: tuple[tuple[str, str], ...] = (
    (
        "Work on it dead",
        "Unplug it, wait until the capacitors have discharged, and measure that they have, before "
        "a hand or a tool goes in.",
    ),
    (
        "A triac is not a switch-off",
        "Triacs mostly fail as a short circuit, and even a good one leaks. The load terminals "
        "stay live while the load is off. Whatever can burn, flood or injure needs its own "
        "cut-out, independent of this circuit, and a switch that truly disconnects it.",
    ),
    (
        "Isolation",
        "Keep the barrier between mains and logic whole: creepage and clearance by the standard "
        "that applies to the equipment. Where it is damp, count on a higher pollution degree, "
        "use residual-current protection and an enclosure rated against water.",
    ),
    (
        "Transformer and fuse",
        "Feed the logic from a safety isolating transformer to IEC 61558-2-6, through a fuse "
        "whose breaking capacity suits the supply.",
    ),
    (
        "Capacitors on the mains",
        "Across the line only class X, from line to earth only class Y, with a resistor that "
        "discharges them after unplugging.",
    ),
    (
        "Live metal",
        "The tab of a non-insulated triac, and any heatsink on it, is at mains potential.",
    ),
    (
        "Resistors that carry mains",
        "Use fusible, flame-proof types, rated for the voltage as well as for the power.",
    ),
    (
        "Measuring",
        "Never clip an earthed oscilloscope to anything tied to the mains. Record only from an "
        "isolated low-voltage winding, and never feed mains into a sound card.",
    ),
    (
        "Gate drive tied to the mains",
        "Without an opto-coupler all of the logic, its buttons and its sensors are live. That is "
        "no first project, and no starter design here does it.",
    ),
    (
        "Who decides",
        "Edgeproof checks function, not safety. The rules where you live, and people licensed to "
        "work by them, have the last word.",
    ),
)


def as_lines() -> tuple[str, ...]:
    """Return summary and cautions as one sentence group per line, for README and comments."""
    return (SUMMARY, *(f"{title}: {text}" for title, text in CAUTIONS))
