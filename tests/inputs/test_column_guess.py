"""What columns are taken for: by header, by values, and on both sides of every deciding value."""

import pytest

from batterymodel.errors import InputError
from batterymodel.inputs.cell_values import (
    clock_s,
    date_order,
    decimal_mark,
    duration_s,
    moment_of,
    number_of,
)
from batterymodel.inputs.column_guess import Sureness
from batterymodel.inputs.column_map import (
    Column,
    ColumnMap,
    Quantity,
    header_fingerprint,
    map_from_json,
)
from batterymodel.inputs.foreign import guess_columns


def guess_of(header, *values, rest="t [s]", mark="."):
    """The guess for one column beside a time."""
    rows = "".join(f"{k};{value}\n" for k, value in enumerate(values))
    content = f"{rest};{header}\n{rows}".encode()
    return guess_columns(content, "log.csv", decimal=mark).columns[1]


def taken(header, *values):
    guess = guess_of(header, *values)
    return str(guess.column.quantity), guess.column.unit, guess.sureness is Sureness.SURE


@pytest.mark.parametrize(
    ("header", "quantity", "unit"),
    [
        ("Amps", "supply_current_a", "A"),
        ("Supply A", "supply_current_a", "A"),
        ("Current (DC)", "supply_current_a", "A"),
        ("Current (bat.) [A]", "battery_current_a", "A"),
        ("Current [A] (battery)", "battery_current_a", "A"),
        ("Current (ship)", "battery_current_a", "A"),
        ("DC current (A)", "supply_current_a", "A"),
        ("Output Current/A", "supply_current_a", "A"),
        ("Intensité [A]", "supply_current_a", "A"),
        ("BattCurrent", "battery_current_a", "A"),
        ("Ship's battery amps", "battery_current_a", "A"),
        ("Ladestrom", "battery_current_a", "A"),
        ("Bus load [A]", "load_a", "A"),
        ("Bus V", "supply_voltage_v", "V"),
        ("V", "supply_voltage_v", "V"),
        ("CH2 [V]", "supply_voltage_v", "V"),
        ("Tensión", "supply_voltage_v", "V"),
        ("Battery °C", "battery_temp_c", "degC"),
        ("Battery [°C]", "battery_temp_c", "degC"),
        ("Batt temp degF", "battery_temp_c", "degF"),
        ("T batt (C)", "battery_temp_c", "degC"),
        ("Channel A", "ignored", ""),
        ("Sample", "ignored", ""),
        ("Power [W]", "ignored", ""),
        ("Ambient temp [°C]", "ignored", ""),
        ("Voltage limit [V]", "ignored", ""),
        ("Mains voltage [V]", "ignored", ""),
    ],
)
def test_headers_that_leave_no_doubt(header, quantity, unit):
    assert taken(header, 25, 24, 23) == (quantity, unit, True)


@pytest.mark.parametrize(
    ("header", "values", "column", "why"),
    [
        ("Temp", (20, 20, 21), "battery_temp_c degC", "no unit"),
        ("Temp [°C]", (20, 20, 21), "battery_temp_c degC", "the air's"),
        ("Clamp current", (20, 19, 18), "supply_current_a A", "battery's lead"),
        ("Current max [A]", (20, 19, 18), "supply_current_a A", "extreme"),
        ("Current [A AC]", (20, 19, 18), "supply_current_a A", "'ac'"),
        ("Amps (min)", (20, 19, 18), "supply_current_a A", "'min'"),
        ("Amps (max)", (20, 19, 18), "supply_current_a A", "'max'"),
        ("Set current [A]", (20, 19, 18), "supply_current_a A", "'set'"),
        ("Current [kA]", (20, 19, 18), "supply_current_a A", "'kA' is no unit"),
        ("AC current [A]", (20, 19, 18), "supply_current_a A", "'ac'"),
        ("Amps", (20_000, 19_000, 18_000), "supply_current_a mA", "mA would be likely"),
        ("Current [mA]", (20, 19, 18), "supply_current_a A", "A would be likely"),
        ("Voltage [V]", (120, 119, 120), "supply_voltage_v V", "5 to 100 V"),
    ],
)
def test_what_leaves_a_doubt_says_why(header, values, column, why):
    guess = guess_of(header, *values)
    assert guess.sureness is Sureness.UNSURE
    assert f"{guess.column.quantity} {guess.column.unit}" == column
    assert why in guess.why


# Deciding values


