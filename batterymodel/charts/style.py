"""The look all charts share: colours, symbols, axes, and rows of data.

Nothing here depends on colour alone: roles differ by shape, lines by dash, areas by place and
label. All colours are dark enough to be read on white paper, also in a photocopy.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import altair as alt
import pandas as pd

INK, BLUE, BROWN, VIOLET, GREY = "#1b2a33", "#1f5673", "#9a4a12", "#5b3b8c", "#5c666d"
MOST_POINTS = 1200
"""Readings drawn at most; of a longer log every n-th is drawn and the caption says so
(own choice)."""

BAR, STRIP = "M-1.2,-0.14H1.2V0.14H-1.2Z", "M-1.2,-0.5H1.2V0.5H-1.2Z"
DASHES = "M-1.2,-0.14H-0.3V0.14H-1.2ZM0.3,-0.14H1.2V0.14H0.3Z"
DOTS = "M-1.2,-0.14H-0.9V0.14H-1.2ZM-0.5,-0.14H-0.2V0.14H-0.5Z"
DOTS += "M0.2,-0.14H0.5V0.14H0.2ZM0.9,-0.14H1.2V0.14H0.9Z"
DOT_DASH = "M-1.2,-0.14H0.2V0.14H-1.2ZM0.7,-0.14H1.2V0.14H0.7Z"
"""Legend symbols drawn as outlines, so that one legend holds points, lines and areas."""

LOOK = {
    "axis": {
        "labelFontSize": 12,
        "titleFontSize": 13,
        "labelColor": INK,
        "titleColor": INK,
        "titleFontWeight": "normal",
        "gridColor": "#e3e6e8",
        "domainColor": INK,
        "tickColor": INK,
        "titlePadding": 8,
    },
    "legend": {"labelFontSize": 12, "labelColor": INK, "labelLimit": 0, "rowPadding": 2},
    "view": {"stroke": INK, "strokeWidth": 1},
}


def along_rule(data: pd.DataFrame, name: str, colour: str) -> alt.Chart:
    """Label written upwards beside a vertical rule, from the foot of the chart.

    Parameters
    ----------
    data : DataFrame
        One row per label; position and text are encoded by the caller.
    name : str
        Of the layer.
    colour : str
        ``#rrggbb``.

    Returns
    -------
    Chart
    """
    mark = {"angle": 270, "align": "left", "baseline": "top", "dx": 5, "dy": 4, "limit": 150}
    return text_mark(data, name, color=colour, **mark).encode(y=alt.value("height"))


def text_mark(data: pd.DataFrame, name: str, **mark: Any) -> alt.Chart:
    """A text layer in the common size.

    Parameters
    ----------
    data : DataFrame
        One row per text; position and text are encoded by the caller.
    name : str
        Of the layer.
    **mark
        Properties of the text mark, such as colour and angle.

    Returns
    -------
    Chart
    """
    return alt.Chart(data, name=name).mark_text(fontSize=12, **mark)


def rows(**columns: Iterable[Any]) -> pd.DataFrame:
    """Columns as a table, rounded to what a chart can show.

    Parameters
    ----------
    **columns : iterable
        Name and values of each column, all of one length.

    Returns
    -------
    DataFrame
        Numbers to 5 decimals.
    """
    return pd.DataFrame({name: list(column) for name, column in columns.items()}).round(5)


def scale(domain: Iterable[str], styles: Iterable[Any]) -> alt.Scale:
    """A scale that gives each name its own style.

    Parameters
    ----------
    domain : iterable of str
        Names in the order of the legend.
    styles : iterable
        Colour, shape or dash of each, in that order.

    Returns
    -------
    Scale
    """
    return alt.Scale(domain=list(domain), range=list(styles))


def legend() -> alt.Legend:
    """The legend below the chart."""
    return alt.Legend(title=None, orient="bottom", columns=2, symbolOpacity=1.0, symbolSize=100)


def stride(count: int) -> int:
    """Every how many points one is drawn.

    Parameters
    ----------
    count : int
        Points at hand.

    Returns
    -------
    int
        1 or more where there are any; at most `MOST_POINTS` are then drawn.
    """
    return -(-count // MOST_POINTS)


def spec_of(chart: alt.LayerChart) -> dict[str, Any]:
    """A chart as its specification, data inside, that can be kept and shown again.

    Parameters
    ----------
    chart : LayerChart

    Returns
    -------
    dict

    Raises
    ------
    altair.MaxRowsError
        More than 5,000 rows of data.
    """
    return dict(chart.to_dict())


def layered(layers: list[alt.Chart], words: str, height: int) -> alt.LayerChart:
    """The layers as one chart as wide as its place, with the common look.

    Parameters
    ----------
    layers : list of Chart
        Later ones lie over earlier ones.
    words : str
        Stand in for the chart where it cannot be seen.
    height : int
        [px].

    Returns
    -------
    LayerChart
    """
    return alt.LayerChart(
        layer=layers,
        width="container",
        height=height,
        description=words,
        background="white",
        config=LOOK,
    )
