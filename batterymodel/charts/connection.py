"""Charts of one assessment as altair charts, and the sentences that stand in for them.

Nothing here depends on colour alone: roles differ by shape, lines by dash, areas by place and
label. All colours are dark enough to be read on white paper, also in a photocopy.
"""

from __future__ import annotations

import altair as alt
import numpy as np
import pandas as pd

from batterymodel.charts.normal import NormalTaper
from batterymodel.charts.style import (
    BAR,
    BLUE,
    BROWN,
    DASHES,
    DOT_DASH,
    DOTS,
    GREY,
    INK,
    STRIP,
    VIOLET,
    along_rule,
    layered,
    legend,
    rows,
    scale,
    stride,
    text_mark,
)
from batterymodel.rules.results import (
    AT_LIMIT,
    READING,
    RISING,
    TRANSIENT,
    Assessment,
    Curves,
)

TAPER_HEIGHT, EVIDENCE_HEIGHT = 350, 260
FITTED, FORECAST, BAND = "taper", "taper continued", "90 % range"
LOAD, FLOAT, COMBINED = "bus load and float current", "float current", "all together"
NORMAL = "normal taper"
_COMBINED_KEY = "combined"
_ROLES = {
    READING: ("circle", BLUE),
    AT_LIMIT: ("triangle-up", VIOLET),
    RISING: ("diamond", BROWN),
    TRANSIENT: ("cross", BROWN),
}
_OTHER_ROLE = ("square", GREY)
_LINES = {FITTED: (BAR, INK), FORECAST: (DASHES, INK), BAND: (STRIP, "#b9cdd7")}
_EVIDENCE = {
    "taper": (BAR, BLUE, [1, 0]),
    "rest voltage": (DASHES, BROWN, [7, 3]),
    "last known state": (DOTS, VIOLET, [2, 2]),
}
_OTHER_EVIDENCE = (DOT_DASH, GREY, [8, 3, 2, 3])
_TIME_TITLE = "Time since connection (min)"


def taper_chart(assessment: Assessment, normal: NormalTaper | None = None) -> alt.LayerChart:
    """Readings, fitted taper with its range, bus load, load steps and the supply's limit.

    The taper is dashed beyond the readings it was read from; where given, the battery's normal
    taper is laid over it. Later layers lie over earlier ones.

    Parameters
    ----------
    assessment : Assessment
    normal : NormalTaper, optional
        From `charts.normal.normal_taper`.

    Returns
    -------
    LayerChart
        With `taper_words` as its description.
    """
    curves = assessment.curves
    layers = [
        *_limit_layers(curves),
        _load_layer(curves),
        _band_layer(curves),
        *_step_layers(curves),
        *_last_reading_layers(curves),
        *_fit_layers(assessment),
        *_normal_layers(curves, normal),
        _readings_layer(curves, {} if normal is None else {NORMAL: (DOT_DASH, BROWN)}),
    ]
    return layered(layers, taper_words(assessment), TAPER_HEIGHT)


def evidence_chart(assessment: Assessment) -> alt.LayerChart:
    """State of charge at connection: each evidence a line, the combination an area.

    Parameters
    ----------
    assessment : Assessment

    Returns
    -------
    LayerChart
        With `evidence_words` as its description.
    """
    curves = assessment.curves
    limit = 100.0 * curves.min_top_off_soc
    layers = [*_combined_layers(curves), *_evidence_layers(curves), *_least_soc_layers(limit)]
    return layered(layers, evidence_words(assessment), EVIDENCE_HEIGHT)


