"""How well meters and people tell what they tell, where nobody said so."""

from __future__ import annotations

LOAD_SD_A = 0.5
"""Standard error of a bus load that somebody gave [A] (common practice, no source)."""

VOLTMETER_SD_V = 0.05
"""Error of a voltage read at the battery [V] (common practice, no source)."""

CLAMP_OFFSET_A = 0.1
"""Least zero error of a clamp meter on the battery lead [A] (common practice, no source)."""

THERMOMETER_SD_C = 0.1
"""Scatter of one temperature reading against its neighbours [degC] (common practice, no source)."""

PANEL_AMMETER_SD_A = 1.0
"""Error of the ammeter of a supply of some tens of amperes [A] (common practice, no source: two
percent of 50 A)."""