@pytest.mark.parametrize(
    ("header", "value", "unit", "sure"),
    [
        ("Current", 100, "A", True),
        ("Current", 101, "A", False),
        ("Current", 2000, "A", False),
        ("Current", 2001, "mA", True),
        ("Current [A]", 300, "A", True),
        ("Current [A]", 301, "A", False),
        ("Current [A]", 2001, "mA", False),
        ("Current [mA]", 200, "mA", True),
        ("Current [mA]", 199, "A", False),
        ("Voltage", 5, "V", True),
        ("Voltage", 4.9, "V", False),
        ("Voltage", 100, "V", True),
        ("Voltage", 101, "V", False),
        ("Voltage", 4999, "V", False),
        ("Voltage", 5000, "mV", True),
        ("Voltage", 100_000, "mV", True),
        ("Voltage", 100_001, "mV", False),
        ("Battery temp", 200, "degC", False),
        ("Battery temp", 201, "K", True),
    ],
)
def test_units_by_size(header, value, unit, sure):
    assert taken(header, value, value, value)[1:] == (unit, sure)


@pytest.mark.parametrize(
    ("header", "values", "column", "sure"),
    [
        ("Time", ("04:00", "04:01", "04:02"), "time clock", True),
        ("Time", ("03:59", "04:00", "04:01"), "time clock", False),
        ("Time [mm:ss]", ("03:59", "04:00", "04:01"), "elapsed_s min:s", True),
        ("Time [hh:mm]", ("03:59", "04:00", "04:01"), "time clock", True),
        ("Time", ("3:59 AM", "4:00 AM", "4:01 AM"), "time clock", True),
        ("s", (0, 5, 10), "elapsed_s s", True),
        ("Clock", ("00:01", "00:02", "00:03"), "time clock", True),
        ("Elapsed", ("25:10", "25:20", "25:30"), "elapsed_s min:s", True),
        ("Elapsed", ("5:10", "5:20", "5:30"), "elapsed_s min:s", False),
        ("Elapsed time", ("0:00:10", "0:00:20", "0:00:30"), "elapsed_s h:min:s", True),
        ("Time", (0, 5, 10), "elapsed_s s", False),
        ("Time [min]", (0, 5, 10), "elapsed_s min", True),
        ("Time [min]", (10, 5, 0), "elapsed_s min", True),
        ("Time [min]", (0, 5, 5), "elapsed_s min", True),
        ("Sec", (0, 55, 5), "elapsed_s s", False),
        ("Time", (500_000_001, 500_000_002, 500_000_003), "time unix_s", True),
        ("Time", (499_999_999, 500_000_002, 500_000_003), "elapsed_s s", False),
        ("Time", (4_999_999_998, 4_999_999_999, 4_999_999_999), "time unix_s", True),
        ("Time", (4_999_999_998, 5_000_000_000, 5_000_000_000), "elapsed_s s", False),
        ("Time", (1.8e12, 1.8e12, 1.8e12), "time unix_ms", True),
        ("When", ("02.03.2026 10:00", "02.03.2026 10:01"), "time dmy", True),
        ("When", ("02/03/2026 10:00", "02/03/2026 10:01"), "time dmy", False),
        ("When", ("02/13/2026 10:00", "02/13/2026 10:01"), "time mdy", True),
        ("When", ("2026-03-02T10:00:00Z", "2026-03-02T10:01:00Z"), "time ymd", True),
        ("Day", ("02.03.2026", "02.03.2026"), "date dmy", True),
    ],
)
def test_kinds_of_time(header, values, column, sure):
    guess = guess_of(header, *values, rest="I [A]")
    assert f"{guess.column.quantity} {guess.column.unit}" == column
    assert (guess.sureness is Sureness.SURE) == sure


def test_two_columns_for_one_quantity_leave_a_doubt_until_one_is_told():
    content = b"t [s];I1 (A);I2 (A)\n0;5;1\n1;5;1\n2;5;1\n"
    assert guess_columns(content, "log.csv").unsure[0].why == "may be 'I2 (A)' as well"
    told = guess_columns(content, "log.csv", ["i2=supply_current_a"])
    assert told.is_sure
    assert [c.quantity for c in told.column_map.columns] == [
        "elapsed_s",
        "ignored",
        "supply_current_a",
    ]
    both = guess_columns(content, "log.csv", ["I1=battery_current_a:A", "I2=supply_current_a:A"])
    assert both.is_sure