def taper_words(assessment: Assessment) -> str:
    """What the taper chart shows, in sentences: its text alternative.

    Parameters
    ----------
    assessment : Assessment

    Returns
    -------
    str
        On one line; currents [A], times [min].
    """
    curves = assessment.curves
    y, t = curves.current_a, curves.time_s
    words = [
        f"{y.size} readings over {t[-1] / 60.0:.0f} min, from {y[0]:.1f} A to {y[-1]:.1f} A.",
        "The line is the taper with its 90 % range, dashed beyond the readings it was read from.",
    ]
    if curves.limit_a is not None:
        end = _limit_end_s(curves)
        until = "to the last reading" if end >= t[-1] else f"for {_minutes(end)}"
        words.append(f"The supply was at its limit {until}.")
    if any(finding.rule == "load_unknown" for finding in assessment.findings):
        words.append("The bus load was not given: the one drawn is an estimate.")
    words += [f"Load step at {_minutes(at)}: {text}." for at, text, _ in curves.steps]
    every = stride(y.size)
    if every > 1:
        words.append(f"One reading in {every} is drawn.")
    return " ".join(words)


def evidence_words(assessment: Assessment) -> str:
    """What the state of charge chart shows, in sentences: its text alternative.

    Parameters
    ----------
    assessment : Assessment

    Returns
    -------
    str
        On one line; states of charge [%].
    """
    curves = assessment.curves
    means = [
        f"{_evidence_name(name)} {_mean_percent(curves.soc, density):.0f} %"
        for name, density in curves.evidence.items()
    ]
    return (
        f"Best value of the state of charge at connection by evidence: {', '.join(means)}. "
        f"At least {100.0 * curves.min_top_off_soc:.0f} % is needed to top off in place. "
        "Each curve is scaled to its own highest point."
    )


def current_title(curves: Curves) -> str:
    """Title of the current axis, with its unit.

    Parameters
    ----------
    curves : Curves
        Say which current was measured.

    Returns
    -------
    str
    """
    return f"{curves.current_label} (A)"


def _readings_layer(curves: Curves, more: dict[str, tuple[str, str]]) -> alt.Chart:
    """The readings; their legend also names the lines, which have no legend of their own."""
    roles = [str(role) for role in curves.role]
    seen = dict.fromkeys(roles)
    kinds = {role: _ROLES.get(role, _OTHER_ROLE) for role in (*_ROLES, *seen) if role in seen}
    kinds |= {**_LINES, _load_name(curves): (STRIP, "#d3d7d9")} | more
    shapes, colours = zip(*kinds.values(), strict=True)
    chosen = slice(None, None, stride(curves.time_s.size))
    data = rows(
        minutes=curves.time_s[chosen] / 60.0,
        current_a=curves.current_a[chosen],
        kind=roles[chosen],
    )
    return (
        alt.Chart(data, name="readings")
        .mark_point(filled=True, opacity=1.0, size=34)
        .encode(
            x=_time_x(curves),
            y=_current_y(curves),
            shape=alt.Shape("kind:N", scale=scale(kinds, shapes), legend=legend()),
            color=alt.Color("kind:N", scale=scale(kinds, colours), legend=legend()),
            tooltip=[
                alt.Tooltip("minutes:Q", title=_TIME_TITLE, format=".2f"),
                alt.Tooltip("current_a:Q", title=current_title(curves), format=".2f"),
                alt.Tooltip("kind:N", title="kind"),
            ],
        )
    )


def _fit_layers(assessment: Assessment) -> list[alt.Chart]:
    """The taper over the readings it was read from, and dashed beyond them."""
    curves = assessment.curves
    t, end = curves.fit_time_s, min(float(curves.time_s[-1]), assessment.taper.window_s[1])
    joint = float(np.interp(end, t, curves.fit_a))
    seen, ahead = t <= end, t > end
    parts = (
        ("taper", [1, 0], [*t[seen], end], [*curves.fit_a[seen], joint]),
        ("taper continued", [6, 4], [end, *t[ahead]], [joint, *curves.fit_a[ahead]]),
    )
    return [
        alt.Chart(rows(minutes=np.array(times) / 60.0, current_a=values), name=name)
        .mark_line(color=INK, strokeWidth=2, strokeDash=dash, clip=True)
        .encode(x=_time_x(curves), y=_current_y(curves))
        for name, dash, times, values in parts
    ]


def _normal_layers(curves: Curves, normal: NormalTaper | None) -> list[alt.Chart]:
    if normal is None:
        return []
    data = rows(minutes=normal.time_s / 60.0, current_a=normal.current_a)
    line = alt.Chart(data, name="normal").mark_line(
        color=BROWN, strokeWidth=2, strokeDash=[8, 3, 2, 3], clip=True
    )
    return [line.encode(x=_time_x(curves), y=_current_y(curves))]


