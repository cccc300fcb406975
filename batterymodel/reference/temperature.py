"""What temperature does: capacity, resistance, rest voltage, charge voltage.

Batteries are rated at 25 degC (UFGS 16265A p. 36, verified). Functions take scalars or arrays of
any shape and return the same shape.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from batterymodel.inputs.entry_faults import EntryError, fixed
from batterymodel.inputs.records import Battery, Chemistry
from batterymodel.reference.chemistry import REFERENCE_TEMP_C, data_for

# Cell-size correction for temperature, IEEE 485 Table 1 (vented lead-acid): from memory (high),
# not seen in the standard. Columns: electrolyte temperature [degF], factor on required capacity.
IEEE_485_CELL_SIZE_FACTOR = np.array(
    [
        [25, 1.520],
        [30, 1.430],
        [35, 1.350],
        [40, 1.300],
        [45, 1.250],
        [50, 1.190],
        [55, 1.150],
        [60, 1.110],
        [65, 1.080],
        [70, 1.040],
        [75, 1.011],
        [77, 1.000],
        [80, 0.980],
        [85, 0.960],
        [90, 0.940],
        [95, 0.930],
        [100, 0.910],
        [105, 0.890],
        [110, 0.880],
        [115, 0.870],
        [120, 0.860],
        [125, 0.850],
    ]
)

LEAST_FACTOR = 0.05
"""Least capacity factor where the table is continued into the cold [-] (own choice)."""

LEAD_ACID = (Chemistry.VENTED_LEAD_ACID, Chemistry.VRLA)

DATA_TEMP_C = (-40.0, 60.0)
"""Battery temperatures for which there is data [degC] (own choice: the span of the tables)."""


def fahrenheit(temp_c: ArrayLike) -> np.ndarray:
    """Temperature in degF of one in degC, ``9/5 T + 32`` (definition).

    Parameters
    ----------
    temp_c : array-like, any shape
        Temperature [degC].

    Returns
    -------
    ndarray
        Temperature [degF], shape of ``temp_c``.
    """
    return np.asarray(temp_c, dtype=float) * 9.0 / 5.0 + 32.0


def capacity_factor(chemistry: Chemistry, temp_c: ArrayLike) -> np.ndarray:
    """Capacity available at a temperature over the capacity at 25 degC [-].

    Lead-acid: reciprocal of the cell-size factor, interpolated in degF, held constant above
    125 degF and continued on its last slope below 25 degF. Nickel-cadmium and lithium iron
    phosphate: 1, because no published factor table was found; only a maker's factor applies.

    Parameters
    ----------
    chemistry : Chemistry
    temp_c : array-like, any shape
        Battery temperature [degC], inside `DATA_TEMP_C`.

    Returns
    -------
    ndarray
        Factor [-], shape of ``temp_c``.

    Raises
    ------
    InputError
        Outside `DATA_TEMP_C`.

    Notes
    -----
    At 32 degF the factor is 0.72 where a US Army manual (TM 10-6140-200-14, verified) prints
    0.75 at the 6 h rate; at 0 degF, outside the table, 0.45 against the manual's 0.40.

    References
    ----------
    IEEE 485-1997/2010/2020 Table 1 (from memory (high)).

    Examples
    --------
    >>> float(capacity_factor(Chemistry.VENTED_LEAD_ACID, 25.0))
    1.0
    """
    temp = _checked(temp_c)
    if chemistry not in LEAD_ACID:
        return np.ones_like(temp)
    at_f, available = IEEE_485_CELL_SIZE_FACTOR[:, 0], 1.0 / IEEE_485_CELL_SIZE_FACTOR[:, 1]
    slope = (available[1] - available[0]) / (at_f[1] - at_f[0])
    temp_f = fahrenheit(temp)
    below = available[0] + slope * (temp_f - at_f[0])
    inside = np.interp(temp_f, at_f, available)
    return np.where(temp_f < at_f[0], np.maximum(below, LEAST_FACTOR), inside)


def battery_capacity_factor(battery: Battery, temp_c: float) -> tuple[float, str]:
    """Capacity at a temperature over that at the reference, and where it comes from.

    The limits card's table, interpolated, else `capacity_factor` of the chemistry.

    Parameters
    ----------
    battery : Battery
    temp_c : float
        Battery temperature [degC].

    Returns
    -------
    factor : float
        Capacity over that at the reference [-].
    source : str
        The card's document, or the table with its tag.

    Raises
    ------
    InputError
        Outside the card's table, or outside `DATA_TEMP_C`.
    """
    card = battery.limits
    if card.capacity_temp_c and card.capacity_temp_factor:
        low, high = card.capacity_temp_c[0], card.capacity_temp_c[-1]
        if not low <= temp_c <= high:
            problem = (
                f"{temp_c:g} °C is outside the limits card's table of capacity by temperature; "
                f"{low:g} to {high:g} °C would be right"
            )
            raise EntryError("", "temp_c", fixed(problem), name="battery temperature")
        on_card = np.interp(temp_c, card.capacity_temp_c, card.capacity_temp_factor)
        return float(on_card), card.document or "limits card (document not named)"
    factor = float(capacity_factor(battery.chemistry, temp_c))
    if battery.chemistry in LEAD_ACID:
        return factor, "reciprocal of IEEE 485 Table 1 (from memory (high))"
    return factor, "no table: none is published for this chemistry and the limits card gives none"


def resistance_factor(chemistry: Chemistry, temp_c: ArrayLike) -> np.ndarray:
    """Internal resistance at a temperature over that at 25 degC, ``exp(k (T - 25))``.

    Used to widen what is believed of the taper, not to shift it.

    Parameters
    ----------
    chemistry : Chemistry
    temp_c : array-like, any shape
        Battery temperature [degC], inside `DATA_TEMP_C`.

    Returns
    -------
    ndarray
        Factor [-], shape of ``temp_c``.

    Raises
    ------
    InputError
        Outside `DATA_TEMP_C`.

    References
    ----------
    ``k`` by chemistry, about -1 % per degC for lead-acid (common practice, no source).
    """
    k = data_for(chemistry).resistance_log_per_c.value
    return np.exp(k * (_checked(temp_c) - REFERENCE_TEMP_C))


def rest_voltage_v(battery: Battery, soc: ArrayLike, temp_c: float) -> np.ndarray:
    """Rest voltage of the battery at states of charge and a temperature.

    The limits card's table, else the chemistry's curve and what others of the kind lie above it,
    interpolated, plus ``cells k (T - REFERENCE_TEMP_C)``.

    Parameters
    ----------
    battery : Battery
    soc : array-like, any shape
        States of charge [0..1].
    temp_c : float
        Battery temperature [degC].

    Returns
    -------
    ndarray
        Volts of the whole battery [V], shape of ``soc``.

    Raises
    ------
    InputError
        Outside `DATA_TEMP_C`.

    References
    ----------
    `RestVoltageCurve.source` of the chemistry.
    """
    rest, card = data_for(battery.chemistry).rest, battery.limits
    at = np.asarray(soc, dtype=float)
    if card.rest_voltage_soc and card.rest_voltage_v:
        at_reference = np.interp(at, card.rest_voltage_soc, card.rest_voltage_v)
    else:
        above = battery.kind.rest_shift_v if battery.kind else 0.0
        at_reference = battery.cells * (np.interp(at, rest.soc, rest.volts) + above)
    return at_reference + rest_voltage_shift_v(battery, temp_c)


def rest_voltage_shift_v(battery: Battery, temp_c: float) -> float:
    """What a rest voltage moves from 25 degC to a temperature, ``cells k (T - 25)``.

    Parameters
    ----------
    battery : Battery
    temp_c : float
        Battery temperature [degC].

    Returns
    -------
    float
        Volts of the whole battery [V].

    Raises
    ------
    InputError
        Outside `DATA_TEMP_C`.

    References
    ----------
    ``k``: `RestVoltageCurve.temp_coefficient_v_per_c` of the chemistry.
    """
    per_c = data_for(battery.chemistry).rest.temp_coefficient_v_per_c
    return float(battery.cells * per_c * (_checked(temp_c) - REFERENCE_TEMP_C))


def charge_voltage_shift_v(battery: Battery, temp_c: float) -> float:
    """What the recommended charge voltage moves from 25 degC, ``cells k (T - 25)``; less when hot.

    Parameters
    ----------
    battery : Battery
    temp_c : float
        Battery temperature [degC].

    Returns
    -------
    float
        Volts of the whole battery [V].

    Raises
    ------
    InputError
        Outside `DATA_TEMP_C`.

    References
    ----------
    ``k`` by chemistry, -3 mV/degC per lead-acid cell (from memory (high), range -2.5 to -5).

    Examples
    --------
    >>> from batterymodel.inputs.records import Battery
    >>> b = Battery(tail="DEMO-1", chemistry="vrla", cells=12, rated_capacity_ah=40)
    >>> round(charge_voltage_shift_v(b, 45.0), 2)
    -0.72
    """
    per_c = data_for(battery.chemistry).charge_compensation_v_per_c.value
    return float(battery.cells * per_c * (_checked(temp_c) - REFERENCE_TEMP_C))


def charge_voltage_mismatch_v(
    set_voltage_v: float, window_v: tuple[float, float], battery: Battery, temp_c: float
) -> float:
    """How far a fixed supply voltage lies outside the window brought to this temperature.

    ``max(V - high, 0) + min(V - low, 0)``, both ends moved by `charge_voltage_shift_v`.

    Parameters
    ----------
    set_voltage_v : float
        Voltage of the supply [V].
    window_v : two floats
        Least and most charge voltage of the whole battery at `REFERENCE_TEMP_C` [V].
    battery : Battery
    temp_c : float
        Battery temperature [degC].

    Returns
    -------
    float
        Volts of the whole battery [V]: positive, too high for a battery this warm; negative, too
        low for one this cold; zero inside.

    Raises
    ------
    InputError
        Outside `DATA_TEMP_C`.
    """
    shift = charge_voltage_shift_v(battery, temp_c)
    low, high = window_v[0] + shift, window_v[1] + shift
    return max(set_voltage_v - high, 0.0) + min(set_voltage_v - low, 0.0)


def within_data_c(temp_c: float) -> float:
    """The temperature, or the nearest inside `DATA_TEMP_C`.

    Parameters
    ----------
    temp_c : float
        Battery temperature [degC].

    Returns
    -------
    float
        Temperature for which there is data [degC].
    """
    return float(np.clip(temp_c, *DATA_TEMP_C))


def _checked(temp_c: ArrayLike) -> np.ndarray:
    temp = np.asarray(temp_c, dtype=float)
    low, high = DATA_TEMP_C
    if np.any(~((temp >= low) & (temp <= high))):
        problem = f"there is data for {low:g} to {high:g} °C only"
        raise EntryError("", "temp_c", fixed(problem), name="battery temperature")
    return temp


REST_AFTER = "rest voltage after"
"""What a rest voltage is called that was read after a connection."""

REST_VOLTAGE_RANGE = (0.7, 1.25)
"""Rest voltages that are accepted, over those of an empty and a full battery [-] (own choice)."""


def check_rest_voltage(
    battery: Battery, read_v: float, key: str = "rest_voltage_v", name: str = "rest voltage"
) -> None:
    """Refuse a rest voltage that cannot be that of the battery.

    Parameters
    ----------
    battery : Battery
    read_v : float
        Of the whole battery [V].
    key, name : str, optional
        Of the entry it was told in, and what that is called.

    Raises
    ------
    InputError
        Outside `REST_VOLTAGE_RANGE`, or no number.
    """
    data = data_for(battery.chemistry)
    low = REST_VOLTAGE_RANGE[0] * data.rest.volts[0] * battery.cells
    high = REST_VOLTAGE_RANGE[1] * data.rest.volts[-1] * battery.cells
    if not low <= read_v <= high:
        problem = (
            f"{read_v:g} V cannot be that of {battery.cells} {data.label} cells; "
            f"{low:.0f} to {high:.0f} V would be right"
        )
        raise EntryError("", key, fixed(problem), name=name)
