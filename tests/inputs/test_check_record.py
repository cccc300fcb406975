"""The record of checks: what is read, what is refused."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel import InputError
from batterymodel.inputs.check_record import (
    MeasuredCapacity,
    checks_from_bytes,
    checks_from_frame,
    checks_from_measured,
    read_checks,
)

HEAD = "on,capacity_ah\n"


def read(text):
    return checks_from_bytes(text.encode(), "c.csv")


def test_every_column_is_read():
    record = read(
        "on,capacity_ah,capacity_sd_ah,kind,lower_bound\n"
        "2024-01-01,40,1.5,check,\n2025-01-01,38,,in_service,\n2026-01-01,30,,,yes\n"
    )
    assert record.unit == "year"
    assert record.first_on == date(2024, 1, 1)
    np.testing.assert_allclose(record.at, [0.0, 366 / 365.25, 731 / 365.25])
    np.testing.assert_allclose(record.sd_ah, [1.5, 0.15 * 38, 0.03 * 30])
    assert record.in_service.tolist() == [False, True, False]
    assert record.lower_bound.tolist() == [False, False, True]
    assert record.moment(record.at[1]) == date(2025, 1, 1)


def test_cycles_stand_for_themselves():
    record = read("cycle,capacity_ah\n1,2.0\n50,1.8\n")
    assert record.unit == "cycle"
    assert record.at.tolist() == [1.0, 50.0]
    assert record.moment(49.6) == 50


def test_rows_are_sorted_by_time():
    record = read(HEAD + "2025-01-01,38\n2024-01-01,40\n")
    assert record.capacity_ah.tolist() == [40.0, 38.0]
    assert any("sorted" in note for note in record.notes)


def test_frame_and_file_agree(tmp_path):
    path = tmp_path / "c.csv"
    path.write_text(HEAD + "2024-01-01,40\n2025-01-01,38\n")
    frame = pd.DataFrame({"on": ["2024-01-01", "2025-01-01"], "capacity_ah": [40.0, 38.0]})
    np.testing.assert_array_equal(checks_from_frame(frame).at, read_checks(path).at)


BAD = {
    "empty": ("", "is empty"),
    "header only": (HEAD, "no checks"),
    "true": (HEAD + "2024-01-01,true\n", "'true' is not a number"),
    "no time": ("capacity_ah\n40\n", "no column 'on' (date) or 'cycle'"),
    "no capacity": ("on,kind\n2024-01-01,check\n", "no column 'capacity_ah'"),
    "date": (HEAD + "last year,40\n", "is not a date"),
    "old": (
        HEAD + "1979-12-31,40\n",
        "'1979-12-31' is no year of a check; one from 1980 to 2200 would be right",
    ),
    "far": (HEAD + "2201-01-01,40\n", "from 1980 to 2200 would be right"),
    "milliampere-hours": (HEAD + "2024-01-01,40000\n", "milliampere-hours"),
    "zero": (HEAD + "2024-01-01,0\n", "is no capacity"),
    "negative sd": ("on,capacity_ah,capacity_sd_ah\n2024-01-01,40,-1\n", "is no error"),
    "kind": ("on,capacity_ah,kind\n2024-01-01,40,guess\n", "is no kind"),
    "bound": ("on,capacity_ah,lower_bound\n2024-01-01,40,maybe\n", "is unclear"),
    "capacities missing": (HEAD + "2024-01-01,\n2025-01-01,\n", "no check with a capacity"),
    "cycle missing": ("cycle,capacity_ah\n1,40\n,39\n", "is empty"),
    "text": (HEAD + "2024-01-01,forty\n", "is not a number"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_is_no_record_is_one_sentence(name):
    text, part = BAD[name]
    with pytest.raises(InputError) as error:
        read(text)
    assert part in str(error.value)
    assert str(error.value).startswith("c.csv")
    assert "\n" not in str(error.value)


MEASURED = st.builds(
    MeasuredCapacity,
    on=st.dates(date(1990, 1, 1), date(2100, 1, 1)),
    capacity_ah=st.floats(0.1, 900.0),
    capacity_sd_ah=st.none() | st.floats(0.01, 400.0),
    in_service=st.booleans(),
    is_lower_bound=st.booleans(),
)


@given(st.lists(MEASURED, min_size=1, max_size=6, unique_by=lambda one: (one.on, one.capacity_ah)))
def test_measured_values_are_the_record_that_a_table_of_them_gives(found):
    rows = [
        {
            "on": one.on.isoformat(),
            "capacity_ah": repr(one.capacity_ah),
            "capacity_sd_ah": "" if one.capacity_sd_ah is None else repr(one.capacity_sd_ah),
            "kind": "in_service" if one.in_service else "check",
            "lower_bound": "yes" if one.is_lower_bound else "no",
        }
        for one in found
    ]
    by_table = checks_from_frame(pd.DataFrame(rows), "checks")
    by_value = checks_from_measured(found, "checks")
    assert by_value.first_on == by_table.first_on
    for name in ("at", "capacity_ah", "sd_ah", "in_service", "lower_bound"):
        assert getattr(by_value, name) == pytest.approx(getattr(by_table, name), rel=1e-12), name


@pytest.mark.parametrize("on", ["1980-01-01", "2200-12-31"])
def test_checks_are_taken_from_the_first_to_the_last_year(on):
    assert checks_from_bytes(f"{HEAD}{on},40\n".encode(), "c.csv").first_on.isoformat() == on
