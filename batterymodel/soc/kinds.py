"""What the batteries of one kind on record teach of one more: their lessons, pooled.

A kind is what two plates have in common: chemistry, cells and rated capacity. Only batteries other
than the one that is asked about may stand here; each counts once, by its own values.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from batterymodel.basis.meters import VOLTMETER_SD_V
from batterymodel.inputs.kinds import KindBelief, KindCheck, TaperLesson
from batterymodel.inputs.records import Battery, Chemistry
from batterymodel.reference.chemistry import REFERENCE_TEMP_C, data_for
from batterymodel.reference.temperature import rest_voltage_v, within_data_c
from batterymodel.soc.pooling import own_value, pooled

REST_MOVES_SD_V = 0.004
"""How far one battery's rest voltage moves between connections at one state of charge [V per cell],
standard deviation (own choice: a third of what full lead-acid batteries differ by)."""

FLOAT_MOVES_OF_SD = 0.5
"""How far one battery's float current moves between connections, over what batteries of its
chemistry differ by [-] (own choice: it doubles with some 10 degC, common practice, no source)."""

FULL_SOC = 0.9
"""State of charge at the last reading from which a rest voltage read afterwards teaches [0..1] (own
choice)."""


NARROWER = 0.9
"""Spread over that of the chemistry from which down a kind tells more [-] (own choice)."""


@dataclass(frozen=True)
class RestLesson:
    """How far a rest voltage lay above the chemistry's curve [V per cell], with its error."""

    shift_v: float
    sd_v: float


@dataclass(frozen=True)
class BatteryLessons:
    """What one battery teaches of its kind: completed tapers, rest voltages, its last check."""

    tapers: tuple[TaperLesson, ...] = ()
    rests: tuple[RestLesson, ...] = ()
    check: KindCheck | None = None


def kind_belief(chemistry: Chemistry, batteries: Iterable[BatteryLessons]) -> KindBelief | None:
    """What to expect of one more battery of a kind.

    Parameters
    ----------
    chemistry : Chemistry
    batteries : iterable of BatteryLessons
        Those of the other batteries of the kind, in any order.

    Returns
    -------
    KindBelief or None
        None where none of them teaches anything.
    """
    told = [one for one in batteries if one.tapers or one.rests or one.check]
    if not told:
        return None
    data = data_for(chemistry)
    taper, least_sd_v = data.taper, data.rest.sd_v
    believed_s = float(np.log(3600.0 * taper.time_constant_h))
    float_sd = taper.float_current_per_ah_sd
    own = _Own(told)
    time_s, time_sd = own.pooled(
        _times, taper.time_transfer_log_sd, believed_s, taper.time_constant_log_sd
    )
    share, share_sd = own.pooled(
        _shares, taper.share_transfer_sd, taper.fast_share, taper.fast_share_sd
    )
    current, current_sd = own.pooled(
        _floats, FLOAT_MOVES_OF_SD * float_sd, taper.float_current_per_ah, float_sd
    )
    shift, shift_sd = own.pooled(_shifts, REST_MOVES_SD_V, 0.0, least_sd_v)
    return KindBelief(
        batteries=len(told),
        connections=sum(len(one.tapers) for one in told),
        rest_voltages=sum(len(one.rests) for one in told),
        time_constant_h=float(np.exp(time_s)) / 3600.0,
        time_constant_log_sd=time_sd,
        fast_share=share,
        fast_share_sd=share_sd,
        float_current_per_ah=max(current, 0.0),
        float_current_per_ah_sd=current_sd,
        rest_shift_v=shift,
        rest_shift_sd_v=shift_sd,
        checks=tuple(sorted((one.check for one in told if one.check), key=str)),
    )


def tells_more(kind: KindBelief, battery: Battery) -> bool:
    """Whether a kind tells more of a battery than its chemistry does.

    Parameters
    ----------
    kind : KindBelief
    battery : Battery
        Of that kind.

    Returns
    -------
    bool
        A spread of at most `NARROWER` times the chemistry's, or bench checks of others where it has
        none of its own.
    """
    data = data_for(battery.chemistry)
    ratios = (
        kind.time_constant_log_sd / data.taper.time_constant_log_sd,
        kind.fast_share_sd / data.taper.fast_share_sd,
        kind.rest_shift_sd_v / data.rest.sd_v,
    )
    has_checks = bool(kind.checks) and battery.capacity_check is None
    return min(ratios) <= NARROWER or has_checks


