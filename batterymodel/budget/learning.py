"""What connections teach of the consumers: the load steps, and each consumer's current.

A consumer switched while the supply's ammeter is read shows its current as a step, on top of a
battery current that falls. Each occasion is a little different; what is kept is the mean, the
spread between occasions and their number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from batterymodel.basis.arrays import FloatArray
from batterymodel.basis.intervals import Interval, weighted_interval
from batterymodel.budget.steps import step_size
from batterymodel.inputs.records import Readings, Supply
from batterymodel.taper.load_steps import (
    LoadStep,
    marked_steps,
    shifted_events,
    unmarked_steps,
)
from batterymodel.taper.signals import meter_resolution_a, reading_sigma_a, signal_from

LEAST_BUS_READINGS = 8
"""Rows with both meters from which on their difference is taken as the bus load (own choice)."""

SHARED_REL_SD = 0.08
"""Error of a step by the supply's ammeter alone, relative to it: the bus sags behind the cable and
the battery takes that much less for the moment [-] (own choice, beside circuits with lines of 2 to
16 mohm: half of the steps read 3 % small, one in ten 20 %)."""

METER_REL_SD = 0.02
"""Error of scale of the meters that tell a bus load, which all steps of a connection share [-]
(common practice, no source: two percent, as of a panel ammeter)."""

DECLARED_REL_SD, LEAST_DECLARED_SD_A = 0.15, 0.3
"""Spread of a current from a plate or a manual that nobody measured, relative and at least
[-], [A] (own choice)."""

DECLARED_READINGS = 1.0
"""Measured steps that a declared current counts as [-] (own choice)."""

DECLARED_FREEDOM = 4.0
"""Degrees of freedom that the spread of a declared current counts as [-] (own choice)."""

LEAST_SPREAD_A = 0.05
"""Least spread between occasions [A] (own choice)."""

MOST_LEARNED_SD_A, MOST_LEARNED_REL_SD = 0.5, 0.1
"""Error of a step above which it teaches nothing of a consumer [A], and relative to its current
[-]; the larger counts (own choice)."""

CHANGED = 0.05
"""Probability, before any reading, that a consumer draws more than before, and that it draws less
[-] (own choice)."""

CHANGE_OF_CURRENT, LEAST_CHANGE_A = 0.5, 1.0
"""How much more it then draws: standard deviation of a half-normal quantity over its current [-],
and at least [A] (own choice)."""

CHANGE_POINTS = 400
"""Points over which that is summed (own choice, numerical)."""

CHANGE_REACH = 6.0
"""Its standard deviations that the points reach over (own choice, numerical)."""


@dataclass(frozen=True)
class MeasuredStep:
    """A step of the bus load at a time [s]: its size with standard error [A].

    ``marked`` where an event stands beside it, whose words are ``text``. ``shared``: the battery
    may have given up a part of it (`SHARED_REL_SD`), as no clamp and no load column told it apart.
    ``common_sd_a`` is the part of the error that all steps of a connection have alike [A].
    """

    elapsed_s: float
    text: str
    marked: bool
    size_a: float
    sd_a: float
    shared: bool = False
    common_sd_a: float = 0.0

    @property
    def own_sd_a(self) -> float:
        """Standard error that no other step of the connection has [A]."""
        return float(np.sqrt(max(self.sd_a**2 - self.common_sd_a**2, 0.0)))


@dataclass(frozen=True)
class CurrentBelief:
    """What is known of a consumer's current: mean and spread between occasions [A], and readings.

    ``readings`` is the number of measured steps; none where the current was only declared.
    """

    mean_a: float
    sd_a: float
    readings: int = 0

    @property
    def mean_sd_a(self) -> float:
        """Standard deviation of the mean [A]."""
        return self.sd_a / float(np.sqrt(DECLARED_READINGS + self.readings))


@dataclass(frozen=True)
class DrawsMore:
    """Whether a consumer draws more than before.

    ``probability`` that it does, ``excess_a`` how much if so, ``seen_a`` the mean of the new steps
    and ``before_a`` the current it was known by.
    """

    probability: float
    excess_a: Interval
    seen_a: float
    before_a: float


def measured_steps(readings: Readings, supply: Supply | None = None) -> tuple[MeasuredStep, ...]:
    """Steps of the bus load in a connection's readings, sized with the taper taken off.

    1. The bus load itself where a clamp on the battery lead or a column tells it; else the
       supply's current below its limit, in which the taper is the smooth part.
    2. Find the steps that events mark and those that nobody wrote down (`taper.load_steps`).
    3. Size each by a smooth curve through the readings on both sides (`steps.step_size`).

    Parameters
    ----------
    readings : Readings
    supply : Supply, optional
        Gives the current at which the supply limits; at its limit it shows no step.

    Returns
    -------
    tuple of MeasuredStep
        In order of time.

    Notes
    -----
    Simulated steps of 1 to 15 A on a supply that holds the bus are within 0.5 A or 5 % in 95 % of
    cases (`tests.budget.test_learning`). Behind a long cable the supply's ammeter shows a step less
    what the battery gives up as the bus sags; that is in the standard error and not corrected.
    """
    shared = _bus_load_a(readings) is None
    time_s, current_a, sigma_a, found = _stepped(readings, supply)
    at = [step.elapsed_s for step in found]
    sized = []
    for step in found:
        others = tuple(s for s in at if s != step.elapsed_s)
        size = step_size(time_s, current_a, step.elapsed_s, sigma_a, others)
        if size is not None:
            common_a = abs(size.size) * (SHARED_REL_SD if shared else METER_REL_SD)
            told = (step.elapsed_s, step.text, step.marked)
            sd_a = float(np.hypot(size.sd, common_a))
            sized.append(MeasuredStep(*told, size.size, sd_a, shared, common_a))
    return tuple(sized)


def _stepped(
    readings: Readings, supply: Supply | None
) -> tuple[FloatArray, FloatArray, float, tuple[LoadStep, ...]]:
    """Times, the current that shows the steps, its error [A], and the steps found in it."""
    load_a = _bus_load_a(readings)
    if load_a is None:
        signal = signal_from(readings, supply)
        kept = ~(signal.set_aside | signal.current_limited)
        shift_s = float(readings.elapsed_s[0] - signal.time_s[0])
        steps = tuple(
            LoadStep(s.elapsed_s + shift_s, s.text, s.marked, s.size_a) for s in signal.steps
        )
        return signal.time_s[kept] + shift_s, signal.current_a[kept], signal.sigma_a, steps
    rows = np.isfinite(load_a)
    time_s, current_a = readings.elapsed_s[rows], load_a[rows]
    resolution_a = meter_resolution_a(readings.supply_current_a)
    noise = (reading_sigma_a(current_a, resolution_a), resolution_a)
    marked = marked_steps(time_s, current_a, noise, shifted_events(readings, 0.0))
    unmarked = unmarked_steps(time_s, current_a, noise, marked)
    steps = tuple(sorted((*marked, *unmarked), key=lambda s: s.elapsed_s))
    return time_s, current_a, noise[0], steps


def _bus_load_a(readings: Readings) -> FloatArray | None:
    """The bus load as two meters or a column tell it [A]; None where neither does."""
    for load_a in (
        None
        if readings.battery_current_a is None
        else readings.supply_current_a - readings.battery_current_a,
        readings.load_a,
    ):
        if load_a is not None and np.isfinite(load_a).sum() >= LEAST_BUS_READINGS:
            return np.asarray(load_a, dtype=float)
    return None


def declared(current_a: float, sd_a: float | None = None, readings: int = 0) -> CurrentBelief:
    """What is believed of a consumer by its entry: its current, spread and number of readings.

    Parameters
    ----------
    current_a : float
        Continuous current [A].
    sd_a : float, optional
        Spread between occasions [A]; `DECLARED_REL_SD` where none is given.
    readings : int
        Measured steps it rests on.

    Returns
    -------
    CurrentBelief
    """
    unmeasured_a = max(DECLARED_REL_SD * current_a, LEAST_DECLARED_SD_A)
    return CurrentBelief(current_a, unmeasured_a if sd_a is None else sd_a, readings)


def updated(belief: CurrentBelief, size_a: float, sd_a: float) -> CurrentBelief:
    """The belief after one more measured step that shares no error with others.

    Parameters
    ----------
    belief : CurrentBelief
    size_a, sd_a : float
        Size of the step and its standard error [A]; switching off counts as switching on.

    Returns
    -------
    CurrentBelief
        As of `updated_by` with this step alone.

    Examples
    --------
    >>> updated(CurrentBelief(10.0, 1.0), 11.0, 0.1).mean_a
    10.5
    """
    return updated_by(belief, (MeasuredStep(0.0, "", True, size_a, sd_a),))


def updated_by(belief: CurrentBelief, steps: Sequence[MeasuredStep]) -> CurrentBelief:
    """The belief after a connection's steps, by the conjugate update of a normal quantity.

    Steps of one connection have a part of their error alike, so that ``n`` of them count as
    ``m = (v + b**2) / (v / n + b**2)``, rounded down, where ``v`` is their scatter and ``b`` that
    part. With ``k = DECLARED_READINGS + readings``, ``f = DECLARED_FREEDOM + readings`` and ``x``
    their mean: ``mean' = mean + m (x - mean) / (k + m)``, ``f' = f + m``, and
    ``f' sd'**2 = f sd**2 + (m - 1) s**2 + (x - mean)**2 k m / (k + m) - m e**2``, where ``s**2`` is
    their variance and ``e`` the error of each alone, which is no spread of the consumer's. The
    spread is never less than ``b``: the next connection on that supply may be off alike.

    Parameters
    ----------
    belief : CurrentBelief
    steps : sequence of MeasuredStep
        Of one connection; switching off counts as switching on.

    Returns
    -------
    CurrentBelief
        The same belief where every step is too uncertain to teach anything.

    References
    ----------
    Normal quantity with unknown mean and variance, conjugate prior: textbook (from memory
    (high)). Effective number of equally correlated values: textbook (from memory (high)).
    """
    most_a = max(MOST_LEARNED_SD_A, MOST_LEARNED_REL_SD * belief.mean_a)
    known = [step for step in steps if step.sd_a <= most_a]
    if not known:
        return belief
    sizes = np.abs([step.size_a for step in known])
    own = float(np.mean([step.own_sd_a**2 for step in known]))
    common_a = float(np.mean([step.common_sd_a for step in known]))
    scatter = float(np.var(sizes, ddof=1)) if sizes.size > 1 else 0.0
    count = _counting(sizes.size, own + min(belief.sd_a**2, scatter), common_a)
    k, freedom = DECLARED_READINGS + belief.readings, DECLARED_FREEDOM + belief.readings
    off_a = float(sizes.mean()) - belief.mean_a
    squares = freedom * belief.sd_a**2 + (count - 1) * scatter - count * own
    squares += off_a**2 * k * count / (k + count)
    spread_a = float(np.sqrt(max(squares, 0.0) / (freedom + count)))
    return CurrentBelief(
        belief.mean_a + off_a * count / (k + count),
        max(spread_a, common_a, LEAST_SPREAD_A),
        belief.readings + count,
    )


def _counting(steps: int, scatter: float, common_a: float) -> int:
    """How many independent steps count as much as so many with a part of their error alike."""
    if common_a == 0.0:
        return steps
    return max(int((scatter + common_a**2) / (scatter / steps + common_a**2)), 1)


def draws_more(
    belief: CurrentBelief,
    sizes_a: Sequence[float],
    sds_a: Sequence[float],
    common_sd_a: float = 0.0,
) -> DrawsMore:
    """The probability that a consumer draws more than before, from new steps.

    Three accounts of the mean of the new steps are weighed: drawn as before (Student's t around
    the belief), more, or less by a half-normal amount (`CHANGED`, `CHANGE_OF_CURRENT`).

    Parameters
    ----------
    belief : CurrentBelief
        What was known before these steps.
    sizes_a, sds_a : sequence of float
        New steps and their standard errors, each its own [A], at least one.
    common_sd_a : float
        Standard error that all of them share [A].

    Returns
    -------
    DrawsMore

    Notes
    -----
    Only the spread between occasions was learned from few readings; the errors of the steps are
    taken as known, so that Student's t has the freedom ``f (scale**2 / its variance)**2`` (Welch
    and Satterthwaite, textbook, from memory (high)). That spread is never less than
    `LEAST_SPREAD_A`, as after learning, and the accounts are compared by their logarithms: a step
    far from all of them has a density of none under each.

    A current that was only declared is a poor "before": its spread is wide, and a step far above
    it rather says that the entry was wrong.
    """
    sizes, errors = np.abs(np.asarray(sizes_a, dtype=float)), np.asarray(sds_a, dtype=float)
    seen_a = float(sizes.mean())
    before = replace(belief, sd_a=max(belief.sd_a, LEAST_SPREAD_A))
    spread = before.mean_sd_a**2 + before.sd_a**2 / sizes.size
    scale_a = np.sqrt(spread + float(np.sum(errors**2)) / sizes.size**2 + common_sd_a**2)
    change_sd_a = max(CHANGE_OF_CURRENT * belief.mean_a, LEAST_CHANGE_A)
    change_a = np.linspace(0.0, CHANGE_REACH * change_sd_a, CHANGE_POINTS)
    prior = np.exp(-0.5 * (change_a / change_sd_a) ** 2)
    prior /= prior.sum()
    freedom = (DECLARED_FREEDOM + belief.readings) * (scale_a**2 / spread) ** 2
    off_a = seen_a - belief.mean_a
    shifts = (np.zeros(1), change_a, -change_a)
    same, up, down = (
        -0.5 * (freedom + 1.0) * np.log1p(((off_a - shift) / scale_a) ** 2 / freedom)
        for shift in shifts
    )
    most = max(same.max(), up.max(), down.max())
    more = CHANGED * float(prior @ np.exp(up - most))
    rest = (1.0 - 2.0 * CHANGED) * float(np.exp(same[0] - most))
    rest += CHANGED * float(prior @ np.exp(down - most))
    by_excess = prior * np.exp(up - up.max())
    return DrawsMore(
        probability=more / (more + rest),
        excess_a=weighted_interval(change_a, by_excess / by_excess.sum()),
        seen_a=seen_a,
        before_a=belief.mean_a,
    )