def _band_layer(curves: Curves) -> alt.Chart:
    data = rows(minutes=curves.fit_time_s / 60.0, low_a=curves.fit_low_a, high_a=curves.fit_high_a)
    return (
        alt.Chart(data, name="range")
        .mark_area(color=BLUE, opacity=0.3, clip=True)
        .encode(x=_time_x(curves), y=_current_y(curves, "low_a"), y2="high_a:Q")
    )


def _load_layer(curves: Curves) -> alt.Chart:
    data = rows(minutes=curves.fit_time_s / 60.0, current_a=curves.load_a)
    return (
        alt.Chart(data, name="load")
        .mark_area(color=GREY, opacity=0.2, clip=True, line={"color": GREY, "strokeWidth": 1})
        .encode(x=_time_x(curves), y=_current_y(curves))
    )


def _load_name(curves: Curves) -> str:
    name = FLOAT if curves.from_clamp else LOAD
    return f"{name} {curves.load_a[0]:.1f} A"


def _limit_layers(curves: Curves) -> list[alt.Chart]:
    if curves.limit_a is None:
        return []
    end = _limit_end_s(curves) / 60.0
    label = AT_LIMIT + ("" if curves.from_clamp else f", {curves.limit_a:.0f} A")
    data = rows(minutes=[0.0], end=[end], current_a=[float(curves.limit_a)], label=[label])
    base, x = alt.Chart(data, name="limit span"), _time_x(curves)
    span = base.mark_rect(color=VIOLET, opacity=0.10).encode(x=x, x2="end:Q")
    rule = alt.Chart(data, name="limit").mark_rule(color=VIOLET, strokeDash=[2, 2], strokeWidth=2)
    text = text_mark(
        data, "limit label", align="left", dx=6, dy=-9, color=VIOLET, fontWeight="bold"
    )
    y = _current_y(curves)
    return [
        span,
        rule.encode(x=x, x2="end:Q", y=y),
        text.encode(x=x, y=y, text="label:N"),
    ]


def _step_layers(curves: Curves) -> list[alt.Chart]:
    layers = []
    for marked, dash in ((True, [1, 0]), (False, [4, 3])):
        steps = [(at, text) for at, text, m in curves.steps if m is marked]
        if not steps:
            continue
        name = "marked steps" if marked else "unmarked steps"
        data = rows(minutes=[at / 60.0 for at, _ in steps], label=[text for _, text in steps])
        rule = alt.Chart(data, name=name).mark_rule(color=BROWN, strokeDash=dash, strokeWidth=1.5)
        label = along_rule(data, f"{name} labels", BROWN)
        x = _time_x(curves)
        layers += [rule.encode(x=x), label.encode(x=x, text="label:N")]
    return layers


def _last_reading_layers(curves: Curves) -> list[alt.Chart]:
    data = rows(minutes=[float(curves.time_s[-1]) / 60.0], label=["last reading"])
    rule = alt.Chart(data, name="last reading").mark_rule(color=GREY, strokeDash=[1, 3])
    label = text_mark(data, "last reading label", align="left", dx=5, dy=10, color=GREY)
    x = _time_x(curves)
    return [rule.encode(x=x), label.encode(x=x, y=alt.value(0), text="label:N")]


def _combined_layers(curves: Curves) -> list[alt.Chart]:
    data = _soc_rows(curves, _COMBINED_KEY)
    area = alt.Chart(data, name="combined").mark_area(color=INK, opacity=0.25)
    edge = alt.Chart(data, name="combined edge").mark_line(color=INK, strokeWidth=1)
    return [layer.encode(x=_soc_x(), y=_likelihood_y()) for layer in (area, edge)]


