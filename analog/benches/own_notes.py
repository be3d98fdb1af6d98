"""What the report says about a sub-circuit of the user's own."""

from __future__ import annotations

from analog.design import OwnCircuit

_ROLES = {
    "line": "the sensed point",
    "pin": "the receiver's pin",
    "ground": "circuit ground",
    "rail": "the rail",
    "other": "the winding's other end",
    "in": "its input",
    "out": "its output",
    "vdd": "the rail",
    "vss": "circuit ground",
}


def own_notes(noun: str, own: OwnCircuit) -> tuple[str, ...]:
    """Return where the sub-circuit is from, what its ports are, and which parts of it vary.

    `noun` says what it stands for, like ``filter``.
    """
    varied = ", ".join(
        f"{part.spread.key.rpartition('.')[2]} {part.spread.text}" for part in own.spreads
    )
    ports = ", ".join(
        f"{port} is {_ROLES[role]}" for port, role in zip(own.ports, own.roles, strict=True)
    )
    spread = f"Tolerances are stated for {varied}; its" if varied else "No tolerance is stated: its"
    return (
        f"The {noun} is the sub-circuit {own.name} of {own.file} (SHA-256 {own.sha256[:16]}…), "
        "read by a grammar of what is allowed and simulated in names of ours.",
        f"Its ports: {ports}.",
        f"{spread} {'other ' if varied else ''}parts are at their nominal values.",
        *own.remarks,
    )
