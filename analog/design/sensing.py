"""Rules about the line sense: what each topology, clamp and stage needs, and what excludes it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from analog.cards import UnknownPartError, find_card
from analog.design.findings import Draft, Finding, finding
from analog.design.own_rules import own_line_rules, own_stage_rules

#: topology: the keys it cannot do without, and why.
_NEEDS: Final = {
    "full-wave": (
        (
            "isolating_diode",
            "without diodes of its own the sensed point hangs on the reservoir and never falls",
            'Add it, like isolating_diode = "1N4148": two of them, from both ends of the winding',
        ),
        (
            "bleed_resistor",
            "behind its diodes nothing but a bleed pulls the sensed point down",
            'Add it, like bleed_resistor = "4k7"',
        ),
    ),
    "optocoupler": (
        ("optocoupler", "it carries the signal across", 'Add it, like optocoupler = "PC817"'),
        (
            "pull_up_resistor",
            "nothing else makes the pin high",
            'Add it, like pull_up_resistor = "22k"',
        ),
    ),
}

#: key: the only topologies that have such a part.
_ONLY: Final = {
    "isolating_diode": ("full-wave",),
    "optocoupler": ("optocoupler",),
    "antiparallel_diode": ("optocoupler",),
    "pull_up_resistor": ("optocoupler",),
    "bleed_resistor": ("half-wave", "bridge-leg", "full-wave"),
}

_STAGE: Final = ("second_resistor", "second_capacitor")


def sensing_rules(draft: Draft) -> Iterator[Finding]:
    """Yield what is wrong between the keys of [line_sense] and with where its voltage is from."""
    sense = draft.line_sense
    if sense is None:
        return
    yield from _source(draft)
    yield from _topology_parts(draft)
    yield from _clamp(draft)
    yield from own_line_rules(draft)
    yield from _second_led(draft)
    for first, second in (_STAGE, _STAGE[::-1]):
        if draft.given(f"line_sense.{first}") and not draft.given(f"line_sense.{second}"):
            rule = f"{first} needs {second}: a filter stage is both"
            yield finding(f"line_sense.{first}", rule, f"Add {second}")


def _topology_parts(draft: Draft) -> Iterator[Finding]:
    sense = draft.line_sense
    for name, why, remedy in _NEEDS.get(sense.topology, ()):
        if not draft.given(f"line_sense.{name}"):
            rule = f'topology "{sense.topology}" needs {name}: {why}'
            yield Finding(("line_sense", name), rule, remedy, at_key=True)
    for name, topologies in _ONLY.items():
        if getattr(sense, name) is not None and sense.topology not in (*topologies, None):
            words = " or ".join(f'"{topology}"' for topology in topologies)
            rule = f'topology "{sense.topology}" has no {name}'
            yield finding(f"line_sense.{name}", rule, f"Drop it, or use topology {words}")


def _clamp(draft: Draft) -> Iterator[Finding]:
    sense = draft.line_sense
    if sense.clamp == "zener" and not draft.given("line_sense.clamp_zener"):
        rule = 'clamp "zener" needs clamp_zener, the diode\'s name'
        remedy = 'Add it, like clamp_zener = "BZX79-C9V1"'
        yield Finding(("line_sense", "clamp_zener"), rule, remedy, at_key=True)
    if sense.clamp_zener is not None and sense.clamp not in ("zener", None):
        rule = f'clamp "{sense.clamp}" has no Zener diode'
        yield finding("line_sense.clamp_zener", rule, 'Drop it, or write clamp = "zener"')


def _second_led(draft: Draft) -> Iterator[Finding]:
    """A coupler for alternating current conducts both ways by itself."""
    sense = draft.line_sense
    if sense.optocoupler is None or sense.antiparallel_diode is None:
        return
    try:
        card = find_card(sense.optocoupler)
    except UnknownPartError:
        return  # the rule about part names says so
    if any(column.has("CTR_symmetry") for column in card.columns):
        rule = f"the {card.identifier} has a second LED, which a diode across it would darken"
        yield finding("line_sense.antiparallel_diode", rule, "Drop it")


def conditioner_rules(draft: Draft) -> Iterator[Finding]:
    """Yield resistors that a transistor stage lacks, or that another stage has no use for."""
    stage = draft.conditioner
    if stage is None or stage.part is None:
        return
    yield from own_stage_rules(draft)
    try:
        transistor = stage.part != "none" and find_card(stage.part).kind == "npn"
    except UnknownPartError:
        return  # the rule about part names says so
    for name in ("base_resistor", "collector_resistor"):
        key = f"conditioner.{name}"
        if transistor and not draft.given(key):
            rule = f"a transistor stage needs {name}"
            yield Finding(("conditioner", name), rule, f'Add it, like {name} = "10k"', at_key=True)
        if not transistor and getattr(stage, name) is not None:
            yield finding(key, f"only a transistor stage has a {name}", "Drop it")


def _source(draft: Draft) -> Iterator[Finding]:
    """The sensed voltage comes from the supply's transformer or from a winding of its own."""
    sense, supply = draft.line_sense, draft.supply
    if supply is None:
        return
    if sense.topology == "bridge-leg":
        yield from _bridge_leg(draft)
    if sense.winding_voltage is None:
        yield from _shared_winding(sense.topology, supply.rectifier)
    windings = ("line_sense.winding_voltage", "supply.transformer_voltage")
    if not any(draft.given(key) for key in windings):
        rule = "the transformer that is sensed is not described"
        remedy = "Add transformer_voltage and transformer_rating to [supply]"
        yield Finding(("supply", "transformer_voltage"), rule, remedy, at_key=True)


def _bridge_leg(draft: Draft) -> Iterator[Finding]:
    if draft.line_sense.winding_voltage is not None:
        rule = "a leg of the supply's bridge is no winding of its own"
        yield finding("line_sense.winding_voltage", rule, 'Drop it, or use topology "half-wave"')
    if draft.supply.rectifier not in ("bridge", None):
        rule = "sensing a bridge leg needs a bridge rectifier"
        remedy = 'Use rectifier = "bridge", or sense a winding with topology "half-wave"'
        yield finding("line_sense.topology", rule, remedy)


def _shared_winding(topology: str | None, rectifier: str | None) -> Iterator[Finding]:
    """Yield what the supply's own rectifier makes impossible."""
    if topology == "half-wave" and rectifier in ("bridge", None):
        rule = "a winding with one end on circuit ground cannot feed a bridge as well"
        remedy = (
            'Use topology "bridge-leg", another rectifier, or add winding_voltage and '
            "winding_rating of a winding of its own"
        )
        yield finding("line_sense.topology", rule, remedy)
    if topology == "full-wave" and rectifier == "half-wave":
        rule = "a full-wave sense needs both ends of a winding, and here one is circuit ground"
        remedy = (
            'Use rectifier = "bridge" or "full-wave", topology "half-wave", or add winding_voltage '
            "and winding_rating of a centre-tapped winding (the voltage of each half)"
        )
        yield finding("line_sense.topology", rule, remedy)
