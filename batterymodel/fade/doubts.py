"""Whether the checks of a record tell of the loss at all: their span, and rises between them."""

from __future__ import annotations

import numpy as np

from batterymodel.basis.calendar import DAYS_PER_YEAR, days_words
from batterymodel.fade.models import LinePrior
from batterymodel.fade.moments import Moment
from batterymodel.inputs.check_record import CheckRecord
from batterymodel.rules.results import Result

LEAST_SPAN_LIVES = 0.1
"""Least time from the first to the last finished check from which a crossing is dated [lives of
the prior] (own choice). Two checks with errors of 3 % so far apart leave the loss of the prior all
but as it was."""

LEAST_RISE = 0.1
"""Rise between two checks from which they may be of two batteries [fraction of rated] (own choice:
above what rest gives back)."""

RISE_SD = 3.0
"""Standard errors of a difference that such a rise exceeds as well (own choice)."""

FEW_SINCE = 3
"""Times of checks after a rise from which they must bear it out (own choice: by then their own line
tells a step from one check that came out high)."""


class CapacityRise(Result):
    """A rise of capacity that checks of one battery do not show: the later check, and how much."""

    on: Moment
    percent: float


def least_span(prior: LinePrior) -> float:
    """Span of checks from which they tell of the loss.

    Parameters
    ----------
    prior : LinePrior

    Returns
    -------
    float
        In the prior's unit of time.
    """
    return LEAST_SPAN_LIVES * prior.life


def span_words(span: float, unit: str) -> str:
    """A span of checks in words.

    Parameters
    ----------
    span : float
        [years or cycles].
    unit : str
        ``year`` or ``cycle``.

    Returns
    -------
    str

    >>> span_words(0.5, "year"), span_words(9.99, "cycle")
    ('183 days', '10 cycles')
    """
    return days_words(span * DAYS_PER_YEAR) if unit == "year" else f"{span:.0f} cycles"


def span_of(record: CheckRecord) -> float:
    """Time from the first to the last finished check.

    Parameters
    ----------
    record : CheckRecord
        With one finished check at least.

    Returns
    -------
    float
        [years or cycles].
    """
    return float(np.ptp(record.at[~record.lower_bound]))


def capacity_rise(record: CheckRecord, rated_ah: float, sound: np.ndarray) -> CapacityRise | None:
    """The last rise between checks on a bench that checks of one battery do not show.

    Parameters
    ----------
    record : CheckRecord
    rated_ah : float
    sound : ndarray of bool, shape (m,)
        Of the finished checks, those that fit the others: after one that does not, capacity comes
        back without any rise.

    Returns
    -------
    CapacityRise or None
        None where capacity rose nowhere by `LEAST_RISE` and `RISE_SD`, or where `FEW_SINCE` later
        checks do not bear the rise out. Of one day all checks count as one, and the least of a
        later day is held against the greatest of the earlier one.
    """
    used = np.flatnonzero(~record.lower_bound)
    used = used[sound & ~record.in_service[used]]
    at, ah, sd = record.at[used], record.capacity_ah[used], record.sd_ah[used]
    step = np.diff(ah)
    least = np.maximum(LEAST_RISE * rated_ah, RISE_SD * np.hypot(sd[:-1], sd[1:]))
    for k in np.flatnonzero((np.diff(at) > 0.0) & (step >= least))[::-1].tolist():
        since = at[k + 1]
        if np.unique(at[at > since]).size < FEW_SINCE or _is_step(at, ah, sd, since, rated_ah):
            return CapacityRise(on=record.moment(since), percent=100.0 * float(step[k]) / rated_ah)
    return None


def _is_step(at: np.ndarray, ah: np.ndarray, sd: np.ndarray, since: float, rated_ah: float) -> bool:
    """Whether checks that follow those of a time stand above those before it.

    By the loss of all, or without any; those of the time itself were picked for being high.
    """
    kept = at != since
    at, ah, sd = at[kept], ah[kept], sd[kept]
    later = np.column_stack([np.ones(at.size), at > since])
    loss = (at - since) / np.ptp(at)
    for terms in (later, np.column_stack([loss, later])):
        weighed = terms / sd[:, None]
        covariance = np.linalg.pinv(weighed.T @ weighed)
        step_ah = float((covariance @ weighed.T @ (ah / sd))[-1])
        error_ah = float(np.sqrt(covariance[-1, -1]))
        if step_ah >= max(LEAST_RISE * rated_ah, RISE_SD * error_ah):
            return True
    return False