def test_a_mean_is_taken_before_an_extreme():
    content = b"t [s];Current max [A];Current avg [A]\n0;5;1\n1;5;1\n2;5;1\n"
    guess = guess_columns(content, "log.csv")
    assert guess.is_sure
    assert guess.column_map.columns[2].quantity is Quantity.SUPPLY_CURRENT


@pytest.mark.parametrize(
    ("choice", "said"),
    [
        ("Amps", "is not told like"),
        ("Amps=power", "is not told like"),
        ("Amps=supply_current_a:V", "is in no unit of supply_current_a: one of A, mA"),
        ("Time=time", "needs a way of writing: one of clock, ymd"),
        ("Watts=ignored", "'Watts' is no column of the table; it has 't [s]', 'Amps'"),
    ],
)
def test_a_choice_that_does_not_fit_is_one_sentence(choice, said):
    with pytest.raises(InputError) as caught:
        guess_columns(b"t [s];Amps\n0;5\n1;5\n2;5\n", "log.csv", [choice])
    assert said in str(caught.value)


def test_a_choice_twice_is_refused():
    content = b"t [s];I1;I2\n0;5;1\n1;5;1\n2;5;1\n"
    for choices in (["I1=load_a", "I1=ignored"], ["I1=load_a", "I2=load_a"]):
        with pytest.raises(InputError, match=r"told twice|both told"):
            guess_columns(content, "log.csv", choices)


# Cells


@pytest.mark.parametrize(
    ("text", "mark", "value"),
    [
        ("1.018,3 mA", ",", (1018.3, "mA")),
        ("1 234,5", ",", (1234.5, "")),
        ("1'234.5", ".", (1234.5, "")),
        ("1,234,567", ".", (1234567.0, "")),
        ("−3", ".", (-3.0, "")),
        ("1.2E+01", ".", (12.0, "")),
        ("12.5 °F", ".", (12.5, "degF")),
        ("0.123", ",", None),
        ("12,34", ".", None),
        ("1,234.567,8", ".", None),
        ("12 Ah", ".", None),
        ("٣", ".", None),
    ],
)
def test_numbers_as_written(text, mark, value):
    assert number_of(text, mark) == value


@pytest.mark.parametrize(
    ("texts", "mark", "sure"),
    [
        (["12,5"], ",", True),
        (["12.5"], ".", True),
        (["12,500"], ",", False),
        (["12.500"], ".", True),
        (["0,123"], ",", True),
        (["1,234,567"], ".", True),
        (["1.234,5"], ",", True),
        (["12,5", "12,6", "12.5"], ",", True),
        (["12,5", "12.5"], ".", False),
        ([], ".", True),
    ],
)
def test_decimal_marks(texts, mark, sure):
    assert decimal_mark(texts) == (mark, sure)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("14:02", 50520.0),
        ("2:02:00 p.m.", 50520.0),
        ("12:00 AM", 0.0),
        ("12:00 pm", 43200.0),
        ("11:59:59,5 PM", 86399.5),
        ("13:00 PM", None),
        ("24:00", None),
        ("1:60", None),
    ],
)
def test_times_of_day(text, seconds):
    assert clock_s(text) == seconds


def test_durations_and_moments_that_are_none():
    assert duration_s("90:30", "min:s") == 5430.0
    assert duration_s("0:90", "min:s") is None
    assert duration_s("1:02:03", "min:s") is None
    assert moment_of("30.02.2026 10:00", "dmy") is None
    assert moment_of("2026-03-02", "ymd") is None
    assert date_order(["02.03.2026", "x"]) is None


# The map as a value


def test_a_map_goes_to_json_and_back_under_the_header_s_key():
    content = b"Time;Amps [mA]\n14:02:00;18300\n14:02:05;18200\n14:02:10;18100\n"
    column_map = guess_columns(content, "log.csv").column_map
    document = column_map.model_dump_json()
    assert map_from_json(document) == column_map
    key = guess_columns(content, "log.csv").fingerprint
    assert key == header_fingerprint(["time ", "AMPS [ma]"])
    assert key != header_fingerprint(["Time", "Amps [A]"])
    assert len(document) < 500
    for bad in ("", "{}", "[" * 100_000, document.replace("mA", "V"), document + " " * 200_000):
        with pytest.raises(InputError, match="cannot be read"):
            map_from_json(bad)


def test_a_map_takes_no_quantity_and_no_header_twice():
    amps = Column(header="A", quantity=Quantity.LOAD, unit="A")
    for other in (amps, Column(header="B", quantity=Quantity.LOAD, unit="mA")):
        with pytest.raises(ValueError, match="there twice"):
            ColumnMap(columns=(amps, other))
