"""The small line of capacity: inside its frame, in the order of days, above or below its limit."""

import xml.etree.ElementTree as ET
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as some

from batterymodel.charts.sparkline import HEIGHT, WIDTH, sparkline_svg, sparkline_words

FIRST = date(2020, 1, 1)
SPACE = "{http://www.w3.org/2000/svg}"


def parts(days, shares, limit):
    """Points of the line, and the height of the limit."""
    picture = ET.fromstring(sparkline_svg(days, shares, limit))
    line = picture.find(f"{SPACE}polyline").get("points").split()
    points = [tuple(map(float, point.split(","))) for point in line]
    return picture, points, float(picture.find(f"{SPACE}path").get("d")[2:].split("H")[0])


checks = some.lists(some.floats(0.01, 3.0), min_size=2, max_size=30)


@given(checks, some.floats(0.3, 1.0), some.data())
def test_every_check_is_drawn_inside_the_frame(shares, limit, data) -> None:
    steps = some.integers(0, 900)
    days = [FIRST]
    for _ in shares[1:]:
        days.append(days[-1] + timedelta(days=data.draw(steps)))
    _, points, limit_y = parts(days, shares, limit)
    assert len(points) == len(shares)
    assert all(0 < x < WIDTH and 0 < y < HEIGHT for x, y in points)
    assert 0 < limit_y < HEIGHT
    assert [x for x, _ in points] == sorted(x for x, _ in points)


@pytest.mark.parametrize(("last", "is_below"), [(0.7, True), (0.9, False)])
def test_a_check_below_the_limit_is_drawn_below_its_line(last, is_below) -> None:
    days = [FIRST, FIRST + timedelta(days=365)]
    picture, points, limit_y = parts(days, [1.0, last], 0.8)
    assert (points[-1][1] > limit_y) == is_below
    assert picture.find(f"{SPACE}title").text == sparkline_words(days, [1.0, last], 0.8)