def rest_lesson(
    battery: Battery, read_v: float, soc: float, soc_sd: float, temp_c: float | None
) -> RestLesson | None:
    """What a rest voltage at a known state of charge teaches of a kind.

    ``(V - V(soc)) / cells``, with the meter's error and that of the state of charge times the slope
    of the curve there.

    Parameters
    ----------
    battery : Battery
    read_v : float
        Of the whole battery [V].
    soc, soc_sd : float
        State of charge then, and its error [0..1].
    temp_c : float or None
        Battery temperature [degC]; 25 degC if unknown.

    Returns
    -------
    RestLesson or None
        None where the limits card has a curve of its own: it needs no other.
    """
    if battery.limits.rest_voltage_v:
        return None
    plain = battery.model_copy(update={"kind": None})
    at_c = REFERENCE_TEMP_C if temp_c is None else within_data_c(temp_c)
    here = min(max(soc, 0.0), 1.0)
    around = np.clip([here - soc_sd, here, here + soc_sd], 0.0, 1.0)
    low, middle, high = rest_voltage_v(plain, around, at_c)
    by_soc = 0.5 * (high - low) if around[0] > 0.0 and around[2] < 1.0 else high - low
    sd = float(np.hypot(by_soc, VOLTMETER_SD_V)) / battery.cells
    return RestLesson((read_v - float(middle)) / battery.cells, sd)


def rest_lessons(
    battery: Battery, lesson: TaperLesson, before_v: float | None, after_v: float | None
) -> tuple[RestLesson, ...]:
    """What the rest voltages before and after a completed taper teach.

    Parameters
    ----------
    battery : Battery
    lesson : TaperLesson
        Of the connection between the two.
    before_v, after_v : float or None
        Rest voltages of the whole battery [V].

    Returns
    -------
    tuple of RestLesson
        That after it only where at least `FULL_SOC` was reached; neither where nobody read
        the supply's voltage: a taper may complete at a low one, far from full.
    """
    if not lesson.voltage_read:
        return ()
    found = []
    if before_v is not None:
        soc = 1.0 - lesson.missing
        found.append(rest_lesson(battery, before_v, soc, lesson.missing_sd, lesson.temp_c))
    if after_v is not None and 1.0 - lesson.left >= FULL_SOC:
        soc = 1.0 - lesson.left
        found.append(rest_lesson(battery, after_v, soc, lesson.left, lesson.temp_c))
    return tuple(one for one in found if one is not None)


Pairs = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class _Own:
    """The batteries' own values of one quantity after the other."""

    batteries: list[BatteryLessons]

    def pooled(
        self,
        of: Callable[[BatteryLessons], Pairs],
        moves_sd: float,
        believed: float,
        believed_sd: float,
    ) -> tuple[float, float]:
        pairs = [found for one in self.batteries if (found := of(one))]
        own = [own_value((v for v, _ in p), (sd for _, sd in p), moves_sd) for p in pairs]
        return pooled([v for v, _ in own], [sd for _, sd in own], believed, believed_sd)


def _times(one: BatteryLessons) -> Pairs:
    return tuple((t.log_time_s, t.log_time_sd) for t in one.tapers)


def _shares(one: BatteryLessons) -> Pairs:
    return tuple((t.fast_share, t.fast_share_sd) for t in one.tapers if t.fast_share_sd)


def _floats(one: BatteryLessons) -> Pairs:
    return tuple(
        (t.float_current_per_ah, t.float_current_per_ah_sd)
        for t in one.tapers
        if t.float_current_per_ah is not None and t.float_current_per_ah_sd
    )


def _shifts(one: BatteryLessons) -> Pairs:
    return tuple((r.shift_v, r.sd_v) for r in one.rests)
