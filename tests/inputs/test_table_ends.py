"""Where a foreign table begins and ends, and the units that stand beside its values."""

import pytest

from batterymodel.errors import InputError
from batterymodel.inputs.foreign import guess_columns, readings_from_foreign
from batterymodel.inputs.foreign_table import foreign_table

AMPS = [48.2, 40.1, 33.4, 27.9]
PLAIN = "Time (s),Amps\n" + "".join(f"{60 * k},{a}\n" for k, a in enumerate(AMPS))
REMARKS = "Remark,Time (s),Amps\n" + "".join(f",{60 * k},{a}\n" for k, a in enumerate(AMPS))


def read(text):
    guess = guess_columns(text.encode(), "log.csv")
    assert guess.doubts == ()
    return readings_from_foreign(text.encode(), "log.csv", guess.column_map)


def doubts(text):
    return guess_columns(text.encode(), "log.csv").doubts


# Totals


@pytest.mark.parametrize(
    "rows",
    [
        "Avg:,27.8\n",
        "Max.,48.2\nMin.,14.0\n",
        "Average,27.8\nStd. dev.,3\n",
        "Average,27.8\nStandardabweichung,3\nTotal,222\n",
        "Moyenne générale,27.8\n",
        "Ø,27.8\n",
        "∑,222\n",
        "Mean over the run,27.8\n",
        "240,27.8,\n".replace("240", "Sum of all"),
        "Logged with channel two\n",
    ],
)
def test_totals_at_the_end_are_no_readings(rows):
    readings = read(PLAIN + rows)
    assert readings.supply_current_a.tolist() == AMPS
    assert sum("is no reading: not used" in note for note in readings.notes) == rows.count("\n")


@pytest.mark.parametrize("label", ["Grand total", "Sum of all", "Ø", "Average", "Max."])
@pytest.mark.parametrize("below", ["", "Std dev,240,3.1\n"])
def test_totals_that_have_a_time_are_no_readings(label, below):
    readings = read(f"{REMARKS}{label},240,222.8\n{below}")
    assert readings.supply_current_a.tolist() == AMPS
    assert f"row 6 ('{label}') is no reading: not used" in readings.notes


def test_a_remark_that_is_no_total_keeps_its_reading():
    readings = read(REMARKS + "max load applied,240,44.0\n")
    assert readings.supply_current_a.tolist() == [*AMPS, 44.0]
    assert readings.events[0].text == "max load applied"


def test_only_so_many_rows_are_totals():
    assert len(read(PLAIN + 12 * "Total,1\n")) == 4
    text = PLAIN + 13 * "Total,1\n"
    with pytest.raises(InputError, match="row 6, column 'Time \\(s\\)': 'Total' is not"):
        read(text)


# The first row


@pytest.mark.parametrize("first", ["0,OL", "0,", "0,---", "0,n/a"])
@pytest.mark.parametrize("second", ["", "60,OL\n"])
def test_a_first_row_without_a_current_is_no_header(first, second):
    rows = f"{first}\n{second}120,33.4\n180,27.9\n240,23.3\n"
    text = f"Time (s),Amps\n{rows}"
    assert foreign_table(text.encode(), "log.csv").header_row == 1
    assert read(text).elapsed_s.tolist() == [120.0, 180.0, 240.0]


# Units in a column of their own


def with_units(*units, values=(48.2, 20.1, 950, 700), header="Unit"):
    rows = [f"{60 * k},{v},{u}\n" for k, (v, u) in enumerate(zip(values, units, strict=True))]
    return f"Time (s),Current,{header}\n" + "".join(rows)


@pytest.mark.parametrize("header", ["Unit", "Units", "Einheit", "Range", "U/M"])
def test_units_of_each_row_are_taken(header):
    text = with_units("A", "A", "mA", "mA", header=header)
    assert read(text).supply_current_a.tolist() == [48.2, 20.1, 0.95, 0.7]


@pytest.mark.parametrize("micro", ["uA", "µA", "μA"])
def test_a_small_unit_in_one_row_is_taken(micro):
    readings = read(with_units("A", "A DC", "mA", micro))
    assert readings.supply_current_a.tolist() == [48.2, 20.1, 0.95, 0.0007]


@pytest.mark.parametrize("unit", ["", "-", "mA"])
def test_no_value_needs_no_unit(unit):
    readings = read(with_units("A", unit, "mA", "mA", values=(48.2, "OL", 950, 700)))
    assert readings.supply_current_a.tolist() == [48.2, 0.95, 0.7]


@pytest.mark.parametrize(
    ("unit", "said"),
    [
        ("", "row 3, column 'Current': '20.1' has no unit beside it where other rows have one"),
        ("-", "row 3, column 'Current': '20.1' has no unit beside it where other rows have one"),
        ("Ohm", "row 3, column 'Current': '20.1 Ohm' is not a number in A"),
        ("kA", "row 3, column 'Current': '20.1 kA' is not a number in A"),
    ],
)
def test_a_value_without_its_unit_is_refused(unit, said):
    with pytest.raises(InputError) as caught:
        read(with_units("A", unit, "mA", "mA"))
    assert said in str(caught.value)


@pytest.mark.parametrize(
    "text",
    [
        with_units("60 A", "60 A", "600 mA", "600 mA", values=(48, 20, 90, 70), header="Range"),
        "Time (s),Unit,Current\n0,mA,48\n60,mA,20\n120,mA,9\n180,mA,4\n",
    ],
)
def test_units_that_cannot_be_joined_leave_a_doubt(text):
    (doubt,) = doubts(text)
    assert "'Current' as supply current [A] is not sure" in doubt
    assert "says" in doubt
    told = guess_columns(text.encode(), "log.csv", ["Current=supply_current_a:mA"])
    assert told.is_sure
