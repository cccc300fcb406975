"""Rules about the readings themselves: slips, clock, trips, the clamp, and whether they suffice."""

from __future__ import annotations

import numpy as np

from batterymodel.basis.intervals import LEVEL_SD
from batterymodel.basis.meters import CLAMP_OFFSET_A
from batterymodel.inputs.second_starts import starts_anew
from batterymodel.inputs.table_times import SORTED
from batterymodel.reference.limits import Limit
from batterymodel.rules.case import LEAST_READINGS, LEAST_SCATTER_A, OWN_RULE, Case, against
from batterymodel.rules.current_rules import LEAST_WINDOW_S
from batterymodel.rules.results import Finding, Severity
from batterymodel.rules.wording import COLUMN_UNITS, minutes_words, say
from batterymodel.taper.signals import LATE_START_S, LEAST_CLAMP_READINGS
from batterymodel.taper.slips import LEAST_RUNNING_A, slips_in, supply_off_mask
from batterymodel.taper.trends import battery_current, line_change

CLAMP_SDS = 3.0
"""Errors of clamp and load together by which they may differ [-] (own choice)."""

CLAMP_DRIFT_ERRORS = 4.0
"""Standard errors by which supply less clamp may change [-] (own choice)."""


def typing_slip(case: Case) -> Finding | None:
    """A reading ten times off its neighbours, or a temperature far off them.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
        Asks about the first of them.
    """
    slips = slips_in(case.readings)
    if not slips:
        return None
    slip = slips[0]
    unit = COLUMN_UNITS[slip.column]
    variant = "temperature" if slip.column == "battery_temp_c" else "tenfold"
    text = say(
        f"typing_slip.{variant}",
        at=slip.elapsed_s,
        value=slip.value,
        unit=unit,
        before=slip.before,
        after=slip.after,
        more="" if len(slips) == 1 else f" {len(slips) - 1} more like it.",
    )
    return Finding(
        rule="typing_slip",
        severity=Severity.WATCH,
        text=text,
        value=slip.value,
        unit=unit,
        source=OWN_RULE,
    )


def clock_back(case: Case) -> Finding | None:
    """Rows that go back in time, which were sorted.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
    """
    if not any(note.endswith(SORTED) for note in case.readings.notes):
        return None
    return Finding(
        rule="clock_back", severity=Severity.WATCH, text=say("clock_back.watch"), source=OWN_RULE
    )


def two_connections(case: Case) -> Finding | None:
    """A current that falls anew after a gap, as if the battery was connected a second time.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
        Asks about the first gap; a load that an event tells of is none.
    """
    readings = case.readings
    places = starts_anew(readings)
    if not places:
        return None
    before_s, at_s = readings.elapsed_s[[places[0] - 1, places[0]]].tolist()
    current_a = float(readings.supply_current_a[places[0]])
    pause = minutes_words((at_s - before_s) / 60.0)
    return Finding(
        rule="two_connections",
        severity=Severity.WATCH,
        text=say("two_connections.watch", minutes=pause, value=current_a, at=at_s),
        value=current_a,
        unit="A",
        source=OWN_RULE,
    )


def supply_trip(case: Case) -> Finding | None:
    """A stretch in which the supply gave nothing: the battery fed the bus meanwhile.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
        Of several such stretches the last is told.
    """
    signal, readings = case.fit.signal, case.readings
    if not signal.off.any():
        return None
    off = np.flatnonzero(signal.off)
    first, last = np.split(off, np.flatnonzero(np.diff(off) > 1) + 1)[-1][[0, -1]]
    is_told = supply_off_mask(readings) & (readings.elapsed_s >= signal.time_s[first])
    most_a = float(readings.supply_current_a[is_told].max())
    variant = "ended" if last == signal.off.size - 1 else "watch"
    if most_a > LEAST_RUNNING_A:
        variant = {"ended": "low", "watch": "fell"}[variant]
    times = {"at": signal.time_s[first], "until": signal.time_s[last]}
    text = say(f"supply_trip.{variant}", most=most_a, **times)
    return Finding(
        rule="supply_trip",
        severity=Severity.WATCH,
        text=text,
        value=float(signal.time_s[first]),
        unit="s",
        source=OWN_RULE,
    )


