"""Rules about the keys of a user's own sub-circuit: what they need and what they exclude."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from analog.design.findings import Draft, Finding, finding

OWN: Final = "subcircuit"

MOST_CYCLES: Final = 40
"""Mains cycles that a sub-circuit may be given to settle."""

_BUILT_IN: Final = (
    ("series_resistor", "100k 5% carbon-film"),
    ("capacitor", "10n 10% X7R 50V"),
)
"""What every other topology needs, and how it is written."""

_INSIDE: Final = ("series_resistor", "capacitor", "bleed_resistor", "second_resistor")
_LEVELS: Final = {
    "subcircuit_high": "the voltage that is surely high at its input",
    "subcircuit_low": "the voltage that is surely low at its input",
}
_BESIDE: Final = ("subcircuit_name", "subcircuit_ports", "subcircuit_tolerances")


def own_line_rules(draft: Draft) -> Iterator[Finding]:
    """Yield what is wrong between [line_sense] topology and the keys of a sub-circuit."""
    sense = draft.line_sense
    if sense.topology == OWN:
        yield from _with_own(draft)
    elif sense.topology is not None:
        yield from _without_own(draft)


def _with_own(draft: Draft) -> Iterator[Finding]:
    if not draft.given("line_sense.subcircuit"):
        rule = 'topology "subcircuit" needs subcircuit, the file that holds it'
        remedy = 'Add it, like subcircuit = "my-filter.cir", a file beside the design'
        yield Finding(("line_sense", "subcircuit"), rule, remedy, at_key=True)
    for name in (*_INSIDE, "second_capacitor"):
        if getattr(draft.line_sense, name) is not None:
            rule = 'in topology "subcircuit" the whole filter is the sub-circuit'
            yield finding(f"line_sense.{name}", rule, "Drop it, or write it into the sub-circuit")
    yield from _settling(draft)


def own_stage_rules(draft: Draft) -> Iterator[Finding]:
    """Yield what is wrong between [conditioner] part and the keys of a sub-circuit."""
    stage = draft.conditioner
    if stage.part != OWN:
        for name in (OWN, *_BESIDE, *_LEVELS):
            if getattr(stage, name) is not None:
                rule = f'part "{stage.part}" is no sub-circuit'
                yield finding(f"conditioner.{name}", rule, 'Drop it, or write part = "subcircuit"')
        return
    for name, why in ((OWN, "the file that holds it"), *_LEVELS.items()):
        if not draft.given(f"conditioner.{name}"):
            sample = "my-stage.cir" if name == OWN else "5 V"
            rule = f'part "subcircuit" needs {name}, {why}'
            remedy = f'Add it, like {name} = "{sample}"'
            yield Finding(("conditioner", name), rule, remedy, at_key=True)
    if stage.maker is not None:
        yield finding("conditioner.maker", "a sub-circuit has no maker", "Drop the maker")
    if stage.inputs_tied:
        yield finding("conditioner.inputs_tied", "a sub-circuit has one input", "Drop the key")
    for name in ("base_resistor", "collector_resistor"):
        if getattr(stage, name) is not None:
            rule = 'with part "subcircuit" the whole stage is the sub-circuit'
            yield finding(f"conditioner.{name}", rule, "Drop it, or write it into the sub-circuit")
    low, high = stage.subcircuit_low, stage.subcircuit_high
    if low is not None and high is not None and low > high:
        rule = f"what is surely low is over what is surely high, {high:g} V"
        yield finding("conditioner.subcircuit_low", rule, "Swap or mend the two")


def _settling(draft: Draft) -> Iterator[Finding]:
    settling = draft.value("line_sense.subcircuit_settling")
    frequency = draft.value("mains.frequency")
    if settling is not None and frequency and settling * frequency > MOST_CYCLES:
        rule = f"this is over {MOST_CYCLES} mains cycles, {1e3 * MOST_CYCLES / frequency:.3g} ms"
        yield finding("line_sense.subcircuit_settling", rule, "Shorten it; a filter settles faster")


def _without_own(draft: Draft) -> Iterator[Finding]:
    for name, sample in _BUILT_IN:
        if not draft.given(f"line_sense.{name}"):
            remedy = f'Add it, like {name} = "{sample}"'
            yield Finding(("line_sense", name), f"the key {name} is missing", remedy, at_key=True)
    for name in (OWN, *_BESIDE, "subcircuit_settling"):
        if getattr(draft.line_sense, name) is not None:
            rule = f'topology "{draft.line_sense.topology}" has a filter of its own'
            yield finding(f"line_sense.{name}", rule, 'Drop it, or write topology = "subcircuit"')
