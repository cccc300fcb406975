"""How much speaks for a battery that overheats: its current's rise, its own temperature.

All probabilities are own choices: how often an overheating battery shows a sign within some
minutes, and how often another one does.
"""

from __future__ import annotations

import numpy as np

from batterymodel.taper.trends import Rise

RISES = {"battery": (0.6, 0.001), "supply": (0.6, 0.03), "none": (0.4, 1.0)}
"""Chance of a rise of the battery's own current, of one on the supply's meter, which loads make
too, and of none: when it overheats, and when not [0..1] (own choice)."""

TEMPERATURES = {"hot": (0.5, 0.002), "warming": (0.5, 0.01), "fair": (0.1, 0.9)}
"""The same for its own temperature: above the limit, climbing, neither [0..1] (own choice)."""


def overheating_log_ratio(rise: Rise | None, hot: bool, warming: bool, read: bool) -> float:
    """Log of how much likelier the signs are when the battery overheats.

    Parameters
    ----------
    rise : Rise or None
    hot, warming : bool
        The battery's temperature is above its limit for charging; it climbs faster than allowed.
    read : bool
        The temperature was read at the battery; else it says nothing.

    Returns
    -------
    float
        Natural log of the likelihood ratio [-].
    """
    seen = "none" if rise is None else "battery" if rise.from_battery else "supply"
    found = [RISES[seen]]
    if hot or read:
        found.append(TEMPERATURES["hot" if hot else "warming" if warming else "fair"])
    return float(sum(np.log(when / otherwise) for when, otherwise in found))
