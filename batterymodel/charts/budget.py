"""The chart of one ground power budget, and the sentences that stand in for it.

Areas are told apart by place and label, lines by dash, starts by their shape.
"""

from __future__ import annotations

import altair as alt
import numpy as np
import pandas as pd

from batterymodel.basis.intervals import Interval
from batterymodel.budget.results import Budget, OutputLimit, Start
from batterymodel.budget.wording import amperes, lasting_words
from batterymodel.charts.style import (
    BAR,
    BLUE,
    BROWN,
    DASHES,
    GREY,
    INK,
    STRIP,
    VIOLET,
    along_rule,
    layered,
    legend,
    rows,
    scale,
    text_mark,
)

HEIGHT = 350
CABLE_LOSS = "cable by its voltage loss"
"""What the cable's limit is called in the chart: what its copper may carry is another question."""

CONSUMERS, DRAW, MARGIN = "consumers, all at once", "battery's draw", "with margin"
TOTAL, START = "both together", "start of a motor"
COVERED, BEYOND = "battery covers", "beyond the supply"
ROOM_ABOVE = 1.15
"""Height of the chart over the highest that is drawn [-] (own choice: room for a label)."""

ROOM_ABOVE_ALONE = 1.25
"""The same with the time on the battery alone above the label of a limit (own choice)."""

LABEL_SHARE = 0.06
"""Height of a label over the chart's [-]: limits nearer to each other share one side each."""

FAR_LIMIT = 1.5
"""Limits higher than this over all else are named in the words and not drawn [-] (own choice)."""

FEW_STARTS = 6
"""Starts that stand in the second half of the task, clear of the labels of limits (own choice)."""

_TIME_TITLE = "Time into the task (min)"
_AREAS = {CONSUMERS: (STRIP, "#d3d7d9"), DRAW: (STRIP, "#b9cdd7")}
_LINES = {TOTAL: (BAR, INK), MARGIN: (DASHES, INK)}
_DASH = {TOTAL: [1, 0], MARGIN: [6, 4]}
_STARTS = {START: ("triangle-up", BROWN)}


def load_chart(budget: Budget) -> alt.LayerChart:
    """Load of a task over its length against every limit of its supply, with motors' starts.

    When a motor starts is not known: starts stand side by side over the task, the load of that
    moment below them. Later layers lie over earlier ones.

    Parameters
    ----------
    budget : Budget

    Returns
    -------
    LayerChart
        With `load_words` as its description.
    """
    top_a = _top_a(budget)
    layers = [
        *_area_layers(budget, top_a),
        *_alone_layers(budget),
        *_line_layers(budget, top_a),
        *_limit_layers(budget, top_a),
        *_start_layers(budget, top_a),
        _key_layer(budget, top_a),
    ]
    return layered(layers, load_words(budget), HEIGHT)


def load_words(budget: Budget) -> str:
    """What the chart shows, in sentences: its text alternative.

    Parameters
    ----------
    budget : Budget

    Returns
    -------
    str
        On one line; currents [A], times [min].
    """
    line = budget.timeline
    margin_a = float(line.with_margin_a.max())
    words = [
        f"Load over {budget.minutes:.0f} min: the consumers that run take "
        f"{amperes(line.consumers_a[0])} with all of them on at once.",
        _battery_words(budget),
        f"With its margin the load is {amperes(margin_a)} at its highest.",
        f"Limits: {', '.join(_limit_label(limit) for limit in _limits(budget))}.",
        *(_start_words(start, budget) for start in budget.starts),
        _alone_words(budget),
    ]
    return " ".join(word for word in words if word)


def _battery_words(budget: Budget) -> str:
    draw_a = budget.timeline.battery_a
    if budget.battery_a is None:
        return "What the battery draws is not known and not drawn."
    first, last = amperes(draw_a[0]), amperes(draw_a[-1])
    falls = f"{first} at first and {last} at the end" if first != last else f"{first} all the time"
    return f"On top of it the battery takes {falls}."


def _start_words(start: Start, budget: Budget) -> str:
    total_a = float((budget.timeline.consumers_a + budget.timeline.battery_a).max())
    dip = start.with_battery
    helped = "" if dip is None else f", the battery giving {amperes(dip.battery_peak_a.mean)} of it"
    return (
        f"{start.name} starts with {amperes(start.starting_a)}: "
        f"up to {amperes(total_a + _surge_a(start, budget))} for {start.starting_s:.2g} s{helped}."
    )


def _alone_words(budget: Budget) -> str:
    if budget.on_battery is None:
        return ""
    return f"The battery alone would carry it for {lasting_words(budget.on_battery.minutes)}."


def _surge_a(start: Start, budget: Budget) -> float:
    """What a start takes beyond the running current [A]."""
    running = next(one for one in budget.consumers if one.name == start.name)
    return max(start.starting_a - running.continuous_a.mean, 0.0)


