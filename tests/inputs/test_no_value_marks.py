"""Numbers that loggers write for no value: left out with a note where sure, else told as such."""

import numpy as np
import pytest

from batterymodel.errors import InputError
from batterymodel.inputs.discharge_log import discharge_log_from_bytes
from batterymodel.inputs.foreign import guess_columns, readings_from_foreign
from batterymodel.inputs.readings import checked_value, readings_from_bytes

AMPS = ["48.2", "40.1", "33.4", "27.9", "24.0", "22.5"]


def own(amps, name="supply_current_a"):
    beside = "" if name == "supply_current_a" else ",supply_current_a"
    lines = [f"{10 * k},{a}{beside and ',20'}" for k, a in enumerate(amps)]
    text = "\n".join([f"elapsed_s,{name}{beside}", *lines, ""])
    return readings_from_bytes(text.encode(), "log.csv")


def foreign(amps, header):
    lines = [f"14:02:{10 * k:02};{a};20.5" for k, a in enumerate(amps)]
    content = "\n".join([f"Time;{header};Amps", *lines, ""]).encode()
    guess = guess_columns(content, "log.csv")
    return readings_from_foreign(content, "log.csv", guess.column_map)


@pytest.mark.parametrize("mark", ["-9999", "9999", "32767", "-32768", "65535", "-999"])
def test_a_mark_for_no_value_is_left_out_and_said(mark):
    readings = own([*AMPS, mark, mark])
    assert readings.supply_current_a.tolist() == [float(amps) for amps in AMPS]
    said = f"column 'supply_current_a': 2 cells left out, for {mark} is a logger's mark for no"
    assert any(note.startswith(said) and "(rows 8 and 9)" in note for note in readings.notes)


@pytest.mark.parametrize(
    ("header", "mark", "cells"),
    [
        ("Battery temp (°F)", "-9999", ["70.1", "70.3", "70.9", "71", "71.2"]),
        ("Battery current [mA]", "-2147483648", ["8100", "8000", "7900", "7800", "7700"]),
        ("Volts", "32767", ["28.1", "28.1", "28", "28", "28"]),
    ],
)
def test_marks_are_known_by_what_is_written_not_by_what_it_converts_to(header, mark, cells):
    readings = foreign([*cells[:2], mark, *cells[2:]], header)
    columns = (readings.battery_temp_c, readings.battery_current_a, readings.supply_voltage_v)
    column = next(column for column in columns if column is not None)
    assert np.isnan(column).tolist() == [False, False, True, False, False, False]
    said = f"column '{header}': 1 cell left out, for {mark} is a logger's mark for no value (row 4)"
    assert said in readings.notes


@pytest.mark.parametrize(
    ("header", "mark", "cells"),
    [
        ("Volts [mV]", "-32768", ["28100", "28100", "28000", "28000", "28000"]),
        ("Bus load [mA]", "-9999", ["0", "8000", "8000", "8000", "0"]),
        ("Battery temp (K)", "-999", ["290", "290", "291", "291", "291"]),
    ],
)
def test_a_mark_that_alone_is_negative_need_not_be_larger_than_the_others(header, mark, cells):
    readings = foreign([*cells[:2], mark, *cells[2:]], header)
    said = f"column '{header}': 1 cell left out, for {mark} is a logger's mark for no value (row 4)"
    assert said in readings.notes
    with pytest.raises(InputError):
        foreign(["-1", *cells[1:2], mark, *cells[2:]], header)


@pytest.mark.parametrize("sign", ["", "-"])
@pytest.mark.parametrize("name", ["supply_current_a", "battery_current_a", "load_a"])
def test_nines_are_marks_of_a_current_where_they_stand_twice_among_far_smaller_ones(name, sign):
    said = f"column '{name}': 2 cells left out, for {sign}999 is a logger's mark for no value"
    readings = own([*AMPS, f"{sign}999.0", f"{sign}999"], name)
    assert any(note.startswith(said) for note in readings.notes)


def test_a_current_of_999_is_read_where_it_stands_once_or_among_others_as_large():
    for amps in ([*AMPS, "999"], ["999", "999", "200", "150", "120"], [*AMPS, "998", "998"]):
        assert own(amps).supply_current_a.tolist() == [float(a) for a in amps]


def test_a_constant_that_no_logger_is_known_for_is_told_once_and_named():
    with pytest.raises(InputError, match="no value, here and in row 9; leave such cells empty"):
        own([*AMPS, "-7777", "-7777"])
    with pytest.raises(InputError) as caught:
        own([*AMPS, "-7777", "-7777", "-7777", "-7777", "-7777", "-7777"])
    told = "row 8, column 'supply_current_a': -7777 looks like a logger's mark for no value, here "
    assert str(caught.value) == (
        f"log.csv: {told}and in rows 9, 10, 11 and 2 more; leave such cells empty, or leave the "
        "column out"
    )


