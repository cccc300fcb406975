"""A clock that was set back within the readings: told with its row, never put in order silently."""

from __future__ import annotations

import numpy as np
import pytest

from batterymodel.errors import InputError
from batterymodel.inputs.foreign import guess_columns, readings_from_foreign
from batterymodel.inputs.readings import readings_from_bytes
from batterymodel.inputs.set_back import set_back_at

AMPS = np.array([48.2, 40.1, 33.4, 27.9, 24.0, 22.5, 21.6, 21.0, 20.7])
BY_AN_HOUR = [58, 59, 59.5, 0, 1, 2, 3, 4, 5]
TO_ITS_FIRST = [30, 40, 50, 0, 10, 20, 30, 40, 50]
BY_MINUTES = [58, 59, 59.5, 50, 51, 52, 53, 54, 55]
AT_THE_END = [20, 30, 40, 45, 50, 55, 58, 0, 5]


def own(minutes, amps=AMPS):
    lines = [
        f"2026-10-25T02:{int(m):02}:{round(60 * m) % 60:02},{a}"
        for m, a in zip(minutes, amps, strict=True)
    ]
    return "\n".join(["time,supply_current_a", *lines, ""]).encode()


def foreign(minutes, day):
    lines = [
        f"{day}02:{int(m):02}:{round(60 * m) % 60:02};{a}"
        for m, a in zip(minutes, AMPS, strict=True)
    ]
    return "\n".join(["Time;Current (A)", *lines, ""]).encode()


def read(minutes, day):
    if day is None:
        return readings_from_bytes(own(minutes), "log.csv")
    content = foreign(minutes, day)
    return readings_from_foreign(content, "log.csv", guess_columns(content, "log.csv").column_map)


@pytest.mark.parametrize("day", [None, "2026-10-25 ", ""])
@pytest.mark.parametrize(
    ("minutes", "row", "back_s", "by_an_hour"),
    [
        (BY_AN_HOUR, 5, 3570, True),
        (TO_ITS_FIRST, 5, 3000, True),
        (AT_THE_END, 9, 3480, True),
        (BY_MINUTES, 5, 570, False),
    ],
)
def test_a_clock_that_was_set_back_is_told_with_its_row(minutes, row, back_s, by_an_hour, day):
    column = "time" if day is None else "Time"
    hour = " by an hour to winter time" if by_an_hour else ""
    with pytest.raises(InputError) as caught:
        read(minutes, day)
    assert str(caught.value) == (
        f"log.csv: row {row}, column '{column}': the time goes back by {back_s} s while the "
        f"current goes on, as where a clock was set back{hour}; times that run on, or the seconds "
        "since connection, would be right"
    )


@pytest.mark.parametrize(
    ("back_s", "by_an_hour"), [(3419, False), (3420, True), (3660, True), (3661, False)]
)
def test_an_hour_is_told_by_its_length_less_a_step(back_s, by_an_hour):
    """Readings each two minutes."""
    at_s = [0, 120, 240, 240 - back_s, 360 - back_s, 480 - back_s, 600 - back_s]
    clock = [f"{(7200 + s) // 3600:02}:{(7200 + s) % 3600 // 60:02}:{s % 60:02}" for s in at_s]
    lines = [f"2026-10-25T{t},{a}" for t, a in zip(clock, AMPS, strict=False)]
    with pytest.raises(InputError) as caught:
        readings_from_bytes("\n".join(["time,supply_current_a", *lines, ""]).encode(), "log.csv")
    assert f"the time goes back by {back_s} s" in str(caught.value)
    assert ("by an hour" in str(caught.value)) == by_an_hour


def test_rows_that_came_late_are_sorted_and_the_first_is_named():
    order = [0, 1, 3, 2, 4, 5, 6, 8, 7]
    readings = readings_from_bytes(own(np.arange(9.0)[order], AMPS[order]), "log.csv")
    assert readings.supply_current_a.tolist() == AMPS.tolist()
    assert readings.notes == ("2 rows out of order of time, row 5 first: all rows were sorted",)


def test_halves_in_the_wrong_order_are_sorted():
    order = [4, 5, 6, 7, 8, 0, 1, 2, 3]
    readings = readings_from_bytes(own(np.arange(9.0)[order], AMPS[order]), "log.csv")
    assert readings.supply_current_a.tolist() == AMPS.tolist()


@pytest.mark.parametrize(
    ("elapsed_s", "currents", "place"),
    [
        # sorted 35, 30, 40, 20: ups and downs 35; as it stands 20 and more
        ((300, 400, 200, 210), (40.0, 30.0, 25.0, 20.0), 2),
        # 0.75 of what the sorted rows have, and a step of the current
        ((20, 30, 10, 40), (40.0, 38.0, 34.0, 20.0), None),
        ((20, 30, 10, 40), (40.0, 38.0, 33.0, 20.0), 2),
        ((300, 400, 200, 210), (40.0, 39.0, 38.5, 37.5), None),
        ((300, 400, 200, 210), (40.0, 36.0, 38.0, 20.0), 2),
        ((300, 400, 200, 210), (40.0, 36.0, 40.1, 20.0), None),
        # two times back, and a step up at one of them
        ((300, 400, 200, 210, 100, 110), (40.0, 30.0, 25.0, 20.0, 24.0, 15.0), 2),
        ((300, 400, 200, 210, 100, 110), (40.0, 30.0, 25.0, 20.0, 24.1, 15.0), None),
        ((0, 10, 20, 30), (40.0, 36.0, 30.0, 20.0), None),
        ((400, 200, 210), (30.0, 25.0, 20.0), None),
        ((300, 400, 200), (40.0, 30.0, 25.0), None),
    ],
)
def test_where_a_clock_was_set_back(elapsed_s, currents, place):
    assert set_back_at(np.array(elapsed_s, dtype=float), np.array(currents)) == place
