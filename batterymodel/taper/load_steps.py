"""Steps of the bus load in the current: those an event marks and those that nobody wrote down.

An event is text that somebody wrote beside a reading. It marks a step of the load only where the
current steps there, so that remarks can neither hide a rise nor take up part of the taper.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from batterymodel.basis.arrays import FloatArray
from batterymodel.inputs.records import Readings

MOST_EVENT_SHARE = 1.0 / 3.0
"""Events over readings above which the texts are remarks and mark nothing [-] (own choice)."""

SIDE_READINGS = 3
"""Readings on each side of a step whose line is carried to it (own choice)."""

MARKED_SIGMAS = 6.0
"""A marked load step is over so many errors of a reading [-] (own choice: two lines through three
readings each, carried to the middle, differ with 1.7 errors, and three and a half of that)."""

MARKED_METER_STEPS = 1.5
"""A marked load step is over so many steps of the meter [-] (own choice)."""

LEAST_MARKED_A = 0.2
"""A marked load step is over this [A] (own choice)."""

MARKED_OVER_SLOPE = 0.75
"""A marked load step is over so many times the change from one reading to the next on the steeper
side [-] (own choice): a ramp has no jump, whatever stands beside it."""

LEAST_STEP_READINGS = 8
"""Readings below which no unmarked load step is looked for (own choice)."""

UNMARKED_SIGMAS = 8.0
"""An unmarked load step is over so many errors of a reading [-] (own choice)."""

UNMARKED_METER_STEPS = 3.0
"""An unmarked load step is over so many steps of the meter [-] (own choice)."""

UNMARKED_OF_CURRENT = 0.03
"""An unmarked load step is over this share of the highest current [-] (own choice)."""

LEAST_UNMARKED_A = 1.0
"""An unmarked load step is over this [A] (own choice)."""

UNMARKED_OVER_SLOPE = 1.5
"""An unmarked load step is over so many times the steeper slope beside it [-] (own choice)."""


@dataclass(frozen=True)
class LoadStep:
    """A change of bus load at a time [s]; ``marked`` when the readings carry an event there.

    ``size_a`` is the jump of the readings there [A], their slope on both sides taken off.
    """

    elapsed_s: float
    text: str
    marked: bool
    size_a: float = 0.0


def shifted_events(readings: Readings, shift_s: float) -> dict[float, str]:
    """Texts of the events by their time; those of one time are joined.

    Parameters
    ----------
    readings : Readings
    shift_s : float
        Taken off each time [s].

    Returns
    -------
    dict of float to str
        Text by time [s], in order of time.
    """
    texts: dict[float, str] = {}
    for event in readings.events:
        at = event.elapsed_s - shift_s
        texts[at] = f"{texts[at]}; {event.text}" if at in texts else event.text
    return dict(sorted(texts.items()))


def marked_steps(
    time_s: FloatArray,
    current_a: FloatArray,
    noise: tuple[float, float],
    events: dict[float, str],
) -> tuple[LoadStep, ...]:
    """Events at which the current steps; none where text stands beside too many readings.

    The step is where the current jumps most, among the gaps next to the event: people write at the
    reading before or after. It must be over `MARKED_SIGMAS` errors, `MARKED_METER_STEPS` steps of
    the meter, `LEAST_MARKED_A`, and `MARKED_OVER_SLOPE` times the steeper slope beside it.

    Parameters
    ----------
    time_s, current_a : ndarray, shape (n,)
        Readings without transients and without those at the supply's limit [s], [A].
    noise : tuple of float
        Error of one reading and step of the meter [A].
    events : dict of float to str
        Text by time [s].

    Returns
    -------
    tuple of LoadStep
        In order of time.
    """
    if len(events) > MOST_EVENT_SHARE * time_s.size:
        return ()
    sigma_a, resolution_a = noise
    least = max(MARKED_SIGMAS * sigma_a, MARKED_METER_STEPS * resolution_a, LEAST_MARKED_A)
    found: dict[int, LoadStep] = {}
    for at, text in events.items():
        first = int(np.searchsorted(time_s, at))
        gaps = [k for k in (first, first - 1, first + 1) if 1 <= k < time_s.size]
        jumps = [_jump_a(time_s, current_a, k) for k in gaps]
        sharp = [
            (abs(size), -n, k, size)
            for n, (k, (size, slope)) in enumerate(zip(gaps, jumps, strict=True))
            if abs(size) > max(least, MARKED_OVER_SLOPE * slope)
        ]
        if sharp:
            _, _, k, size = max(sharp)
            text = f"{found[k].text}; {text}" if k in found else text
            found[k] = LoadStep(_marked_at_s(at, k, time_s), text, True, size)
    return tuple(found[k] for k in sorted(found))


def _marked_at_s(event_s: float, gap: int, time_s: FloatArray) -> float:
    """Time of the event where it lies in the gap before reading ``gap``, else of that reading."""
    return event_s if time_s[gap - 1] < event_s <= time_s[gap] else float(time_s[gap])


def _jump_a(time_s: FloatArray, current_a: FloatArray, gap: int) -> tuple[float, float]:
    """Jump between two readings beyond the lines on both sides, and the steeper line's change.

    Parameters
    ----------
    time_s, current_a : ndarray, shape (n,)
        Readings [s], [A].
    gap : int
        Number of the reading after the gap, from 1.

    Returns
    -------
    jump_a, slope_a : float
        Jump, and change over the gap by the steeper of both lines [A].
    """
    middle, width = 0.5 * (time_s[gap - 1] + time_s[gap]), time_s[gap] - time_s[gap - 1]
    low, high = max(gap - SIDE_READINGS, 0), gap + SIDE_READINGS
    before = _line(time_s[low:gap] - middle, current_a[low:gap])
    after = _line(time_s[gap:high] - middle, current_a[gap:high])
    steeper = max(abs(before[0]), abs(after[0])) * width
    return float(after[1] - before[1]), float(steeper)


def _line(time_s: FloatArray, values: FloatArray) -> tuple[float, float]:
    """Slope of the least-squares line and its value at time zero; of one value, that value."""
    if time_s.size == 1:
        return 0.0, float(values[0])
    centred = time_s - time_s.mean()
    slope = float(centred @ values / (centred @ centred))
    return slope, float(values.mean() - slope * time_s.mean())


def unmarked_steps(
    time_s: FloatArray,
    current_a: FloatArray,
    noise: tuple[float, float],
    marked: tuple[LoadStep, ...],
) -> tuple[LoadStep, ...]:
    """Jumps that neither the taper's slope on both sides nor an event explains.

    Parameters
    ----------
    time_s, current_a : ndarray, shape (n,)
        Readings without transients and without those at the supply's limit [s], [A].
    noise : tuple of float
        Error of one reading and step of the meter [A].
    marked : tuple of LoadStep
        Steps that an event explains.

    Returns
    -------
    tuple of LoadStep
    """
    t, y = time_s, current_a
    if t.size < LEAST_STEP_READINGS:
        return ()
    sigma_a, resolution_a = noise
    least = max(
        UNMARKED_SIGMAS * sigma_a,
        UNMARKED_METER_STEPS * resolution_a,
        UNMARKED_OF_CURRENT * float(np.abs(y).max()),
        LEAST_UNMARKED_A,
    )
    i = np.arange(2, t.size - 3)
    before = (y[i] - y[i - 2]) / (t[i] - t[i - 2])
    after = (y[i + 3] - y[i + 1]) / (t[i + 3] - t[i + 1])
    width = t[i + 1] - t[i]
    expected = 0.5 * (before + after) * width
    steepest = np.maximum(np.abs(before), np.abs(after)) * width
    jump = y[i + 1] - y[i] - expected
    found: list[LoadStep] = []
    clear = (np.abs(jump) > least) & (np.abs(jump) > UNMARKED_OVER_SLOPE * steepest)
    for k in np.flatnonzero(clear):
        low, high = t[i[k]] - width[k], t[i[k] + 1] + width[k]
        taken = [s.elapsed_s for s in (*marked, *found)]
        if not any(low <= at <= high for at in taken):
            text = f"{jump[k]:+.1f} A, not marked"
            found.append(LoadStep(float(t[i[k] + 1]), text, False, float(jump[k])))
    return tuple(found)
