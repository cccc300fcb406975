"""What the ground supply and its wall circuit can give."""

from __future__ import annotations

from dataclasses import dataclass

from batterymodel.inputs.records import Supply

INPUT_FACTOR = 0.80
"""Output watts over input volt-amperes at full load, efficiency and power factor together, used
where the plate gives no input current (common practice, no source)."""

INPUT_FACTOR_REL_SD = 0.10
"""Spread of it between supplies [-] (own choice: with correction of the power factor about 0.88,
without 0.70)."""

LONG_LOAD_MINUTES = 180.0
"""A load that lasts as long counts as continuous for its circuit [min] (three hours: NFPA 70,
Article 100, from memory (high); the code of the place governs)."""

CONTINUOUS_CIRCUIT_FRACTION = 0.80
"""Share of a breaker's rating to plan for loads of three hours or more (NFPA 70, 210.20(A): the
breaker is rated for 125 % of a continuous load, from memory (high); the code of the place
governs)."""


@dataclass(frozen=True)
class MostOutput:
    """The most a supply can give [A] and what sets it."""

    limit_a: float
    limited_by: str


def full_load_input_a(supply: Supply) -> float | None:
    """Input current at rated output: the plate's, else estimated.

    ``I_in = V_out I_out / (INPUT_FACTOR V_in)`` with `INPUT_FACTOR` (common practice, no source).

    Parameters
    ----------
    supply : Supply

    Returns
    -------
    float or None
        Input current [A]; None where neither it nor an input voltage is known.

    Examples
    --------
    >>> round(full_load_input_a(Supply(rated_current_a=60, input_voltage_v=120)), 1)
    17.5
    """
    if supply.input_current_full_load_a is not None:
        return supply.input_current_full_load_a
    if supply.input_voltage_v is None:
        return None
    return supply.set_voltage_v * supply.rated_current_a / (INPUT_FACTOR * supply.input_voltage_v)


def input_current_a(supply: Supply, output_a: float) -> float | None:
    """Input current at an output current, taken as proportional to output.

    ``I_in = I_full output / rated`` (own choice).

    Parameters
    ----------
    supply : Supply
    output_a : float
        Output current [A].

    Returns
    -------
    float or None
        Input current [A]; None where `full_load_input_a` is unknown.
    """
    full = full_load_input_a(supply)
    return None if full is None else full * output_a / supply.rated_current_a


def circuit_output_a(supply: Supply) -> float | None:
    """Output at which the wall circuit's breaker is at its rating, ``breaker / (I_full / rated)``.

    Parameters
    ----------
    supply : Supply

    Returns
    -------
    float or None
        Output current [A]; None where breaker or input current is unknown.

    Examples
    --------
    >>> s = Supply(rated_current_a=60, input_current_full_load_a=17.5, circuit_breaker_a=15)
    >>> round(circuit_output_a(s), 1)
    51.4
    """
    for_one_ampere = input_current_a(supply, 1.0)
    if for_one_ampere is None or supply.circuit_breaker_a is None:
        return None
    return supply.circuit_breaker_a / for_one_ampere


def output_limit(supply: Supply) -> MostOutput:
    """The lower of the supply's rating and what its wall circuit can feed.

    Parameters
    ----------
    supply : Supply

    Returns
    -------
    MostOutput
    """
    circuit = circuit_output_a(supply)
    if circuit is not None and circuit < supply.rated_current_a:
        return MostOutput(circuit, "wall circuit")
    return MostOutput(supply.rated_current_a, "supply rating")


def continuous_output_a(supply: Supply) -> float:
    """Output to plan for over hours: the rating, or less where the wall circuit is short.

    ``min(rated, CONTINUOUS_CIRCUIT_FRACTION circuit_output_a)``.

    Parameters
    ----------
    supply : Supply

    Returns
    -------
    float
        Output current [A].

    References
    ----------
    `CONTINUOUS_CIRCUIT_FRACTION` (common practice; from memory).
    """
    circuit = circuit_output_a(supply)
    if circuit is None:
        return supply.rated_current_a
    return min(supply.rated_current_a, CONTINUOUS_CIRCUIT_FRACTION * circuit)


def input_factor(supply: Supply) -> float | None:
    """Output watts over input volt-amperes at full load: efficiency and power factor together.

    ``V_out I_out / (V_in I_in)``.

    Parameters
    ----------
    supply : Supply

    Returns
    -------
    float or None
        [-]; None where the plate does not give both input voltage and input current.

    Examples
    --------
    >>> s = Supply(rated_current_a=60, input_voltage_v=120, input_current_full_load_a=17.5)
    >>> round(input_factor(s), 2)
    0.8
    """
    if supply.input_voltage_v is None or supply.input_current_full_load_a is None:
        return None
    input_va = supply.input_voltage_v * supply.input_current_full_load_a
    return supply.set_voltage_v * supply.rated_current_a / input_va


def warm_output_a(supply: Supply, temp_c: float) -> float | None:
    """Rated output at a temperature of the supply.

    ``rated - derating (T - rated_at)``, not below zero.

    Parameters
    ----------
    supply : Supply
    temp_c : float
        Air at the supply [degC].

    Returns
    -------
    float or None
        Output current [A]; None where the rating does not hold so far up and nobody said how much
        less there is.

    Examples
    --------
    >>> s = Supply(rated_current_a=60, rated_at_c=40.0, derating_a_per_c=1.5)
    >>> warm_output_a(s, 30.0), warm_output_a(s, 50.0)
    (60.0, 45.0)
    """
    above = 0.0 if supply.rated_at_c is None else temp_c - supply.rated_at_c
    if above <= 0.0:
        return supply.rated_current_a
    if supply.derating_a_per_c is None:
        return None
    return max(supply.rated_current_a - supply.derating_a_per_c * above, 0.0)