def test_marks_in_more_than_half_of_the_cells_are_for_a_person_to_judge():
    temps = ["21", "21", "21", "-9999", "-9999", "-9999"]
    assert np.nanmax(own(temps, "battery_temp_c").battery_temp_c) == 21.0
    for cells in (["21", "21", "-9999", "-9999", "-9999"], ["-9999"] * 4):
        with pytest.raises(InputError, match="-9999 looks like a logger's mark for no value, here"):
            own(cells, "battery_temp_c")


@pytest.mark.parametrize(
    "amps",
    [
        ["18300", "18300", "18200", "17900"],
        ["2100", "2100", "1900", "1800"],
        ["9999", "9999", "2001", "1900"],
        [*AMPS, "7777"],
    ],
)
def test_milliamperes_and_slips_are_no_marks(amps):
    with pytest.raises(InputError, match="looks like milliamperes"):
        own(amps)


def test_a_mark_five_times_above_all_others_is_one_and_below_is_none():
    assert len(own(["1999.8", "1999", "1998", "1997", "9999"]).elapsed_s) == 4
    with pytest.raises(InputError, match="looks like milliamperes"):
        own(["1999.9", "1999", "1998", "1997", "9999"])


def test_reversed_leads_are_no_marks():
    with pytest.raises(InputError, match="meter leads reversed"):
        own(["-20", "-20", "-19", "-18"])


@pytest.mark.parametrize(("value", "said"), [(9999.0, True), (9998.0, False), (-999.0, True)])
def test_a_single_mark_that_is_out_of_bounds_is_called_one(value, said):
    with pytest.raises(InputError) as caught:
        checked_value("supply_current_a", value, "reading")
    assert ("is a meter's mark for no value" in str(caught.value)) == said


MILLIAMPS = ["48200", "40100", "33400", "27900", "24000", "22500"]


def milliamps(*cells, header="Current [mA]"):
    lines = [f"14:02:{5 * k:02};{a}" for k, a in enumerate(cells)]
    return "\n".join([f"Time;{header}", *lines, ""]).encode()


def guessed(content):
    return guess_columns(content, "log.csv")


@pytest.mark.parametrize(
    ("mark", "read"), [("999", "0.999"), ("9999", "9.999"), ("99999", "99.999"), ("-999", "-0.999")]
)
@pytest.mark.parametrize("place", [1, 3, 6])
def test_a_mark_that_may_be_a_value_is_asked_about_and_then_said(mark, read, place):
    content = milliamps(*MILLIAMPS[:place], mark, *MILLIAMPS[place:])
    said = (
        f"{mark} in row {place + 2} may be {read} A, or a logger's mark for no value: leave such "
        "cells empty then"
    )
    (why,) = guessed(content).doubts
    assert said in why
    readings = readings_from_foreign(content, "log.csv", guessed(content).column_map)
    assert readings.supply_current_a[place] == float(read)
    assert f"column 'Current [mA]', read as values: {said}" in readings.notes


@pytest.mark.parametrize(
    "cells",
    [
        ("1098", "1050", "999", "960", "940"),
        ("1200", "1098", "999", "1098", "1200"),
        (*MILLIAMPS[:3], "32767", *MILLIAMPS[3:]),
        (*MILLIAMPS[:3], "999 mA", *MILLIAMPS[3:]),
        (*MILLIAMPS[:3], "998", *MILLIAMPS[3:]),
    ],
)
def test_a_mark_that_the_readings_pass_or_that_names_its_unit_is_a_value(cells):
    content = milliamps(*cells)
    assert guessed(content).is_sure
    readings = readings_from_foreign(content, "log.csv", guessed(content).column_map)
    assert not any("read as values" in note for note in readings.notes)


def test_a_possible_mark_a_tenth_from_its_neighbours_is_asked_about():
    assert not guessed(milliamps("1200", "1100", "999", "1100", "1200")).is_sure
    assert guessed(milliamps("1200", "1098", "999", "1098", "1200")).is_sure


def test_what_a_person_told_of_the_column_is_not_asked_again():
    content = milliamps(*MILLIAMPS, "999", "999")
    told = guess_columns(content, "log.csv", ["Current [mA]=supply_current_a:mA"])
    assert told.is_sure
    notes = readings_from_foreign(content, "log.csv", told.column_map).notes
    assert any("999 in rows 8 and 9 may be 0.999 A" in note for note in notes)


def test_a_discharge_log_has_marks_too():
    lines = [f"{600 * k},40,{24 - 0.5 * k},20" for k in range(8)]
    text = "elapsed_s,discharge_current_a,battery_voltage_v,battery_temp_c\n" + "\n".join(lines)
    log = discharge_log_from_bytes(f"{text}\n4300,39.9,20.1,-9999\n".encode(), "d.csv")
    assert np.isnan(log.temp_c).sum() == 1
    assert any("1 cell left out, for -9999" in note for note in log.notes)
