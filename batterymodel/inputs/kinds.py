"""What batteries of one kind teach: of one completed taper, of a bench check, and of all together.

A kind is what two plates have in common: chemistry, cells and rated capacity.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from batterymodel.inputs.base import Record

Sd = Annotated[float, Field(gt=0.0)]
Share = Annotated[float, Field(gt=0.0, lt=0.9)]


class TaperLesson(Record):
    """What one completed taper says by its readings alone, without any belief, at a small current.

    ``log_time_s`` is the log of the slow time constant [ln s], ``fast_share`` the fast part of the
    current [0..1], ``float_current_per_ah`` what is left after the taper [A per rated Ah], each
    with its standard deviation; None where the readings say nothing. ``missing`` is what the
    battery lacked at connection and ``left`` what it lacked at the last reading, over its capacity
    [0..1]; ``temp_c`` is its temperature [degC]. ``voltage_read`` says that the supply's voltage
    was read meanwhile: without that nobody knows how full the taper left it.
    """

    log_time_s: float
    log_time_sd: Sd
    fast_share: Share
    fast_share_sd: Sd | None = None
    float_current_per_ah: float | None = None
    float_current_per_ah_sd: Sd | None = None
    missing: Annotated[float, Field(ge=0.0, le=1.5)]
    missing_sd: Sd
    left: Annotated[float, Field(ge=0.0, le=1.5)]
    temp_c: float | None = None
    voltage_read: bool = False


class KindCheck(Record):
    """The last bench check of another battery of the kind: capacity over plate [-], with its age.

    ``age_years`` since that battery was installed [a], ``share_log_sd`` of the log of the share.
    """

    age_years: Annotated[float, Field(ge=0.0, le=80.0)]
    share: Annotated[float, Field(gt=0.0, le=2.0)]
    share_log_sd: Sd


class KindBelief(Record):
    """What other batteries of its kind lead to expect of a battery; written by the record.

    It rests on ``connections`` of ``batteries`` (completed tapers, each battery counted once),
    ``rest_voltages`` read before or after them, and ``checks``. ``time_constant_h`` [h] with the
    spread of its log, ``fast_share`` [0..1] and ``float_current_per_ah`` [A per rated Ah] are as
    in `chemistry.TaperPrior`; ``rest_shift_v`` is how far its rest voltage lies above the
    chemistry's curve [V per cell]. Names in ``_sd`` are standard deviations of what one more
    battery has, never above the chemistry's.
    """

    batteries: Annotated[int, Field(ge=1)]
    connections: Annotated[int, Field(ge=0)]
    rest_voltages: Annotated[int, Field(ge=0)] = 0
    time_constant_h: Annotated[float, Field(gt=0.0, le=50.0)]
    time_constant_log_sd: Sd
    fast_share: Share
    fast_share_sd: Sd
    float_current_per_ah: Annotated[float, Field(ge=0.0)]
    float_current_per_ah_sd: Sd
    rest_shift_v: float = 0.0
    rest_shift_sd_v: Sd
    checks: tuple[KindCheck, ...] = ()
