"""Charts of a battery's record: capacity over time, one discharge, tapers laid over one another.

Each has its words, which stand in for it where it cannot be seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import altair as alt
import numpy as np
import pandas as pd

from batterymodel.basis.calendar import DAYS_PER_YEAR
from batterymodel.basis.text import counted
from batterymodel.capacity.check import CapacityResult, DischargeCurves
from batterymodel.charts.style import (
    BAR,
    BLUE,
    BROWN,
    DASHES,
    GREY,
    INK,
    STRIP,
    VIOLET,
    layered,
    legend,
    rows,
    scale,
    stride,
    text_mark,
)
from batterymodel.errors import InputError
from batterymodel.fade.forecast import FadeCurves, FadeForecast
from batterymodel.fade.moments import range_words
from batterymodel.inputs.temperature_unit import TemperatureUnit, shown_temp
from batterymodel.reference.limits import Limit
from batterymodel.rules.wording import GENERIC_MARK

FADE_HEIGHT, DISCHARGE_HEIGHT, TAPERS_HEIGHT = 340, 300, 320
_ROLES = {
    "check": ("circle", BLUE),
    "in service": ("diamond", VIOLET),
    "stopped early, at least": ("triangle-up", BROWN),
}
_TREND = {
    "trend": (BAR, INK),
    "trend continued": (DASHES, INK),
    "90 % range of the trend": (STRIP, "#b9cdd7"),
}
_USUAL = {
    "usual for its kind": (DASHES, INK),
    "90 % range of it": (STRIP, "#b9cdd7"),
}
"""What the line and the band are where all checks are of one day."""

_TAPER_STYLES = (
    (INK, [1, 0]),
    (BLUE, [7, 3]),
    (BROWN, [2, 2]),
    (VIOLET, [8, 3, 2, 3]),
    (GREY, [1, 0]),
    (INK, [4, 4]),
    (BLUE, [1, 0]),
    (BROWN, [10, 4]),
)
YEARS_WITH_TICKS = 2.0
"""Span from which on a chart has ticks at years enough to read it [years] (own choice)."""

LEAST_FLOW = 1e-4
"""Battery current over capacity below which a taper is not drawn on its logarithmic axis [1/h]
(own choice)."""


@dataclass(frozen=True)
class TaperSignature:
    """One taper to lay over others: its day, battery temperature [degC] or None, and readings.

    ``time_s`` and ``current_per_ah``, shape ``(n,)``: time since connection [s] and battery
    current above the float current over capacity [A/Ah].
    """

    on: date
    temp_c: float | None
    time_s: np.ndarray
    current_per_ah: np.ndarray

    def label(self, unit: TemperatureUnit = TemperatureUnit.CELSIUS) -> str:
        """Day and temperature, as the legend shows them.

        Parameters
        ----------
        unit : TemperatureUnit

        Returns
        -------
        str
        """
        if self.temp_c is None:
            return f"{self.on.isoformat()}, temperature not given"
        return f"{self.on.isoformat()}, {shown_temp(self.temp_c, unit):.0f} {unit.sign}"


def fade_chart(forecast: FadeForecast) -> alt.LayerChart:
    """Checks with their errors, the trend with its range, the limit and when it is crossed.

    Parameters
    ----------
    forecast : FadeForecast

    Returns
    -------
    LayerChart
        With `fade_words` as its description.
    """
    curves = forecast.curves
    end = _chart_end(curves)
    layers = [
        *_crossing_layers(forecast, end),
        _band_layer(curves, end),
        *_trend_layers(curves, end),
        *_limit_layers(forecast.limit, forecast.limit_ah, _moment(curves, curves.at[0]), curves),
        *_check_layers(curves, _USUAL if forecast.is_usual else _TREND),
    ]
    return layered(layers, fade_words(forecast), FADE_HEIGHT)


def fade_words(forecast: FadeForecast) -> str:
    """What the chart of capacity shows, in sentences: what it tells, and how to read it.

    Parameters
    ----------
    forecast : FadeForecast

    Returns
    -------
    str
        On one line; capacities [Ah].
    """
    return f"{forecast.headline} {fade_key(forecast)}"


def fade_key(forecast: FadeForecast) -> str:
    """How the chart of capacity is read, in sentences.

    Parameters
    ----------
    forecast : FadeForecast

    Returns
    -------
    str
        On one line; capacities [Ah].
    """
    curves, crossing = forecast.curves, forecast.crossing
    count = curves.check_at.size
    span = f"of {forecast.first}" if count == 1 else f"from {forecast.first} to {forecast.last}"
    words = [
        f"{counted(count, 'value')} {span}.",
        f"The limit is {forecast.limit_ah:.1f} Ah{_generic(forecast.limit)}.",
    ]
    if crossing.low is not None:
        span = range_words(crossing.low, crossing.high)
        level = f"{100 * crossing.level:.0f} %"
        words.append(f"With a chance of {level} the limit is crossed in the shaded time, {span}.")
    words.append("The bars of the marks are one standard error.")
    return " ".join(words)


def discharge_chart(result: CapacityResult) -> alt.LayerChart:
    """Voltage over the time of a discharge, with the end voltage and where it was reached.

    Parameters
    ----------
    result : CapacityResult
        Of a discharge that was logged.

    Returns
    -------
    LayerChart
        With `discharge_words` as its description.

    Raises
    ------
    InputError
        For a check that was only timed: it has no curve.
    """
    curves = _discharge_curves(result)
    chosen = slice(None, None, stride(curves.minutes.size))
    data = rows(minutes=curves.minutes[chosen], volts=curves.voltage_v[chosen])
    line = (
        alt.Chart(data, name="discharge")
        .mark_line(color=INK, strokeWidth=2, clip=True)
        .encode(x=_minutes_x(curves.minutes), y=_volts_y(result))
    )
    layers = [line, *_end_voltage_layers(result)]
    if curves.end_minutes is not None:
        layers += _end_layers(result, curves.end_minutes)
    return layered(layers, discharge_words(result), DISCHARGE_HEIGHT)


def discharge_words(result: CapacityResult) -> str:
    """What the chart of a discharge shows, in sentences.

    Parameters
    ----------
    result : CapacityResult
        Of a discharge that was logged.

    Returns
    -------
    str
        On one line; voltages of the whole battery [V], time [min].

    Raises
    ------
    InputError
        For a check that was only timed: it has no curve.
    """
    curves = _discharge_curves(result)
    start = f"{curves.voltage_v[0]:.1f} V at the start"
    volts = f"{result.end_voltage.value:.1f} V{_generic(result.end_voltage)}"
    if curves.end_minutes is None:
        return f"From {start}; the end voltage of {volts} was not reached. {result.headline}"
    return (
        f"From {start} to the end voltage of {volts} after {curves.end_minutes:.1f} min. "
        f"{result.headline}"
    )


def tapers_chart(
    tapers: tuple[TaperSignature, ...], unit: TemperatureUnit = TemperatureUnit.CELSIUS
) -> alt.LayerChart:
    """Tapers laid over one another: battery current over capacity, on a logarithmic axis.

    Parameters
    ----------
    tapers : tuple of TaperSignature
        In the order of the legend; past eight, the looks of the lines come again.
    unit : TemperatureUnit
        Of the temperatures in the legend.

    Returns
    -------
    LayerChart
        With `tapers_words` as its description.

    Raises
    ------
    InputError
        Without a taper.
    """
    if not tapers:
        raise InputError("no tapers to draw: one or more would be right")
    names = [f"{k}. {taper.label(unit)}" for k, taper in enumerate(tapers, 1)]
    frames = [_taper_rows(name, taper) for name, taper in zip(names, tapers, strict=True)]
    data = pd.concat(frames, ignore_index=True)
    styles = [_TAPER_STYLES[k % len(_TAPER_STYLES)] for k in range(len(names))]
    colours, dashes = zip(*styles, strict=True)
    line = (
        alt.Chart(data, name="tapers")
        .mark_line(strokeWidth=2, clip=True)
        .encode(
            x=_minutes_x(data["minutes"].to_numpy(), "Time since connection (min)"),
            y=alt.Y(
                "flow:Q",
                title="Battery current over capacity (A/Ah)",
                scale=alt.Scale(type="log"),
                axis=alt.Axis(tickCount=5, format="~g"),
            ),
            color=alt.Color("taper:N", scale=scale(names, colours), legend=legend()),
            strokeDash=alt.StrokeDash("taper:N", scale=scale(names, dashes), legend=legend()),
        )
    )
    return layered([line], tapers_words(tapers, unit), TAPERS_HEIGHT)


def tapers_words(
    tapers: tuple[TaperSignature, ...], unit: TemperatureUnit = TemperatureUnit.CELSIUS
) -> str:
    """What the chart of tapers shows, in sentences.

    Parameters
    ----------
    tapers : tuple of TaperSignature
    unit : TemperatureUnit
        Of their temperatures.

    Returns
    -------
    str
        On one line; first and last current over capacity [A/Ah], length [min].
    """
    said = [
        f"{taper.label(unit)}: from {taper.current_per_ah[0]:.3f} to "
        f"{taper.current_per_ah[-1]:.3f} A/Ah over {taper.time_s[-1] / 60.0:.0f} min."
        for taper in tapers
    ]
    return " ".join([f"{counted(len(tapers), 'taper')}.", *said])


def _band_layer(curves: FadeCurves, end: float) -> alt.Chart:
    shown = curves.at <= end
    data = rows(low=curves.low_ah[shown], high=curves.high_ah[shown])
    data.insert(0, "at", _moments(curves, curves.at[shown]))
    return (
        alt.Chart(data, name="range")
        .mark_area(color=BLUE, opacity=0.3, clip=True)
        .encode(x=_at_x(curves), y=_capacity_y(curves, "low"), y2="high:Q")
    )


def _trend_layers(curves: FadeCurves, end: float) -> list[alt.Chart]:
    """The trend over the checks, and dashed beyond the last one."""
    past, ahead = curves.at <= curves.last_check_at, curves.at >= curves.last_check_at
    parts = (("trend", [1, 0], past), ("trend continued", [6, 4], ahead & (curves.at <= end)))
    layers = []
    for name, dash, chosen in parts:
        data = rows(capacity=curves.mean_ah[chosen])
        data.insert(0, "at", _moments(curves, curves.at[chosen]))
        mark = alt.Chart(data, name=name).mark_line(color=INK, strokeWidth=2, strokeDash=dash)
        layers.append(mark.encode(x=_at_x(curves), y=_capacity_y(curves)))
    return layers


def _check_layers(curves: FadeCurves, trend: dict[str, tuple[str, str]]) -> list[alt.Chart]:
    """Checks with one standard error; their legend also names line and band as `trend` does."""
    kinds = [str(kind) for kind in curves.check_kind]
    chosen = np.arange(curves.check_at.size)[:: stride(curves.check_at.size)]
    data = rows(
        capacity=curves.check_ah[chosen],
        low=(curves.check_ah - curves.check_sd_ah)[chosen],
        high=(curves.check_ah + curves.check_sd_ah)[chosen],
        kind=[kinds[k] for k in chosen],
    )
    data.insert(0, "at", _moments(curves, curves.check_at[chosen]))
    named = {kind: _ROLES[kind] for kind in _ROLES if kind in kinds} | trend
    shapes, colours = zip(*named.values(), strict=True)
    errors = alt.Chart(data, name="errors").mark_rule(color=GREY, clip=True).encode(
        x=_at_x(curves), y=_capacity_y(curves, "low"), y2="high:Q"
    )  # fmt: skip
    points = (
        alt.Chart(data, name="checks")
        .mark_point(filled=True, opacity=1.0, size=60)
        .encode(
            x=_at_x(curves),
            y=_capacity_y(curves),
            shape=alt.Shape("kind:N", scale=scale(named, shapes), legend=legend()),
            color=alt.Color("kind:N", scale=scale(named, colours), legend=legend()),
            tooltip=[
                alt.Tooltip("capacity:Q", title="Capacity (Ah)", format=".1f"),
                alt.Tooltip("kind:N", title="kind"),
            ],
        )
    )
    return [errors, points]


def _crossing_layers(forecast: FadeForecast, end: float) -> list[alt.Chart]:
    curves, span = forecast.curves, forecast.curves.crossing_at
    if span is None or span[0] > end:
        return []
    low, best, high = span
    last = end if high is None else min(high, end)
    data = pd.DataFrame({"at": _moments(curves, [low]), "end": _moments(curves, [last])})
    kind = "T" if curves.first_on is not None else "Q"
    layers = [
        alt.Chart(data, name="crossing span")
        .mark_rect(color=BROWN, opacity=0.15)
        .encode(x=_at_x(curves), x2=f"end:{kind}")
    ]
    if best is not None and best <= end:
        at = pd.DataFrame({"at": _moments(curves, [best]), "label": ["limit crossed"]})
        rule = alt.Chart(at, name="crossing").mark_rule(color=BROWN, strokeWidth=1.5)
        late = best > curves.at[0] + 0.75 * (end - curves.at[0])
        place = {"align": "right", "dx": -5} if late else {"align": "left", "dx": 5}
        mark = {**place, "dy": 10, "color": BROWN}
        label = text_mark(at, "crossing label", **mark).encode(
            x=_at_x(curves), y=alt.value(0), text="label:N"
        )
        layers += [rule.encode(x=_at_x(curves)), label]
    return layers


def _limit_layers(
    limit: Limit, limit_ah: float, first: object, curves: FadeCurves
) -> list[alt.Chart]:
    label = f"limit {100 * limit.value:.0f} % of rated{_generic(limit)}"
    data = pd.DataFrame({"at": [first], "capacity": [round(limit_ah, 3)], "label": [label]})
    rule = alt.Chart(data, name="limit").mark_rule(color=INK, strokeWidth=2, strokeDash=[8, 3])
    mark = {"align": "left", "dx": 6, "dy": 10, "color": INK}
    text = text_mark(data, "limit label", **mark)
    return [
        rule.encode(y=_capacity_y(curves)),
        text.encode(x=_at_x(curves), y=_capacity_y(curves), text="label:N"),
    ]


def _end_voltage_layers(result: CapacityResult) -> list[alt.Chart]:
    label = f"end voltage {result.end_voltage.value:.1f} V{_generic(result.end_voltage)}"
    data = rows(minutes=[0.0], volts=[result.end_voltage.value], label=[label])
    rule = alt.Chart(data, name="end voltage").mark_rule(
        color=INK, strokeWidth=2, strokeDash=[8, 3]
    )
    text = text_mark(data, "end voltage label", align="left", dx=6, dy=-9, color=INK)
    x = _minutes_x(_discharge_curves(result).minutes)
    return [
        rule.encode(y=_volts_y(result)),
        text.encode(x=x, y=_volts_y(result), text="label:N"),
    ]


def _end_layers(result: CapacityResult, end_minutes: float) -> list[alt.Chart]:
    data = rows(minutes=[end_minutes], label=[f"reached at {end_minutes:.1f} min"])
    x = _minutes_x(_discharge_curves(result).minutes)
    rule = alt.Chart(data, name="end").mark_rule(color=BROWN, strokeWidth=1.5).encode(x=x)
    text = text_mark(data, "end label", align="right", dx=-6, dy=10, color=BROWN)
    return [rule, text.encode(x=x, y=alt.value(0), text="label:N")]


def _discharge_curves(result: CapacityResult) -> DischargeCurves:
    if result.curves is None:
        raise InputError("a check that was only timed has no curve: give a discharge log")
    return result.curves


def _taper_rows(name: str, taper: TaperSignature) -> pd.DataFrame:
    chosen = slice(None, None, stride(taper.time_s.size))
    data = rows(minutes=taper.time_s[chosen] / 60.0, flow=taper.current_per_ah[chosen])
    return data[data["flow"] > LEAST_FLOW].assign(taper=name)


def _chart_end(curves: FadeCurves) -> float:
    """Time up to which the forecast is drawn: past the crossing, never the whole horizon idly."""
    first, last = float(curves.check_at[0]), curves.last_check_at
    least = last + max(0.4 * (last - first), 0.15 * (curves.at[-1] - last))
    ends = [least]
    if curves.crossing_at is not None:
        ends += [1.05 * at for at in curves.crossing_at if at is not None]
    return float(min(max(ends), curves.at[-1]))


def _moments(curves: FadeCurves, at: np.ndarray | list[float]) -> list[object]:
    return [_moment(curves, float(value)) for value in at]


def _moment(curves: FadeCurves, at: float) -> object:
    if curves.first_on is None:
        return round(float(at), 3)
    start = datetime(curves.first_on.year, curves.first_on.month, curves.first_on.day)
    return (start + timedelta(days=round(float(at) * DAYS_PER_YEAR))).isoformat()


def _at_x(curves: FadeCurves) -> alt.X:
    if curves.first_on is None:
        return alt.X("at:Q", title="Cycle (number)", axis=alt.Axis(tickCount=6, grid=True))
    if _chart_end(curves) - float(curves.at[0]) < YEARS_WITH_TICKS:
        return alt.X("at:T", title="Date (month)", axis=alt.Axis(tickCount=4, format="%b %Y"))
    return alt.X("at:T", title="Date (year)", axis=alt.Axis(tickCount="year", format="%Y"))


def _capacity_y(curves: FadeCurves, field: str = "capacity") -> alt.Y:
    shown = curves.at <= _chart_end(curves)
    values = np.concatenate(
        [curves.check_ah, curves.low_ah[shown], curves.high_ah[shown], [curves.limit_ah]]
    )
    low, high = 0.95 * float(values.min()), 1.03 * float(values.max())
    return alt.Y(
        f"{field}:Q",
        title="Capacity (Ah)",
        scale=alt.Scale(domain=[round(low, 2), round(high, 2)], nice=False),
        axis=alt.Axis(tickCount=5),
    )


def _minutes_x(minutes: np.ndarray, title: str = "Time under load (min)") -> alt.X:
    return alt.X(
        "minutes:Q",
        title=title,
        scale=alt.Scale(domain=[0.0, round(float(minutes.max()), 3)], nice=False),
        axis=alt.Axis(tickCount=6, grid=True),
    )


def _volts_y(result: CapacityResult) -> alt.Y:
    volts = _discharge_curves(result).voltage_v
    low = min(float(volts.min()), result.end_voltage.value) - 0.5
    return alt.Y(
        "volts:Q",
        title="Battery voltage (V)",
        scale=alt.Scale(domain=[round(low, 2), round(float(volts.max()) + 0.5, 2)], nice=False),
        axis=alt.Axis(tickCount=5),
    )


def _generic(limit: Limit) -> str:
    return f" ({GENERIC_MARK})" if limit.generic else ""