def _limits(budget: Budget) -> list[OutputLimit]:
    """Limits that count for this task, lowest first."""
    return [limit for limit in budget.capability.limits if limit.applies]


def _limit_label(limit: OutputLimit) -> str:
    of = CABLE_LOSS if limit.name == "cable" else limit.name
    return f"{of} {amperes(limit.limit_a)}{' (mean)' if limit.over_hours else ''}"


def _highest_a(budget: Budget) -> float:
    """The highest of all that is drawn beside limits."""
    line = budget.timeline
    total_a = float((line.consumers_a + line.battery_a).max())
    surges = [_surge_a(start, budget) for start in budget.starts]
    return max(float(line.with_margin_a.max()), total_a + max(surges, default=0.0), 1.0)


def _drawn_limits(budget: Budget) -> list[OutputLimit]:
    """The limit that binds, and the others that are not far above all else; lowest first."""
    reach_a = FAR_LIMIT * max(_highest_a(budget), budget.capability.limit_a)
    return [limit for limit in _limits(budget) if limit.limit_a <= reach_a]


def _top_a(budget: Budget) -> float:
    drawn = [limit.limit_a for limit in _drawn_limits(budget)]
    room = ROOM_ABOVE if _alone_in_view(budget) is None else ROOM_ABOVE_ALONE
    return room * max(*drawn, _highest_a(budget))


def _alone_in_view(budget: Budget) -> Interval | None:
    """Minutes on the battery alone, where their end can be in view."""
    alone = budget.on_battery
    return None if alone is None or alone.minutes.low >= budget.minutes else alone.minutes


def _area_layers(budget: Budget, top_a: float) -> list[alt.Chart]:
    line = budget.timeline
    total_a = line.consumers_a + line.battery_a
    layers = []
    for name, low_a, high_a, colour, opacity in (
        (CONSUMERS, np.zeros_like(total_a), line.consumers_a, GREY, 0.2),
        (DRAW, line.consumers_a, total_a, BLUE, 0.3),
    ):
        if name == DRAW and budget.battery_a is None:
            continue
        data = rows(minutes=line.time_min, low_a=low_a, high_a=high_a)
        area = alt.Chart(data, name=name).mark_area(color=colour, opacity=opacity, clip=True)
        y = _current_y(top_a, "low_a")
        layers.append(area.encode(x=_time_x(budget), y=y, y2="high_a:Q"))
    return layers


def _alone_layers(budget: Budget) -> list[alt.Chart]:
    """When the battery alone would be at its end: an interval at the top, where it is in view.

    Its label begins or ends at the chart's edge: from within, a phone has no room for it.
    """
    lasts = _alone_in_view(budget)
    if lasts is None:
        return []
    end = min(lasts.high, budget.minutes)
    at_left = lasts.low < budget.minutes / 2.0
    edge = 0.0 if at_left else budget.minutes
    label = f"battery alone lasts {lasts.mean:.0f} min ({lasts.low:.0f} to {lasts.high:.0f})"
    data = rows(minutes=[lasts.low], end=[end], edge=[edge], label=[label])
    rule = alt.Chart(data, name="battery alone").mark_rule(color=BLUE, strokeWidth=5)
    text = text_mark(
        data,
        "battery alone label",
        align="left" if at_left else "right",
        dx=4 if at_left else -4,
        color=BLUE,
    )
    edge_x = alt.X("edge:Q", title=_TIME_TITLE, scale=_time_scale(budget))
    return [
        rule.encode(x=_time_x(budget), x2="end:Q", y=alt.value(5)),
        text.encode(x=edge_x, y=alt.value(17), text="label:N"),
    ]


def _line_layers(budget: Budget, top_a: float) -> list[alt.Chart]:
    line = budget.timeline
    lines = {TOTAL: line.consumers_a + line.battery_a, MARGIN: line.with_margin_a}
    if budget.battery_a is None:
        del lines[TOTAL]
    return [
        alt.Chart(rows(minutes=line.time_min, current_a=values), name=name)
        .mark_line(color=INK, strokeWidth=2, strokeDash=_DASH[name], clip=True)
        .encode(x=_time_x(budget), y=_current_y(top_a))
        for name, values in lines.items()
    ]


def _limit_layers(budget: Budget, top_a: float) -> list[alt.Chart]:
    """Each limit a line over the whole task; labels that would meet stand at opposite ends.

    Where motors start at the right, labels stand at the left, else away from the taper.
    """
    layers, usual, before_a = [], bool(budget.starts), -top_a
    at_left = usual
    for limit in _drawn_limits(budget):
        near = limit.limit_a - before_a < LABEL_SHARE * top_a
        at_left, before_a = (not at_left) if near else usual, limit.limit_a
        layers += _limit_layer(budget, limit, at_left, top_a)
    return layers


