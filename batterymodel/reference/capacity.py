"""Data of capacity checks and of capacity fade by chemistry, each with its source.

Tags as in `batterymodel.reference.chemistry`.
"""

from __future__ import annotations

from dataclasses import dataclass

from batterymodel.inputs.records import Chemistry
from batterymodel.reference.chemistry import COMMON_PRACTICE, Sourced

RATED_HOURS = 1.0
"""Rate of the plate's capacity [h]: aircraft batteries are rated at the one-hour rate (US Army
Ordnance course OD1633, verified)."""

SHORT_TEST_MINUTES = 60.0
"""Longest test that is rate-adjusted; longer ones are time-adjusted (IEEE 450, from memory
(high))."""

PEUKERT_DEVIATION_SD = 0.05
"""What the power law leaves undescribed, as a spread of its exponent (own choice): measured
capacity deviates substantially from it (Sulzer et al. 2019, abstract, verified)."""

CARD_TEMP_LOG_SD_PER_C = 0.001
"""Error of a maker's temperature factor per degC away from the reference (own choice)."""

CARD_RATE_REL_SD = 0.005
"""Error of a maker's table of discharge currents (own choice)."""

CARD_RATE_OUTSIDE_SD = 0.1
"""Its further error where the table is continued, per unit of logarithm outside it (own choice)."""

LOG_SLOPE_SPAN_C = 5.0
"""Span to either side over which the slope of capacity by temperature is taken [degC] (own
choice)."""

CURRENT_REL_SD = 0.01
"""Error of a discharge current meter (common practice, no source)."""

REPEAT_REL_SD = 0.01
"""Scatter between two checks of one battery: not quite full at the start, rest time (common
practice, no source)."""

PAUSE_REL_SD = 0.02
"""Extra error of a discharge that paused: the battery recovers meanwhile (own choice)."""

TIMED_SD_S = 20.0
"""Error of a time to end voltage read by hand to the minute (own choice)."""

MEASURED_TEMP_SD_C = 1.0
"""Error of the battery's temperature where it was measured [degC] (common practice, no source)."""

UNKNOWN_TEMP_SD_C = 8.0
"""Error of `REFERENCE_TEMP_C` where no temperature was given [degC] (common practice, no
source)."""


LOSS_POWERS = (1.0, 1.5)
"""Powers of the time since the first check that the loss may follow, each as likely (own choice).
Beside 1, 1.5 took a tenth off the crossing's mean error on calibration fleets of
`tests.benchmarks.fade` whose losses follow such powers themselves, and 3 % on fleets of other
shapes."""

LITHIUM_LOSS_POWERS = (0.5, *LOSS_POWERS)
"""The same for lithium-ion: the layer that takes up its lithium grows with the square root of the
time, as far as diffusion through it is what holds it up (J. Electrochem. Soc. 151 (2004) A456-A462,
from memory). A law of time since new: it says nothing of a record by cycles."""


@dataclass(frozen=True)
class FadePrior:
    """What is believed of the loss of capacity before any check [fraction of rated].

    ``per_year`` and ``per_cycle`` with standard deviations between batteries; ``start`` is the
    capacity of a new battery over its plate, ``powers`` those of time that the loss may follow.
    """

    per_year: float
    per_year_sd: float
    per_cycle: float
    per_cycle_sd: float
    start: float = 1.0
    start_sd: float = 0.06
    source: str = COMMON_PRACTICE
    powers: tuple[float, ...] = LOSS_POWERS


@dataclass(frozen=True)
class CapacityData:
    """What a capacity check needs to know of one chemistry.

    ``peukert_exponent`` with its spread between batteries; ``temp_log_sd_per_c`` is the error of
    the temperature factor per degC away from the reference, in its logarithm.
    """

    peukert_exponent: Sourced
    peukert_exponent_sd: float
    temp_log_sd_per_c: Sourced
    fade: FadePrior


_TABLES_DIFFER = (
    "the IEEE 450 and IEEE 485 factors, both from memory, differ by 2 % at 60 degF and by 6 % at "
    "50 degF"
)
_NO_TABLE = "no published table; 90 % at 0 degC is a textbook rule (from memory (low))"

CAPACITY_DATA = {
    Chemistry.VENTED_LEAD_ACID: CapacityData(
        peukert_exponent=Sourced(1.15),
        peukert_exponent_sd=0.06,
        temp_log_sd_per_c=Sourced(0.003, _TABLES_DIFFER),
        fade=FadePrior(0.045, 0.035, 0.0010, 0.0010),
    ),
    Chemistry.VRLA: CapacityData(
        peukert_exponent=Sourced(1.12),
        peukert_exponent_sd=0.06,
        temp_log_sd_per_c=Sourced(0.004, "table of vented batteries; " + _TABLES_DIFFER),
        fade=FadePrior(0.05, 0.04, 0.0010, 0.0010),
    ),
    Chemistry.NICD: CapacityData(
        peukert_exponent=Sourced(1.05),
        peukert_exponent_sd=0.04,
        temp_log_sd_per_c=Sourced(0.005, _NO_TABLE),
        fade=FadePrior(0.03, 0.03, 0.0004, 0.0005),
    ),
    Chemistry.LFP: CapacityData(
        peukert_exponent=Sourced(1.03),
        peukert_exponent_sd=0.03,
        temp_log_sd_per_c=Sourced(0.006, COMMON_PRACTICE),
        fade=FadePrior(0.025, 0.025, 0.0006, 0.0012, powers=LITHIUM_LOSS_POWERS),
    ),
}


def capacity_data_for(chemistry: Chemistry) -> CapacityData:
    """The data of one chemistry.

    Parameters
    ----------
    chemistry : Chemistry

    Returns
    -------
    CapacityData
    """
    return CAPACITY_DATA[chemistry]
