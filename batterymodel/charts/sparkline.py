"""A line of a few words' size: capacity from check to check, above or below its limit."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from html import escape

from batterymodel.charts.style import BLUE, INK

WIDTH, HEIGHT, EDGE = 120, 40, 4
"""Size of the picture and of the margin inside it [px]."""

LOW, HIGH = 0.6, 1.1
"""Capacity over rated at the lower and upper edge, unless a check lies beyond, so that lines
of batteries compare at a glance (own choice)."""


def sparkline_svg(days: Sequence[date], shares: Sequence[float], least_share: float) -> str:
    """The checks as a line over the days, with the limit as a dashed one.

    Parameters
    ----------
    days : sequence of date
        At least two, in order.
    shares : sequence of float
        Capacity over rated capacity, as many as `days`.
    least_share : float
        The limit.

    Returns
    -------
    str
        SVG, with `sparkline_words` as its title.
    """
    low, high = min(LOW, least_share, *shares), max(HIGH, *shares)

    def height(share: float) -> float:
        return round(EDGE + (HEIGHT - 2 * EDGE) * (high - share) / (high - low), 1)

    span = max((days[-1] - days[0]).days, 1)
    across = [EDGE + (WIDTH - 2 * EDGE) * (day - days[0]).days / span for day in days]
    points = [f"{x:.1f},{height(share)}" for x, share in zip(across, shares, strict=True)]
    limit, (end_x, end_y) = height(least_share), points[-1].split(",")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}" role="img">'
        f"<title>{escape(sparkline_words(days, shares, least_share))}</title>"
        f'<path d="M0 {limit}H{WIDTH}" stroke="{INK}" stroke-dasharray="4 3"/>'
        f'<polyline points="{" ".join(points)}" fill="none" stroke="{BLUE}" stroke-width="2"/>'
        f'<circle cx="{end_x}" cy="{end_y}" r="3.5" fill="{BLUE}"/></svg>'
    )


def sparkline_words(days: Sequence[date], shares: Sequence[float], least_share: float) -> str:
    """What the line shows, for whoever cannot see it.

    Parameters
    ----------
    days : sequence of date
    shares : sequence of float
        Capacity over rated capacity.
    least_share : float

    Returns
    -------
    str
    """
    return (
        f"Capacity over {len(days)} checks: {100 * shares[0]:.0f} % of rated on {days[0]}, "
        f"{100 * shares[-1]:.0f} % on {days[-1]}; the limit is {100 * least_share:.0f} %."
    )
