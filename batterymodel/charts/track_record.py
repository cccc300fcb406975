"""Chart of how often the latest ranges held the truth, over the days on which truths were known."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt
import pandas as pd

from batterymodel.charts.style import BLUE, BROWN, INK, layered, text_mark
from batterymodel.errors import InputError
from batterymodel.track.score import LATEST, PROMISED, Moment

HEIGHT = 260
LOWEST_PERCENT = 40.0
"""Foot of the axis, unless a share lies lower [%] (own choice)."""


def coverage_chart(moments: Sequence[Moment]) -> alt.LayerChart:
    """Share of the latest ranges that held the truth, with what they should hold.

    Parameters
    ----------
    moments : sequence of Moment
        In order of their day.

    Returns
    -------
    LayerChart
        With `coverage_words` as its description.

    Raises
    ------
    InputError
        Without a moment.
    """
    if not moments:
        raise InputError("no coverage to draw: one day or more would be right")
    shares = [round(100.0 * moment.share, 1) for moment in moments]
    data = pd.DataFrame({"on": [pd.Timestamp(m.on) for m in moments], "share": shares})
    x = alt.X("on:T", title=None, axis=alt.Axis(tickCount=4, labelOverlap=True))
    low = min(LOWEST_PERCENT, *shares)
    y = alt.Y(
        "share:Q",
        title="Ranges that held the truth (%)",
        scale=alt.Scale(domain=[low, 100.0], nice=False),
        axis=alt.Axis(tickCount=5),
    )
    line = alt.Chart(data, name="coverage").mark_line(color=INK, strokeWidth=2).encode(x=x, y=y)
    points = (
        alt.Chart(data, name="days")
        .mark_point(filled=True, opacity=1.0, size=50, color=BLUE)
        .encode(x=x, y=y, tooltip=[alt.Tooltip("share:Q", title="%"), alt.Tooltip("on:T")])
    )
    return layered([*_promise(), line, points], coverage_words(moments), HEIGHT)


def _promise() -> list[alt.Chart]:
    data = pd.DataFrame(
        {"share": [100.0 * PROMISED], "words": [f"{100 * PROMISED:.0f} % promised"]}
    )
    rule = (
        alt.Chart(data, name="promise")
        .mark_rule(color=BROWN, strokeDash=[6, 4], strokeWidth=2)
        .encode(y="share:Q")
    )
    words = text_mark(data, "promised", color=BROWN, align="left", dx=6, dy=12).encode(
        x=alt.value(0), y="share:Q", text="words:N"
    )
    return [rule, words]


def coverage_words(moments: Sequence[Moment]) -> str:
    """What the chart shows, in sentences.

    Parameters
    ----------
    moments : sequence of Moment
        One at least, in order of their day.

    Returns
    -------
    str
        On one line.
    """
    first, last = moments[0], moments[-1]
    worst = min(moments, key=lambda moment: moment.share)
    said = (
        f"Each point counts the last {LATEST} ranges up to its day, or all where there are fewer. "
        f"On {last.on} {100 * last.share:.0f} % held the truth"
    )
    if len(moments) == 1:
        return f"{said}."
    return (
        f"{said}, on {first.on} {100 * first.share:.0f} %; the least was {100 * worst.share:.0f} %."
    )