def current_out(case: Case) -> Finding | None:
    """Whether the clamp on the battery lead shows a steady current out of the battery.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
    """
    rows = _clamped(case)
    if rows is None or case.readings.battery_current_a is None:
        return None
    middle = float(np.median(case.readings.battery_current_a[rows]))
    least = LEVEL_SD * _clamp_offset_a(case)
    if middle >= -least:
        return None
    text = say("current_out.watch", value=-middle)
    limit = Limit(-least, "A", OWN_RULE, generic=False)
    return against("current_out", Severity.WATCH, text, middle, limit)


def clamp(case: Case) -> Finding | None:
    """Whether the clamp on the battery lead agrees with the supply's meter and the bus load.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
    """
    column, rows = case.readings.battery_current_a, _clamped(case)
    if rows is None or column is None or current_out(case) is not None:
        return None
    bus = case.readings.supply_current_a[rows] - column[rows]
    if case.load_a is not None:
        allowed = CLAMP_SDS * float(np.hypot(_clamp_offset_a(case), case.load_sd_a))
        away = float(np.median(bus)) - case.load_a
        return _clamp_finding("load", away, allowed) if abs(away) > allowed else None
    if case.readings.events or case.readings.load_a is not None:
        return None
    change = line_change(case.readings.elapsed_s[rows], bus, case.fit.signal.sigma_a)
    least = max(CLAMP_DRIFT_ERRORS * change.standard_error, LEAST_SCATTER_A)
    return _clamp_finding("change", change.amount, least) if abs(change.amount) > least else None


def _clamped(case: Case) -> np.ndarray | None:
    """Rows in which a clamp was read; None where they are too few."""
    column = case.readings.battery_current_a
    rows = None if column is None else np.isfinite(column)
    return rows if rows is not None and rows.sum() >= LEAST_CLAMP_READINGS else None


def _clamp_offset_a(case: Case) -> float:
    signal = case.fit.signal
    return signal.load.sd_a if signal.from_clamp else CLAMP_OFFSET_A


def _clamp_finding(variant: str, value: float, allowed: float) -> Finding:
    text = say(f"clamp.{variant}", value=abs(value), limit=allowed)
    return against("clamp", Severity.WATCH, text, value, Limit(allowed, "A", OWN_RULE, False))


def short_window(case: Case) -> Finding | None:
    """Too few constant-voltage readings to tell a taper from a level, or none of its beginning.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
    """
    fit, first_s = case.fit, float(case.readings.elapsed_s[0])
    if fit.signal.limited_throughout:
        return None
    t, _ = battery_current(fit)
    span_s = float(t[-1] - t[0]) if t.size else 0.0
    text = short_words(t.size, span_s)
    if text is None:
        return _late(first_s) if first_s > LATE_START_S else None
    if span_s >= LEAST_WINDOW_S:
        few = Limit(LEAST_READINGS, "readings", OWN_RULE, generic=False)
        return against("short_window", Severity.WATCH, text, t.size, few)
    limit = Limit(LEAST_WINDOW_S, "s", OWN_RULE, generic=False)
    return against("short_window", Severity.WATCH, text, span_s, limit)


def short_words(count: int, span_s: float) -> str | None:
    """What the readings at constant voltage are short of: their number, their time, or both.

    Parameters
    ----------
    count : int
        Readings at constant voltage, however many there are in all.
    span_s : float
        Time from the first to the last of them [s].

    Returns
    -------
    str or None
        None where they are enough; only what is short is called so.
    """
    few, short = count < LEAST_READINGS, span_s < LEAST_WINDOW_S
    if not few and not short:
        return None
    variant = "both" if few and short else "few" if few else "watch"
    values = {"count": count, "value": int(span_s)}
    return say(f"short_window.{variant}", least=LEAST_READINGS, limit=int(LEAST_WINDOW_S), **values)


def _late(first_s: float) -> Finding:
    text = say("short_window.late", value=first_s / 60.0, limit=LATE_START_S / 60.0)
    limit = Limit(LATE_START_S / 60.0, "min", OWN_RULE, generic=False)
    return against("short_window", Severity.WATCH, text, first_s / 60.0, limit)
