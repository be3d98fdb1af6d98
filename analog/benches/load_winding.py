"""A load on a winding of its own, low-voltage valves and solenoids: what the triac switches then.

The winding's rated voltage is that at its rated load and the nominal mains. Between no load and
rated load it falls in a straight line by its regulation; every voltage follows the mains.
"""

from __future__ import annotations

from analog.cards import transformer_for
from analog.design import Load, Mains


def load_and_source(load: Load, mains: Mains) -> tuple[Load, Mains]:
    """Return the load and what feeds it: the mains, or its winding as a mains of its own.

    A load's power is rated at its winding's voltage unless it says otherwise. A winding's lowest
    voltage (V rms) is that at the lowest mains with the largest load and the least regulation, its
    highest that at the highest mains without load and with the most, which is what stands across
    the triac when it is off.
    """
    if load.winding_voltage is None or load.winding_rating is None:
        return load, mains
    least, usual, most = _regulation(load, load.winding_rating)
    shares = (
        power / load.power_factor / load.winding_rating
        for power in (load.power.high, load.power.nominal)
    )
    largest, nominal = (1.0 - min(share, 1.0) for share in shares)
    rated = load.winding_voltage
    source = Mains(
        voltage=rated * (1 + usual * nominal),
        frequency=mains.frequency,
        voltage_minimum=rated * (1 + least * largest) * mains.voltage_minimum / mains.voltage,
        voltage_maximum=rated * (1 + most) * mains.voltage_maximum / mains.voltage,
        frequency_tolerance=mains.frequency_tolerance,
    )
    return load.model_copy(update={"voltage": load.voltage or rated}), source


def winding_note(load: Load) -> tuple[str, ...]:
    """Return what the report says about a load's own winding, nothing without one."""
    if load.winding_voltage is None:
        return ()
    return (
        f"The load hangs on a winding of its own, {load.winding_voltage:g} V: in this bench the "
        "mains voltage stands for that winding's, from its lowest with the load to its highest "
        "without. The winding's resistance counts in these ends only.",
    )


def _regulation(load: Load, rating_va: float) -> tuple[float, float, float]:
    """Return least, usual and most regulation; a stated one is right within a tenth."""
    if load.winding_regulation is not None:
        stated = load.winding_regulation
        return 0.9 * stated, stated, 1.1 * stated
    figure = transformer_for(rating_va).columns[0].figure("regulation")
    return figure.low, figure.centre, figure.high
