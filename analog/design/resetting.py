"""Rules about the parts of a reset's topology: which it needs, which have no place in it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from analog.cards import UnknownPartError, find_card
from analog.design.findings import Draft, Finding, finding

_GATED: Final = ("zener", "zener_resistor", "base_resistor", "collector_resistor", "transistor")

_OWN: Final[dict[str, tuple[str, ...]]] = {
    "rc-low": (),
    "rc-high": (),
    "gated": _GATED,
    "detector": ("detector",),
}

_ELSEWHERE: Final = {"detector": ("capacitor_resistor", "discharge_diode", "button_resistor")}
"""What has no place in a topology although it is no part of another's own."""


def reset_rules(draft: Draft) -> Iterator[Finding]:
    """Yield missing parts of the topology, and parts of another one."""
    reset = draft.reset
    if reset is None or reset.topology not in _OWN:
        return
    own = _OWN[reset.topology]
    for name in own:
        if not draft.given(f"reset.{name}"):
            rule = f'topology "{reset.topology}" needs {name}'
            yield Finding(("reset", name), rule, f"Add {name}", at_key=True)
    known = {name for names in _OWN.values() for name in names}
    for name in sorted(known - set(own)) + list(_ELSEWHERE.get(reset.topology, ())):
        if getattr(reset, name, None) is not None:
            rule = f'topology "{reset.topology}" has no {name}'
            yield finding(f"reset.{name}", rule, "Drop it, or name the topology it belongs to")
    yield from _latch(draft)
    yield from _detector_button(draft)


def _latch(draft: Draft) -> Iterator[Finding]:
    if not draft.reset.latch or draft.reset.receiver is None:
        return
    try:
        card = find_card(draft.reset.receiver)
    except UnknownPartError:
        return
    if card.kind != "gate":
        rule = f"a latch is made of gates, and {card.identifier} is none"
        yield finding("reset.latch", rule, "Name a gate such as 4011 as receiver, or drop latch")


def _detector_button(draft: Draft) -> Iterator[Finding]:
    if draft.reset.topology == "detector" and draft.reset.button:
        rule = 'a button across the delay capacitor is not part of topology "detector"'
        yield finding("reset.button", rule, "Drop it: the detector has no input for a button")
