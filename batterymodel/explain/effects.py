"""The explainer's numbers: four topics shown on one invented battery by the tool's own models."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from batterymodel.basis.intervals import LEVEL_SD
from batterymodel.basis.text import counted
from batterymodel.explain import wording as words
from batterymodel.fade.fitted import line_prior
from batterymodel.inputs.records import Battery, CapacityCheck, Chemistry, Supply
from batterymodel.reference.chemistry import REFERENCE_TEMP_C, data_for
from batterymodel.reference.limits import limit_for
from batterymodel.reference.temperature import (
    capacity_factor,
    charge_voltage_mismatch_v,
    charge_voltage_shift_v,
)
from batterymodel.rules.case import NEGLIGIBLE_V
from batterymodel.rules.current_rules import CURRENT_LIMITED_MINUTES
from batterymodel.rules.wording import minutes_words
from batterymodel.taper.expected import expected_taper

BATTERY = Battery(
    tail="invented",
    chemistry=Chemistry.VRLA,
    cells=12,
    rated_capacity_ah=40.0,
    capacity_check=CapacityCheck(on=date(2026, 3, 2), capacity_ah=40.0),
)
SUPPLY = Supply(rated_current_a=60.0, set_voltage_v=28.0)
LOAD_A = 10.0
"""Bus load of the example [A] (invented)."""

TIME_S = np.linspace(0.0, 3600.0, 361)
"""Times since connection that are drawn [s] (own choice)."""

TEMPS_C = np.linspace(-20.0, 55.0, 76)
"""Battery temperatures that are drawn [degC] (own choice)."""

YEARS = np.linspace(0.0, 8.0, 33)
"""Ages that are drawn [years] (own choice)."""

SHORTLY = "less than a minute"
LATER_S = 1800.0
"""Time at which the words name the current again [s] (own choice)."""


@dataclass(frozen=True)
class Parameter:
    """What a reader can turn: its range, step and where it starts."""

    low: float
    high: float
    step: float
    start: float


PARAMETERS = {
    words.TOPPING_OFF: Parameter(60.0, 99.0, 1.0, 92.0),
    words.NO_CHARGER: Parameter(10.0, 99.0, 1.0, 40.0),
    words.TEMPERATURE: Parameter(-20.0, 55.0, 1.0, 40.0),
    words.FADE: Parameter(0.0, 8.0, 1.0, 4.0),
}
TOPICS = tuple(PARAMETERS)


def example_words() -> str:
    """What the charts are drawn for."""
    return words.EXAMPLE.format(rated=BATTERY.rated_capacity_ah, limit=SUPPLY.rated_current_a)


def topping_off_a(soc_percent: float) -> np.ndarray:
    """Battery current over `TIME_S` from a state of charge, supply without limit.

    Parameters
    ----------
    soc_percent : float
        State of charge at connection [%], below 100.

    Returns
    -------
    ndarray, shape of `TIME_S`
        Current above the float current [A].
    """
    return expected_taper(BATTERY, soc_percent / 100.0, TIME_S)[0]


def supply_current_a(soc_percent: float) -> np.ndarray:
    """Supply current over `TIME_S` from a state of charge, up to the supply's limit.

    Parameters
    ----------
    soc_percent : float
        State of charge at connection [%], below 100.

    Returns
    -------
    ndarray, shape of `TIME_S`
        Current [A], the bus load `LOAD_A` included.
    """
    room = SUPPLY.rated_current_a - LOAD_A
    return LOAD_A + expected_taper(BATTERY, soc_percent / 100.0, TIME_S, room)[0]


def minutes_at_limit(soc_percent: float) -> float:
    """How long the supply stands at its limit.

    Parameters
    ----------
    soc_percent : float
        State of charge at connection [%], below 100.

    Returns
    -------
    float
        Time [min], 0 up to the hour of `TIME_S`.
    """
    current_limited = supply_current_a(soc_percent) >= SUPPLY.rated_current_a - 1e-6
    return float(TIME_S[current_limited][-1] / 60.0) if current_limited.any() else 0.0


def charge_window_v(temps_c: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Least and most charging voltage at temperatures of the battery.

    Parameters
    ----------
    temps_c : ndarray, shape (n,)
        Temperatures [degC].

    Returns
    -------
    low_v, high_v : ndarray, shape (n,)
        Limits of the whole battery [V].

    Raises
    ------
    InputError
        A temperature outside `reference.temperature.DATA_TEMP_C`.
    """
    shift = np.array([charge_voltage_shift_v(BATTERY, float(t)) for t in np.ravel(temps_c)])
    low, high = _window_v()
    return low + shift, high + shift


