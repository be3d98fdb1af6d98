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


_OUTPUT: tuple[tuple[str, str], ...] = (
    (
        "Everything from here on is at mains potential",
        "The triac, its tab and heatsink, snubber, varistor, gate resistor and the load, on or "
        "off. Touching any of it can kill.",
    ),
    (
        "Fire",
        "A triac shorted, a gate resistor that sees the mains because the triac does not fire, a "
        "varistor at its end or a stalled motor burns. Fuse the load's circuit so that the fuse "
        "clears before the triac's I²t is used up, and use flame-proof parts.",
    ),
    (
        "Distances to verify",
        "Across the barrier at 230 V mains, pollution degree 2: 3 mm clearance and 5 mm creepage "
        "for reinforced insulation, 8 mm creepage at pollution degree 3 (IEC 62368-1 and IEC "
        "60335-1, as quoted in test reports). Look up the edition that binds you.",
    ),
    (
        "After unplugging",
        "A capacitor of more than 0.1 µF across the line must be below 60 V within a second or "
        "two (from memory: the equipment standards): give it a resistor.",
    ),
    (
        "What this bench does not decide",
        "Whether the parts are approved, the wiring and enclosure fit, the load may run "
        "unattended. The local code and people licensed to work by it do.",
    ),
)


def bench_cautions(bench: str) -> tuple[tuple[str, str], ...]:
    """Return what a bench's own section begins with: the mains side of the triac output."""
    return _OUTPUT if bench == "gate_drive" else ()


def as_lines() -> tuple[str, ...]:
    """Return summary and cautions as one sentence group per line, for README and comments."""
    return (SUMMARY, *(f"{title}: {text}" for title, text in CAUTIONS))