def _evidence_layers(curves: Curves) -> list[alt.Chart]:
    """One line for each piece of evidence, and unseen points that carry the legend."""
    names = [name for name in curves.evidence if name != _COMBINED_KEY]
    lines = [
        alt.Chart(_soc_rows(curves, name), name=name)
        .mark_line(color=_look(name)[1], strokeDash=_look(name)[2], strokeWidth=2.5)
        .encode(x=_soc_x(), y=_likelihood_y())
        for name in names
    ]
    kinds = {name: _look(name)[:2] for name in names} | {COMBINED: (STRIP, "#c3c8cb")}
    shapes, colours = zip(*kinds.values(), strict=True)
    n = len(kinds)
    key = (
        alt.Chart(rows(soc=[0.0] * n, likelihood=[0.0] * n, kind=list(kinds)), name="key")
        .mark_point(opacity=0.0, filled=True)
        .encode(
            x=_soc_x(),
            y=_likelihood_y(),
            shape=alt.Shape("kind:N", scale=scale(kinds, shapes), legend=legend()),
            color=alt.Color("kind:N", scale=scale(kinds, colours), legend=legend()),
        )
    )
    return [*lines, key]


def _look(evidence: str) -> tuple[str, str, list[int]]:
    return _EVIDENCE.get(evidence, _OTHER_EVIDENCE)


def _least_soc_layers(limit_percent: float) -> list[alt.Chart]:
    label = f"least to top off in place: {limit_percent:.0f} %"
    data = rows(soc=[limit_percent], label=[label])
    rule = alt.Chart(data, name="least").mark_rule(color=INK, strokeWidth=2, strokeDash=[8, 3])
    on_left = limit_percent > 45.0
    align, dx = ("right", -7) if on_left else ("left", 7)
    text = text_mark(data, "least label", align=align, dx=dx, dy=9, color=INK, baseline="top")
    return [
        rule.encode(x=_soc_x()),
        text.encode(x=_soc_x(), y=alt.value(0), text="label:N"),
    ]


def _time_x(curves: Curves) -> alt.X:
    end = float(curves.fit_time_s[-1]) / 60.0
    return alt.X(
        "minutes:Q",
        title=_TIME_TITLE,
        scale=alt.Scale(domain=[0.0, end], nice=False),
        axis=alt.Axis(tickCount=6, grid=True),
    )


def _current_y(curves: Curves, field: str = "current_a") -> alt.Y:
    low = min(0.0, float(curves.current_a.min()))
    return alt.Y(
        f"{field}:Q",
        title=current_title(curves),
        scale=alt.Scale(domain=[low, _top_a(curves)], nice=False),
        axis=alt.Axis(tickCount=5),
    )


def _top_a(curves: Curves) -> float:
    limit = 0.0 if curves.limit_a is None else curves.limit_a
    highest = max(float(curves.current_a.max()), float(curves.fit_a.max()), limit)
    return max(1.2 * highest, 1.0)


def _soc_x() -> alt.X:
    return alt.X(
        "soc:Q",
        title="State of charge at connection (%)",
        scale=alt.Scale(domain=[0, 100], nice=False),
        axis=alt.Axis(tickCount=6),
    )


def _likelihood_y() -> alt.Y:
    return alt.Y(
        "likelihood:Q",
        title="Likelihood (relative)",
        scale=alt.Scale(domain=[0.0, 1.3], nice=False),
        axis=alt.Axis(values=[0.0, 0.5, 1.0], format=".1f"),
    )


def _soc_rows(curves: Curves, evidence: str) -> pd.DataFrame:
    """The curve of one piece of evidence scaled to its own highest point."""
    density = curves.evidence[evidence]
    highest = max(float(density.max()), 1e-300)
    return rows(soc=100.0 * curves.soc, likelihood=density / highest)


def _evidence_name(key: str) -> str:
    return COMBINED if key == _COMBINED_KEY else key


def _mean_percent(soc: np.ndarray, density: np.ndarray) -> float:
    return 100.0 * float(np.average(soc, weights=density))


def _limit_end_s(curves: Curves) -> float:
    last = float(curves.time_s[-1])
    return last if curves.limit_end_s is None else float(curves.limit_end_s)


def _minutes(seconds: float) -> str:
    return f"{seconds / 60.0:.1f} min"
