"""Data by chemistry: rest voltage, taper priors and generic limits, each with its source.

Tags in the sources: *verified* (seen in a copy of the named document), *derived* (arithmetic from
facts named), *from memory* (not seen in a document), *common practice, no source*, and
*calibrated* (measured on the electrochemical reference simulation; see
``tests/benchmarks/README.md``, accuracy).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from batterymodel.errors import InputError
from batterymodel.inputs.records import Chemistry

COMMON_PRACTICE = "common practice, no source"
"""Tag of a number that the trade uses and no document was found for."""

REFERENCE_TEMP_C = 25.0
"""Reference temperature of capacity and rest voltage [degC] (IEEE 450/485, from memory (high))."""

NEARLY_FULL_SOC = 0.98
"""State of charge at which a top-off counts as done (common practice, no source)."""


LEAD_REST_SD_V = 0.012
NICD_REST_SD_V = 0.04
LFP_REST_SD_V = 0.03
"""Spread of the rest voltage between healthy batteries when full [V/cell] (own choice)."""

LEAD_REST_SD_EMPTY_V = 0.024
"""That of empty lead-acid batteries [V/cell] (own choice: two tables of a flooded battery of twelve
cells lie 0.2 V apart when full and 0.4 V when empty: Bode's volts at the Army's specific gravities
(derived), and one of wet batteries (verified (secondary)))."""


RESISTANCE_LOG_SD = 0.45
"""Spread of the log of a sound battery's resistance around `ChemistryData.resistance_vh` [ln]
(common practice, no source: from two thirds to one and a half times)."""


@dataclass(frozen=True)
class Sourced:
    """One number with where it comes from."""

    value: float
    source: str = COMMON_PRACTICE


@dataclass(frozen=True)
class RestVoltageCurve:
    """Rest voltage per cell [V] against state of charge [0..1] at `REFERENCE_TEMP_C`.

    ``sd_v`` is the spread between healthy full batteries that the curve does not describe, and
    ``sd_empty_v`` that between empty ones [V/cell] (own choices).
    ``temp_coefficient_v_per_c`` is per cell.
    """

    soc: tuple[float, ...]
    volts: tuple[float, ...]
    temp_coefficient_v_per_c: float
    sd_v: float
    sd_empty_v: float
    source: str


@dataclass(frozen=True)
class TaperPrior:
    """What is believed of the taper before any reading.

    The battery current at constant voltage is ``A`` times a fast and a slow exponential; its C-rate
    is ``A`` over capacity [1/h]. ``time_constant_h`` is the slow time constant at a small C-rate,
    log-normal with ``time_constant_log_sd`` between batteries; its log falls by
    ``log_time_per_c_rate`` per unit of C-rate. ``fast_share`` is the fast part of ``A`` at a small
    C-rate; it grows by ``share_per_c_rate``, because the reaction takes more than its linear share
    when driven hard.
    ``fast_ratio`` is the fast time constant over the slow one. ``time_transfer_log_sd`` and
    ``share_transfer_sd`` say how far one battery's own values move between its connections.
    ``float_current_per_ah`` is the current left after the taper [A per rated Ah]. ``shape_rel_sd``
    is what two exponentials leave undescribed, relative to the battery current; it grows by
    ``shape_per_c_rate``. ``efficiency`` is charge stored over charge taken above the float current.
    Where the taper is not ``exponential``, the current only bounds the charge to return
    (`batterymodel.taper.charge_bounds`).
    """

    time_constant_h: float
    time_constant_log_sd: float
    log_time_per_c_rate: float
    time_transfer_log_sd: float
    fast_share: float
    fast_share_sd: float
    share_per_c_rate: float
    share_transfer_sd: float
    fast_ratio: float
    fast_ratio_log_sd: float
    float_current_per_ah: float
    float_current_per_ah_sd: float
    shape_rel_sd: float
    shape_per_c_rate: float
    efficiency: float
    efficiency_sd: float
    source: str
    exponential: bool = True


@dataclass(frozen=True)
class GenericLimits:
    """Generic values behind blank entries of the limits card; voltages at `REFERENCE_TEMP_C`."""

    max_charge_current_per_ah: Sourced
    charge_voltage_min_v_per_cell: Sourced
    charge_voltage_max_v_per_cell: Sourced
    charge_temp_min_c: Sourced
    charge_temp_max_c: Sourced
    min_top_off_soc: Sourced
    min_capacity_fraction: Sourced
    end_voltage_v_per_cell: Sourced
    capacity_check_interval_days: Sourced
    min_rest_voltage_v_per_cell: Sourced
    max_float_current_per_ah: Sourced
    max_temp_rise_c_per_min: Sourced


@dataclass(frozen=True)
class ChemistryData:
    """Everything the tool knows of one chemistry.

    ``charge_compensation_v_per_c`` is what the charge voltage of a cell moves [V/degC],
    ``resistance_log_per_c`` the change of the logarithm of the resistance [1/degC], and
    ``resistance_vh`` the resistance of a cell within a second of a step, times rated capacity
    [V h], at `REFERENCE_TEMP_C`.
    """

    label: str
    rest: RestVoltageCurve
    taper: TaperPrior
    limits: GenericLimits
    charge_compensation_v_per_c: Sourced
    resistance_log_per_c: Sourced
    resistance_vh: Sourced
    rest_voltage_remark: str | None = None
    taper_remark: str | None = None


# Cell EMF less specific gravity, derived from the electrode polynomials of Bode (1977) as coded
# in PyBaMM (verified) at acid densities from handbook data (from memory): columns SG, EMF - SG.
_EMF_LESS_SG = np.array(
    [
        [1.0661, 0.8641],
        [1.1398, 0.8586],
        [1.1863, 0.8529],
        [1.2191, 0.8487],
        [1.2518, 0.8463],
        [1.2855, 0.8451],
        [1.3028, 0.8450],
    ]
)


def emf_from_specific_gravity(specific_gravity: ArrayLike) -> np.ndarray:
    """Rested lead-acid cell voltage from acid specific gravity.

    ``V = SG + d(SG)``, with ``d`` falling from 0.864 to 0.845 V over the range.

    Parameters
    ----------
    specific_gravity : array-like, any shape
        Specific gravity of the acid at 25 degC [-], 1.0661 to 1.3028.

    Returns
    -------
    ndarray
        Open-circuit voltage per cell [V], same shape.

    Raises
    ------
    InputError
        Outside the tabulated range.

    Notes
    -----
    The trade rule ``V = SG + 0.84`` (from memory (high)) reads 5 mV lower at SG 1.28 and 19 mV
    lower at SG 1.14.

    References
    ----------
    H. Bode, Lead-Acid Batteries, Wiley 1977: electrode polynomials, as coded in PyBaMM
    (verified); acid densities are handbook data (from memory); the difference is derived.

    Examples
    --------
    >>> float(emf_from_specific_gravity(1.2855).round(4))
    2.1306
    """
    sg = np.asarray(specific_gravity, dtype=float)
    if np.any(~((sg >= _EMF_LESS_SG[0, 0]) & (sg <= _EMF_LESS_SG[-1, 0]))):
        raise InputError("specific gravity outside 1.0661 to 1.3028: no electrode data there")
    return sg + np.interp(sg, _EMF_LESS_SG[:, 0], _EMF_LESS_SG[:, 1])


# Specific gravity against state of charge: US Army TM, Table II (verified): 100/75/50/25 % and
# "almost discharged", at 80 degF.
SPECIFIC_GRAVITY_SOC = (0.0, 0.25, 0.5, 0.75, 1.0)
SPECIFIC_GRAVITY = (1.160, 1.190, 1.220, 1.250, 1.280)

_LEAD_REST_COEFFICIENT = 0.0002
"""Rest voltage of a lead-acid cell by temperature [V/degC] (from memory (high))."""

_LEAD_TAPER_SOURCE = (
    "calibrated on the lead-acid reference simulation (time constant, shares, shape); "
    "efficiency: charge factor 1.05 to 1.15 for a whole recharge (J. Power Sources 113 (2003) "
    "388-395, abstract, verified), of which the float current carries most; float current: "
    + COMMON_PRACTICE
)
_LEAD_TAPER = TaperPrior(
    time_constant_h=0.45,
    time_constant_log_sd=0.36,
    log_time_per_c_rate=0.10,
    time_transfer_log_sd=0.045,
    fast_share=0.155,
    fast_share_sd=0.045,
    share_per_c_rate=0.11,
    share_transfer_sd=0.028,
    fast_ratio=0.125,
    fast_ratio_log_sd=0.25,
    float_current_per_ah=0.003,
    float_current_per_ah_sd=0.003,
    shape_rel_sd=0.008,
    shape_per_c_rate=0.7,
    efficiency=0.985,
    efficiency_sd=0.02,
    source=_LEAD_TAPER_SOURCE,
)


def _lead_limits(max_current_per_ah: float) -> GenericLimits:
    return GenericLimits(
        max_charge_current_per_ah=Sourced(max_current_per_ah),
        charge_voltage_min_v_per_cell=Sourced(2.25),
        charge_voltage_max_v_per_cell=Sourced(
            2.40, "end of charge 2.4 to 2.6 V/cell, NAVEDTRA 14113 (verified), low end taken"
        ),
        charge_temp_min_c=Sourced(0.0),
        charge_temp_max_c=Sourced(45.0),
        min_top_off_soc=Sourced(0.75),
        min_capacity_fraction=Sourced(
            0.80, "80 % replacement criterion for stationary lead-acid, FIST 3-6 (verified)"
        ),
        end_voltage_v_per_cell=Sourced(
            1.667, "10 V per 6-cell block, IEC 60952-1 (from memory (high))"
        ),
        capacity_check_interval_days=Sourced(365.0),
        min_rest_voltage_v_per_cell=Sourced(2.04),
        max_float_current_per_ah=Sourced(0.02),
        max_temp_rise_c_per_min=Sourced(0.5),
    )


CHEMISTRIES: dict[Chemistry, ChemistryData] = {
    Chemistry.VENTED_LEAD_ACID: ChemistryData(
        label="vented lead-acid",
        rest=RestVoltageCurve(
            soc=SPECIFIC_GRAVITY_SOC,
            volts=tuple(float(v) for v in emf_from_specific_gravity(SPECIFIC_GRAVITY)),
            temp_coefficient_v_per_c=_LEAD_REST_COEFFICIENT,
            sd_v=LEAD_REST_SD_V,
            sd_empty_v=LEAD_REST_SD_EMPTY_V,
            source="specific gravity by state of charge: US Army TM, Table II (verified); volts "
            "from Bode 1977 (derived); +0.2 mV/degC per cell (from memory (high))",
        ),
        taper=_LEAD_TAPER,
        limits=_lead_limits(1.0),
        charge_compensation_v_per_c=Sourced(-0.003, "-2.5 to -5 mV/degC (from memory (high))"),
        resistance_log_per_c=Sourced(-0.010),
        resistance_vh=Sourced(0.035),
    ),
    Chemistry.VRLA: ChemistryData(
        label="valve-regulated lead-acid",
        rest=RestVoltageCurve(
            soc=(0.0, 0.25, 0.5, 0.75, 1.0),
            volts=(1.980, 2.025, 2.070, 2.112, 2.150),
            temp_coefficient_v_per_c=_LEAD_REST_COEFFICIENT,
            sd_v=LEAD_REST_SD_V,
            sd_empty_v=LEAD_REST_SD_EMPTY_V,
            source=COMMON_PRACTICE + "; +0.2 mV/degC per cell (from memory (high))",
        ),
        taper=_LEAD_TAPER,
        limits=_lead_limits(1.5),
        charge_compensation_v_per_c=Sourced(-0.003, "-2.5 to -5 mV/degC (from memory (high))"),
        resistance_log_per_c=Sourced(-0.010),
        resistance_vh=Sourced(0.035),
    ),
    Chemistry.NICD: ChemistryData(
        label="nickel-cadmium",
        rest=RestVoltageCurve(
            soc=(0.0, 0.2, 0.8, 1.0),
            volts=(1.20, 1.27, 1.31, 1.35),
            temp_coefficient_v_per_c=-0.0002,
            sd_v=NICD_REST_SD_V,
            sd_empty_v=NICD_REST_SD_V,
            source=COMMON_PRACTICE,
        ),
        taper=TaperPrior(
            time_constant_h=0.38,
            time_constant_log_sd=0.60,
            log_time_per_c_rate=0.0,
            time_transfer_log_sd=0.20,
            fast_share=0.25,
            fast_share_sd=0.10,
            share_per_c_rate=0.0,
            share_transfer_sd=0.07,
            fast_ratio=0.15,
            fast_ratio_log_sd=0.4,
            float_current_per_ah=0.006,
            float_current_per_ah_sd=0.006,
            shape_rel_sd=0.03,
            shape_per_c_rate=0.5,
            efficiency=0.85,
            efficiency_sd=0.06,
            source=COMMON_PRACTICE,
        ),
        limits=GenericLimits(
            max_charge_current_per_ah=Sourced(1.0),
            charge_voltage_min_v_per_cell=Sourced(1.38),
            charge_voltage_max_v_per_cell=Sourced(1.50),
            charge_temp_min_c=Sourced(-10.0),
            charge_temp_max_c=Sourced(45.0),
            min_top_off_soc=Sourced(0.75),
            min_capacity_fraction=Sourced(0.85),
            end_voltage_v_per_cell=Sourced(1.0, "1.00 V/cell, FIST 3-6 p. 45 (verified)"),
            capacity_check_interval_days=Sourced(365.0),
            min_rest_voltage_v_per_cell=Sourced(1.20),
            max_float_current_per_ah=Sourced(0.03),
            max_temp_rise_c_per_min=Sourced(0.5),
        ),
        charge_compensation_v_per_c=Sourced(-0.003),
        resistance_log_per_c=Sourced(-0.005),
        resistance_vh=Sourced(0.024),
        rest_voltage_remark="rest voltage says little about a nickel-cadmium battery's charge",
    ),
    Chemistry.LFP: ChemistryData(
        label="lithium iron phosphate",
        rest=RestVoltageCurve(
            soc=(0.0, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0),
            volts=(2.80, 3.10, 3.20, 3.25, 3.285, 3.295, 3.325, 3.335, 3.40),
            temp_coefficient_v_per_c=0.0001,
            sd_v=LFP_REST_SD_V,
            sd_empty_v=LFP_REST_SD_V,
            source=COMMON_PRACTICE,
        ),
        taper=TaperPrior(
            time_constant_h=0.30,
            time_constant_log_sd=0.90,
            log_time_per_c_rate=0.0,
            time_transfer_log_sd=0.40,
            fast_share=0.20,
            fast_share_sd=0.12,
            share_per_c_rate=0.0,
            share_transfer_sd=0.08,
            fast_ratio=0.15,
            fast_ratio_log_sd=0.4,
            float_current_per_ah=0.001,
            float_current_per_ah_sd=0.001,
            shape_rel_sd=0.05,
            shape_per_c_rate=0.5,
            efficiency=0.99,
            efficiency_sd=0.01,
            source=COMMON_PRACTICE,
            exponential=False,
        ),
        limits=GenericLimits(
            max_charge_current_per_ah=Sourced(1.0),
            charge_voltage_min_v_per_cell=Sourced(3.40),
            charge_voltage_max_v_per_cell=Sourced(3.60),
            charge_temp_min_c=Sourced(0.0),
            charge_temp_max_c=Sourced(45.0),
            min_top_off_soc=Sourced(0.50),
            min_capacity_fraction=Sourced(0.80),
            end_voltage_v_per_cell=Sourced(2.5),
            capacity_check_interval_days=Sourced(365.0),
            min_rest_voltage_v_per_cell=Sourced(3.20),
            max_float_current_per_ah=Sourced(0.01),
            max_temp_rise_c_per_min=Sourced(0.5),
        ),
        charge_compensation_v_per_c=Sourced(0.0),
        resistance_log_per_c=Sourced(-0.020),
        resistance_vh=Sourced(0.05),
        rest_voltage_remark="rest voltage says little about a lithium iron phosphate battery's "
        "charge between 20 and 95 %",
        taper_remark="the current of a lithium iron phosphate battery hardly falls until it is "
        "nearly full, so it only bounds the state of charge",
    ),
}


def data_for(chemistry: Chemistry) -> ChemistryData:
    """The data of one chemistry.

    Parameters
    ----------
    chemistry : Chemistry

    Returns
    -------
    ChemistryData
    """
    return CHEMISTRIES[chemistry]
