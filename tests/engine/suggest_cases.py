"""Designs small enough to go through every change there is."""

from __future__ import annotations

LEAKS = """edgeproof = 1

[design]
name = "leaks"
title = "A reset whose capacitor leaks"

[environment]
ambient_minimum = "5 °C"
ambient_maximum = "45 °C"

[supply]
rail = "9 V 5%"

[reset]
resistor = "1M 5% carbon-film" # large, so that the capacitor may be small
capacitor = "10u 20% electrolytic 16V"
pin_resistor = "100k 5% carbon-film"
discharge_diode = "1N4148"
receiver = "40106"
driven = "4013"
"""

SLOW_FILTER = """edgeproof = 1

[design]
name = "slow-filter"
title = "A filter slow enough for the drill next door, and no slower"

[mains]
voltage = "120 V"
frequency = "60 Hz"

[environment]
ambient_minimum = "0 °C"
ambient_maximum = "50 °C"

[supply]
rail = "9 V 5%"
transformer_voltage = "12 V"
transformer_rating = "3 VA"

[line_sense]
topology = "bridge-leg"
series_resistor = "100k 5% carbon-film" # what was in the drawer
capacitor = "4n7 5% film 63V"
bleed_resistor = "10k 5% carbon-film"

[clocked]
part = "4060" # takes edges of any slowness

[[limits]]
measure = "line_sense.rise_time"
limit = "immunity"
minimum = "1 ms"
reason = "the drill's bursts last 0.3 ms and must not reach the thresholds"

[[limits]]
measure = "line_sense.crossing_delay"
limit = "phase"
maximum = "2.6 ms"
reason = "the triac is fired at an angle counted from this edge"
"""

IMPOSSIBLE = (
    LEAKS
    + """
[[limits]]
measure = "reset.hold_time"
limit = "display"
minimum = "900 ms"
reason = "the display needs this long"

[[limits]]
measure = "reset.release_time"
limit = "patience"
maximum = "1 s"
reason = "nobody waits longer"
"""
)
"""Thresholds and tolerances alone are wider than the room between the two limits."""