def _limit_layer(
    budget: Budget, limit: OutputLimit, at_left: bool, top_a: float
) -> list[alt.Chart]:
    binds = limit.name == budget.capability.binding
    colour, width = (VIOLET, 2.5) if binds else (GREY, 1.5)
    data = rows(
        minutes=[0.0 if at_left else budget.minutes],
        current_a=[limit.limit_a],
        label=[_limit_label(limit)],
    )
    rule = alt.Chart(data, name=limit.name).mark_rule(
        color=colour, strokeDash=[2, 2] if binds else [8, 3], strokeWidth=width
    )
    text = text_mark(
        data,
        f"{limit.name} label",
        align="left" if at_left else "right",
        dx=6 if at_left else -6,
        dy=-9,
        color=colour,
        fontWeight="bold" if binds else "normal",
    )
    x, y = _time_x(budget), _current_y(top_a)
    return [rule.encode(y=y), text.encode(x=x, y=y, text="label:N")]


def _start_rows(budget: Budget) -> pd.DataFrame:
    """Each start from the load of its moment up to its peak, split where the supply ends.

    A breaker of its circuit bears a start longer than the supply does.
    """
    motors, line = budget.starts, budget.timeline
    at = budget.minutes * _start_places(len(motors))
    total_a = np.interp(at, line.time_min, line.consumers_a + line.battery_a)
    peak_a = total_a + [_surge_a(start, budget) for start in motors]
    return rows(
        minutes=at,
        low_a=total_a,
        beyond_a=np.clip(budget.capability.own_a, total_a, peak_a),
        current_a=peak_a,
        label=[f"{amperes(start.starting_a)}: {start.name}" for start in motors],
    )


def _start_layers(budget: Budget, top_a: float) -> list[alt.Chart]:
    """A rule up to each peak, dashed beyond the supply, with the motor's name along it."""
    if not budget.starts:
        return []
    data, x = _start_rows(budget), _time_x(budget)
    low, split, peak = (_current_y(top_a, f"{name}_a") for name in ("low", "beyond", "current"))
    within = alt.Chart(data, name="starts").mark_rule(color=BROWN, strokeWidth=2.5)
    beyond = alt.Chart(data, name="starts beyond").mark_rule(
        color=BROWN, strokeWidth=2.5, strokeDash=[6, 4]
    )
    return [
        within.encode(x=x, y=low, y2="beyond_a:Q"),
        beyond.encode(x=x, y=split, y2="current_a:Q"),
        _points(data, "start peaks").encode(x=x, y=peak),
        along_rule(data, "start labels", BROWN).encode(x=x, text="label:N"),
    ]


def _start_kinds(budget: Budget) -> dict[str, tuple[str, str]]:
    """Starts in the legend, and what their part beyond the supply is."""
    if not budget.starts:
        return {}
    data = _start_rows(budget)
    if not (data["current_a"] > data["beyond_a"]).any():
        return _STARTS
    covered = all(start.with_battery is not None for start in budget.starts)
    return _STARTS | {COVERED if covered else BEYOND: (DASHES, BROWN)}


def _start_places(count: int) -> np.ndarray:
    """Where starts stand over the task [0..1]: in its second half while there is room."""
    first = 0.55 if count <= FEW_STARTS else 0.05
    return first + (0.95 - first) * (np.arange(count) + 0.5) / count


def _points(data: pd.DataFrame, name: str) -> alt.Chart:
    mark = alt.Chart(data, name=name)
    return mark.mark_point(shape="triangle-up", filled=True, opacity=1.0, size=60, color=BROWN)


def _key_layer(budget: Budget, top_a: float) -> alt.Chart:
    """Unseen points that carry the legend."""
    kinds = {**_AREAS, **_LINES, **_start_kinds(budget)}
    if budget.battery_a is None:
        kinds = {name: look for name, look in kinds.items() if name not in (DRAW, TOTAL)}
    shapes, colours = zip(*kinds.values(), strict=True)
    n = len(kinds)
    key = alt.Chart(rows(minutes=[0.0] * n, current_a=[0.0] * n, kind=list(kinds)), name="key")
    return key.mark_point(opacity=0.0, filled=True).encode(
        x=_time_x(budget),
        y=_current_y(top_a),
        shape=alt.Shape("kind:N", scale=scale(kinds, shapes), legend=legend()),
        color=alt.Color("kind:N", scale=scale(kinds, colours), legend=legend()),
    )


def _time_x(budget: Budget) -> alt.X:
    return alt.X(
        "minutes:Q",
        title=_TIME_TITLE,
        scale=_time_scale(budget),
        axis=alt.Axis(tickCount=6, grid=True),
    )


def _time_scale(budget: Budget) -> alt.Scale:
    return alt.Scale(domain=[0.0, budget.minutes], nice=False)


def _current_y(top_a: float, field: str = "current_a") -> alt.Y:
    return alt.Y(
        f"{field}:Q",
        title="Current asked of the supply (A)",
        scale=alt.Scale(domain=[0.0, top_a], nice=False),
        axis=alt.Axis(tickCount=5),
    )