def capacity_percent(years: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Capacity by age: best value and the 90 % range by chemistry.

    The range ends at what a new battery may have: capacity does not grow with age.

    Parameters
    ----------
    years : ndarray, any shape
        Ages [years], none negative.

    Returns
    -------
    best, low, high : ndarray, shape of `years`
        Capacity [% of the plate].
    """
    prior, age = line_prior(BATTERY, "year"), np.asarray(years, dtype=float)
    best = prior.start - prior.loss * age
    spread = LEVEL_SD * np.hypot(prior.start_sd, prior.loss_sd * age)
    low = np.maximum(best - spread, 0.0)
    high = np.minimum(best + spread, prior.start + LEVEL_SD * prior.start_sd)
    return 100.0 * best, 100.0 * low, 100.0 * high


def shown_words(topic: str, value: float) -> str:
    """What the chart of a topic shows at a value of its parameter, in sentences.

    Parameters
    ----------
    topic : str
        One of `TOPICS`.
    value : float
        In the range of `PARAMETERS`, in the topic's own unit: state of charge [%] of the first
        two, temperature [degC], age [years].

    Returns
    -------
    str

    Raises
    ------
    KeyError
        Another topic.
    InputError
        A temperature outside `reference.temperature.DATA_TEMP_C`.
    """
    return {
        words.TOPPING_OFF: _topping_off_words,
        words.NO_CHARGER: _no_charger_words,
        words.TEMPERATURE: _temperature_words,
        words.FADE: _fade_words,
    }[topic](value)


def _topping_off_words(soc: float) -> str:
    current = topping_off_a(soc)
    efficiency = data_for(BATTERY.chemistry).taper.efficiency
    return words.SHOWN[words.TOPPING_OFF].format(
        soc=soc,
        first=current[0],
        later=np.interp(LATER_S, TIME_S, current),
        charge=(1.0 - soc / 100.0) * BATTERY.rated_capacity_ah / efficiency,
    )


def _no_charger_words(soc: float) -> str:
    minutes, hour = minutes_at_limit(soc), TIME_S[-1] / 60.0
    key = "long" if minutes >= hour else "limit" if minutes > 0.0 else "free"
    values = {"soc": soc, "limit": SUPPLY.rated_current_a, "minutes": _lasting(minutes)}
    said = [words.SHOWN["no_charger.limit" if key == "long" else f"no_charger.{key}"]]
    said += [words.SHOWN["no_charger.long"]] * (key == "long")
    said.append(words.SHOWN["no_charger.rule"])
    return " ".join(said).format(rule=minutes_words(CURRENT_LIMITED_MINUTES), **values)


def _lasting(minutes: float) -> str:
    return minutes_words(minutes) if minutes >= 1.0 else SHORTLY


def _temperature_words(temp_c: float) -> str:
    by = charge_voltage_mismatch_v(SUPPLY.set_voltage_v, _window_v(), BATTERY, temp_c)
    key = "ok" if abs(by) < NEGLIGIBLE_V else "high" if by > 0.0 else "low"
    said = [words.SHOWN[f"temperature.{key}"]]
    share = 100.0 * float(capacity_factor(BATTERY.chemistry, temp_c))
    said += [words.SHOWN["temperature.capacity"]] * (temp_c < REFERENCE_TEMP_C)
    values = {"temp": temp_c, "volts": SUPPLY.set_voltage_v, "by": abs(by), "share": share}
    return " ".join(said).format(**values)


def _fade_words(years: float) -> str:
    best, low, high = (float(v) for v in capacity_percent(np.array(years)))
    return words.SHOWN[words.FADE].format(
        years=counted(round(years), "year"),
        best=best,
        low=low,
        high=high,
        limit=least_capacity_percent(),
    )


def least_capacity_percent() -> float:
    """Least capacity asked of the example [% of the plate]."""
    return 100.0 * limit_for(BATTERY, "min_capacity_fraction").value


def _window_v() -> tuple[float, float]:
    names = ("charge_voltage_min_v", "charge_voltage_max_v")
    low, high = (limit_for(BATTERY, name).value for name in names)
    return low, high
