"""Charts of the explainer: one for each topic, moved by the reader's own value."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import altair as alt
import numpy as np

from batterymodel.charts.style import (
    BLUE,
    BROWN,
    GREY,
    INK,
    VIOLET,
    along_rule,
    layered,
    rows,
    text_mark,
)
from batterymodel.explain import wording as words
from batterymodel.explain.effects import (
    LOAD_A,
    SUPPLY,
    TEMPS_C,
    TIME_S,
    YEARS,
    capacity_percent,
    charge_window_v,
    least_capacity_percent,
    shown_words,
    supply_current_a,
    topping_off_a,
)
from batterymodel.inputs.temperature_unit import TemperatureUnit, shown_temp, spoken_in
from batterymodel.rules.current_rules import CURRENT_LIMITED_MINUTES

HEIGHT = 260


def topic_chart(
    topic: str, value: float, unit: TemperatureUnit = TemperatureUnit.CELSIUS
) -> alt.LayerChart:
    """The chart of a topic at a value of its parameter.

    Parameters
    ----------
    topic : str
        One of `effects.TOPICS`.
    value : float
        In the range of `effects.PARAMETERS`, in the topic's own unit: state of charge [%] of the
        first two, temperature [degC], age [years].
    unit : TemperatureUnit
        In which temperatures are shown.

    Returns
    -------
    LayerChart
        With `shown_words` as its description.

    Raises
    ------
    KeyError
        Another topic.
    InputError
        A temperature outside `reference.temperature.DATA_TEMP_C`.
    """
    layers_of: dict[str, Callable[[float], list[alt.Chart]]] = {
        words.TOPPING_OFF: _topping_off_layers,
        words.NO_CHARGER: _no_charger_layers,
        words.TEMPERATURE: partial(_temperature_layers, unit=unit),
        words.FADE: _fade_layers,
    }
    described = spoken_in(shown_words(topic, value), unit, (value,))
    return layered(layers_of[topic](value), described, HEIGHT)


def _topping_off_layers(soc: float) -> list[alt.Chart]:
    current = topping_off_a(soc)
    x, y = (
        _axis("x", words.TIME_AXIS, (0.0, 60.0)),
        _axis("y", words.CURRENT_AXIS, (0.0, _top(current))),
    )
    data = rows(x=TIME_S / 60.0, y=current)
    area = alt.Chart(data, name="charge").mark_area(color=BLUE, opacity=0.25).encode(x=x, y=y)
    at = rows(x=[6.0], y=[0.35 * float(np.interp(360.0, TIME_S, current))])
    at["label"] = words.LABELS["charge"]
    label = text_mark(at, "charge label", align="left", color=INK)
    return [area, _line(data, "taper", x, y), label.encode(x=x, y=y, text="label:N")]


def _no_charger_layers(soc: float) -> list[alt.Chart]:
    current, limit = supply_current_a(soc), SUPPLY.rated_current_a
    x = _axis("x", words.TIME_AXIS, (0.0, 60.0))
    y = _axis("y", words.SUPPLY_AXIS, (0.0, 1.2 * limit))
    data = rows(x=TIME_S / 60.0, y=current)
    load = alt.Chart(rows(x=[0.0, 60.0], y=[LOAD_A, LOAD_A]), name="load")
    at = rows(x=[CURRENT_LIMITED_MINUTES])
    at["label"] = words.LABELS["rule"].format(rule=CURRENT_LIMITED_MINUTES)
    rule = alt.Chart(at, name="rule").mark_rule(color=GREY, strokeDash=[2, 3])
    return [
        load.mark_area(color=GREY, opacity=0.25).encode(x=x, y=y),
        *_level(limit, words.LABELS["limit"], x, y, 60.0),
        rule.encode(x=x),
        along_rule(at, "rule label", GREY).encode(x=x, text="label:N"),
        _line(data, "supply", x, y),
        _named(words.LABELS["load"], 60.0, LOAD_A / 2.0, x, y, "load label"),
    ]


def _temperature_layers(temp_c: float, unit: TemperatureUnit) -> list[alt.Chart]:
    low, high = charge_window_v(TEMPS_C)
    temps = np.array([shown_temp(float(temp), unit) for temp in TEMPS_C])
    ends = (float(temps[0]), float(temps[-1]))
    x = _axis("x", spoken_in(words.TEMP_AXIS, unit), ends)
    y = _axis("y", words.VOLT_AXIS, (float(low.min()) - 0.5, float(high.max()) + 0.5))
    band = alt.Chart(rows(x=temps, y=low, top=high), name="window")
    volts = SUPPLY.set_voltage_v
    return [
        band.mark_area(color=BLUE, opacity=0.25).encode(x=x, y=y, y2="top:Q"),
        _line(rows(x=temps, y=high), "most", x, y),
        _line(rows(x=temps, y=low), "least", x, y, [6, 4]),
        *_edge_labels(temps, low, high, x, y),
        *_level(volts, words.LABELS["supply"].format(volts=volts), x, y, ends[0], below=True),
        *_marker(shown_temp(temp_c, unit), volts, x, y),
    ]


def _fade_layers(years: float) -> list[alt.Chart]:
    best, low, high = capacity_percent(YEARS)
    x = _axis("x", words.YEAR_AXIS, (0.0, float(YEARS[-1])))
    y = _axis("y", words.CAPACITY_AXIS, (0.0, 120.0))
    band = alt.Chart(rows(x=YEARS, y=low, top=high), name="range")
    least = least_capacity_percent()
    at = float(capacity_percent(np.array(years))[0])
    label = words.LABELS["least"].format(limit=least)
    return [
        band.mark_area(color=BLUE, opacity=0.25).encode(x=x, y=y, y2="top:Q"),
        _line(rows(x=YEARS, y=best), "fade", x, y),
        *_level(least, label, x, y, float(YEARS[-1])),
        *_marker(years, at, x, y),
    ]


def _axis(channel: str, title: str, domain: tuple[float, float]) -> Any:
    kind = alt.X if channel == "x" else alt.Y
    ends = alt.Scale(domain=[round(end, 3) for end in domain], nice=False)
    return kind(f"{channel}:Q", title=title, scale=ends, axis=alt.Axis(tickCount=6, grid=True))


def _line(data: Any, name: str, x: Any, y: Any, dash: list[int] | None = None) -> alt.Chart:
    chart = alt.Chart(data, name=name)
    line = chart.mark_line(color=INK, strokeWidth=2, clip=True, strokeDash=dash or [1, 0])
    return line.encode(x=x, y=y)


def _edge_labels(
    temps: np.ndarray, low: np.ndarray, high: np.ndarray, x: Any, y: Any
) -> list[alt.Chart]:
    """Words beside the edges of the charging window, in its middle."""
    middle, at = temps.size // 2, float(temps[temps.size // 2])
    return [
        _named(words.LABELS["high"], at, float(high[middle]), x, y, "most label", down=17),
        _named(words.LABELS["low"], at, float(low[middle]), x, y, "least label", down=-17),
    ]


def _level(
    value: float, label: str, x: Any, y: Any, end: float, below: bool = False
) -> list[alt.Chart]:
    """A level line with its words at its right end, above it; or at its left end, below it."""
    rule = alt.Chart(rows(y=[value]), name="level").mark_rule(
        color=VIOLET, strokeWidth=2, strokeDash=[8, 3]
    )
    align = {"align": "left" if below else "right"}
    words_of = _named(label, end, value, x, y, "level label", VIOLET, 20 if below else -9, **align)
    return [rule.encode(y=y), words_of]


def _named(
    label: str,
    at: float,
    level: float,
    x: Any,
    y: Any,
    name: str,
    colour: str = INK,
    down: int = 0,
    align: str = "right",
) -> alt.Chart:
    """Words at a point; `down` moves them so far [px]."""
    data = rows(x=[at], y=[level])
    data["label"] = label
    text = text_mark(
        data, name, align=align, dx=6 if align == "left" else -6, dy=down, color=colour
    )
    return text.encode(x=x, y=y, text="label:N")


def _marker(at: float, level: float, x: Any, y: Any) -> list[alt.Chart]:
    """The reader's value: a rule, and a diamond where it meets the curve."""
    data = rows(x=[at], y=[level])
    rule = alt.Chart(data, name="chosen").mark_rule(color=BROWN, strokeWidth=1.5)
    point = alt.Chart(data, name="chosen point").mark_point(
        shape="diamond", filled=True, opacity=1.0, size=130, color=BROWN
    )
    return [rule.encode(x=x), point.encode(x=x, y=y)]


def _top(current: np.ndarray) -> float:
    return max(1.15 * float(current.max()), 1.0)
