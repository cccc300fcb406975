"""What a guess must not be sure of: places, clocks, counts and dates that may be something else."""

import pytest

from batterymodel.errors import InputError
from batterymodel.inputs.column_guess import SAMPLE_ROWS, Sureness
from batterymodel.inputs.foreign import guess_columns, readings_from_foreign

AMPS = (48.2, 40.1, 33.4, 27.9, 23.3)


def guesses(header, rows):
    """The guesses for a table of text, by header."""
    text = "\n".join([header, *(";".join(map(str, row)) for row in rows)]) + "\n"
    found = guess_columns(text.encode(), "log.csv")
    return {guess.column.header: guess for guess in found.columns}


def beside_a_time(header, values=AMPS):
    return guesses(f"t [s];{header}", enumerate(values))[header]


def of_times(header, values):
    return guesses(f"{header};Amps", zip(values, AMPS, strict=False))[header]


def taken(guess):
    return f"{guess.column.quantity} {guess.column.unit}".strip()


# Currents and temperatures of other places


@pytest.mark.parametrize(
    "header",
    [
        "Stromzange (A)",
        "Zange (A)",
        "Pince (A)",
        "pinza [A]",
        "Tongs current (A)",
        "Clampmeter (A)",
        "Laststrom (A)",
        "Avionics amps",
        "Gen Amps",
        "Inverter current",
        "Leakage current",
        "Current B+ (A)",
        "Shunt current (A)",
        "Bus amps",
        "Ammeter",
        "Current x1000 A",
        "Current (A) RMS",
    ],
)
def test_a_current_with_a_word_that_is_not_known_is_asked_for(header):
    guess = beside_a_time(header)
    assert taken(guess) == "supply_current_a A"
    assert guess.sureness is Sureness.UNSURE


@pytest.mark.parametrize(
    "header", ["Amp hours", "Amp-hours (Ah)", "Ah", "Charge [Ah]", "Volt amps", "Power (kW)"]
)
def test_a_charge_or_a_power_is_no_current(header):
    assert taken(beside_a_time(header)) == "ignored"
    beside = guesses(f"t [s];{header};Amps", [(k, a, a) for k, a in enumerate(AMPS)])
    assert beside["Amps"].sureness is Sureness.SURE


@pytest.mark.parametrize(
    ("header", "sure"),
    [
        ("Supply current (A)", True),
        ("Ground supply amps", True),
        ("Mean current [A]", True),
        ("Current 2 (A)", True),
        ("CH1 (A)", True),
        ("Battery clamp (A)", True),
        ("Battery current, spare (A)", False),
    ],
)
def test_known_words_leave_no_doubt(header, sure):
    assert (beside_a_time(header).sureness is Sureness.SURE) == sure


@pytest.mark.parametrize(
    ("header", "column", "sure"),
    [
        ("Battery temp (C)", "battery_temp_c degC", True),
        ("Battery °C", "battery_temp_c degC", True),
        ("Battery ℉", "battery_temp_c degF", True),
        ("Battery cell temp (C)", "battery_temp_c degC", True),
        ("Battery bay temp (C)", "battery_temp_c degC", False),
        ("Battery charger temp (C)", "battery_temp_c degC", False),
        ("Battery case temp (C)", "battery_temp_c degC", False),
        ("Ship temp (C)", "battery_temp_c degC", False),
        ("Battery temp limit (C)", "ignored", True),
        ("Ambient temp (C)", "ignored", True),
    ],
)
def test_a_temperature_is_the_battery_s_own_only_where_all_words_say_so(header, column, sure):
    guess = beside_a_time(header, (20, 21, 22))
    assert taken(guess) == column
    assert (guess.sureness is Sureness.SURE) == sure


@pytest.mark.parametrize(
    ("header", "units"),
    [
        ("Battery temp (°C/°F)", "degC and degF"),
        ("Battery temp °F [°C]", "degC and degF"),
        ("Battery temp F (°C)", "degC and degF"),
        ("Current mA A", "A and mA"),
        ("Current (A/mA)", "A and mA"),
        ("Battery current A (mA)", "A and mA"),
        ("Voltage mV/V", "V and mV"),
    ],
)
def test_two_units_in_a_header_are_asked_for(header, units):
    guess = beside_a_time(header, (20000, 21000) if "A (mA)" in header else (20, 21, 22))
    assert guess.column.quantity != "ignored"
    assert guess.sureness is Sureness.UNSURE
    if "likely" not in guess.why:
        assert guess.why == f"names two units: {units}"


@pytest.mark.parametrize(
    ("header", "values"),
    [("Amps (mA)", (20000, 21000)), ("Volts [mV]", (28000, 28100)), ("Current (A)", (20, 21))],
)
def test_a_name_that_is_a_unit_is_no_second_one(header, values):
    assert beside_a_time(header, values).sureness is Sureness.SURE


@pytest.mark.parametrize(
    "header",
    [
        "Current (0.1 A)",
        "Current (0,1 A)",
        "Current (10 A)",
        "Current [10A]",
        "Current 10 A",
        "Current 10A",
        "Current A x10",
        "Current x10 (A)",
        "Current *10 (A)",
        "Current 10x (A)",
        "Current (A) /10",
        "Current (A) ×10",
        "Supply amps 0.1 A",
        "Current (1 mV = 1 A)",
        "Battery current (0.01 A)",
    ],
)
def test_a_scale_in_a_header_is_asked_for(header):
    guess = beside_a_time(header, (62, 55, 50))
    if guess.column.quantity != "ignored":
        assert guess.sureness is Sureness.UNSURE
    assert guess.column.quantity != "ignored" or "mV" in header


def test_a_few_numbers_among_texts_are_asked_for():
    header = "Battery temp (C)"
    cells = [(k, a, "cold") for k, a in enumerate(AMPS)]
    assert taken(guesses(f"t [s];Amps;{header}", cells)[header]) == "ignored"
    guess = guesses(f"t [s];Amps;{header}", [*cells, (5, 19.5, 56)])[header]
    assert guess.sureness is Sureness.UNSURE
    assert guess.why == "most of its cells are no numbers"


def test_values_between_the_rows_that_are_looked_at_are_seen():
    rows = 2 * SAMPLE_ROWS
    temps = ["", *["56" if k % 2 else "" for k in range(1, rows)]]
    assert taken(beside_a_time("Battery temp (C)", temps)) == "battery_temp_c degC"


def test_a_cell_s_unit_is_not_that_of_cells_without_one():
    guess = beside_a_time("Current", ("48.2", "20.1", "950 mA", "700 mA"))
    assert guess.sureness is Sureness.UNSURE
    assert guess.why == "some of its cells say mA, others no unit"
    assert beside_a_time("Current (A)", ("48.2", "950 mA")).sureness is Sureness.SURE


# Clocks in two parts


@pytest.mark.parametrize(
    ("header", "first", "step", "column", "sure"),
    [
        ("Time (m:ss)", (5, 0), 60, "elapsed_s min:s", True),
        ("Time [mm:ss]", (5, 0), 60, "elapsed_s min:s", True),
        ("Time (min)", (5, 0), 60, "elapsed_s min:s", True),
        ("Time (h:mm)", (5, 0), 60, "time clock", True),
        ("Time (h)", (5, 0), 60, "time clock", True),
        ("Elapsed (h:mm)", (0, 0), 5, "elapsed_s h:min:s", True),
        ("Time (hh:mm:ss)", (5, 0), 60, "time clock", False),
        ("Time", (5, 0), 60, "time clock", False),
        ("Time", (10, 0), 15, "time clock", False),
        ("Time", (10, 0), 14, "time clock", True),
        ("Time of day", (10, 0), 15, "time clock", True),
        ("Uhrzeit", (0, 0), 60, "time clock", True),
    ],
)
def test_hours_and_minutes_or_minutes_and_seconds(header, first, step, column, sure):
    at = [60 * first[0] + first[1] + step * k for k in range(5)]
    guess = of_times(header, [f"{a // 60}:{a % 60:02}" for a in at])
    assert taken(guess) == column
    assert (guess.sureness is Sureness.SURE) == sure


def test_three_parts_below_a_header_of_two_are_asked_for():
    guess = of_times("Time (m:ss)", ["5:00:00", "6:00:00", "7:00:00"])
    assert guess.sureness is Sureness.UNSURE


@pytest.mark.parametrize(
    ("times", "sure"),
    [
        (["10:00:00", "10:01:00", "9:02:00", "9:03:00"], False),
        (["23:59:00", "0:00:00", "0:01:00"], True),
        (["10:02:00", "10:01:00", "10:00:00"], True),
    ],
)
def test_a_clock_that_goes_back_is_asked_for(times, sure):
    assert (of_times("Time", times).sureness is Sureness.SURE) == sure


TWELVE = ["12:58", "12:59", "1:00", "1:01"]


def test_a_clock_of_twelve_hours_goes_on_from_twelve_to_one():
    rows = "\n".join(f"{at};{a}" for at, a in zip(TWELVE, AMPS, strict=False))
    content = f"Time;Amps\n{rows}\n".encode()
    guess = guess_columns(content, "log.csv")
    assert guess.is_sure
    readings = readings_from_foreign(content, "log.csv", guess.column_map)
    assert readings.elapsed_s.tolist() == [0.0, 60.0, 120.0, 180.0]
    assert readings.supply_current_a.tolist() == list(AMPS[:4])
    assert "a clock of 12 hours begins anew at row 4" in readings.notes


def test_rows_that_go_back_past_one_are_read_too():
    rows = "\n".join(f"{at};{a}" for at, a in zip(TWELVE[::-1], AMPS, strict=False))
    content = f"Time of day;Amps\n{rows}\n".encode()
    readings = readings_from_foreign(
        content, "log.csv", guess_columns(content, "log.csv").column_map
    )
    assert readings.elapsed_s.tolist() == [0.0, 60.0, 120.0, 180.0]


@pytest.mark.parametrize("between", [";", " "])
def test_beside_a_date_a_clock_of_twelve_hours_is_refused(between):
    rows = "\n".join(f"2026-03-04{between}{at};9" for at in TWELVE)
    content = f"Date{';Time' if between == ';' else ''};Amps\n{rows}\n".encode()
    guess = guess_columns(content, "log.csv")
    with pytest.raises(InputError, match=r"row 4.* a clock of 12 hours; 13:00, or am and pm"):
        readings_from_foreign(content, "log.csv", guess.column_map)


@pytest.mark.parametrize("am", ["AM", "p.m."])
def test_a_clock_that_says_which_half_is_no_clock_of_twelve(am):
    content = f"Time;Amps\n12:58 {am};9\n12:59 {am};8\n1:00 {am};7\n".encode()
    readings = readings_from_foreign(
        content, "log.csv", guess_columns(content, "log.csv").column_map
    )
    assert readings.elapsed_s.tolist() == [0.0, 60.0, 120.0]


# Rivals


@pytest.mark.parametrize(
    ("unsure", "taken_column"),
    [
        ("Ground power amps", "DC current (A)"),
        ("Bus amps", "Current (A)"),
        ("Shunt voltage (V)", "Voltage (V)"),
        ("Battery charger temp (C)", "Battery temp (C)"),
        ("Current (A)", "DC current (A)"),
        ("Ground power max amps", "Mean current (A)"),
        ("Battery bay current (A)", "Battery current (A)"),
        ("Interval (s)", "Time (s)"),
    ],
)
@pytest.mark.parametrize("turned", [False, True])
def test_a_rival_makes_both_a_question(unsure, taken_column, turned):
    headers = [unsure, taken_column][:: -1 if turned else 1]
    found = guesses(";".join(headers), [(a, a) for a in AMPS[1:]])
    assert [found[header].sureness for header in headers] == [Sureness.UNSURE] * 2
    taken_ones = [header for header in headers if found[header].column.quantity != "ignored"]
    assert len(taken_ones) == 1


def test_a_rival_of_what_a_person_told_is_no_question():
    rows = "".join(f"{k};{a};{a}\n" for k, a in enumerate(AMPS))
    content = f"t [s];Ground power amps;DC current (A)\n{rows}".encode()
    choices = ["Ground power amps=supply_current_a:A"]
    assert guess_columns(content, "log.csv", choices).is_sure


def test_the_air_is_no_rival_of_the_battery():
    found = guesses("t [s];T1 (C);Battery temp (C)", [(k, 20, 21) for k in range(5)])
    assert found["Battery temp (C)"].sureness is Sureness.SURE
    assert taken(found["T1 (C)"]) == "ignored"


# Counts


@pytest.mark.parametrize(
    ("header", "values"),
    [
        ("Time (min interval 60)", (0, 60, 120)),
        ("Time s (5 min avg)", (0, 60, 120)),
        ("Time (1/10 s)", (0, 600, 1200)),
        ("Interval (s)", (5, 5, 5)),
        ("Time to full (min)", (9, 8, 7)),
        ("Min", (9, 8, 7)),
    ],
)
def test_a_count_of_something_else_is_asked_for(header, values):
    assert of_times(header, values).sureness is Sureness.UNSURE


@pytest.mark.parametrize("header", ["Minutes;Seconds", "Elapsed (min);Elapsed (s)"])
def test_seconds_beside_minutes_are_not_dropped_unasked(header):
    first, second = header.split(";")
    rows = [(k // 2, 30 * (k % 2), a) for k, a in enumerate(AMPS)]
    found = guesses(f"{header};Amps", rows)
    assert found[first].sureness is Sureness.UNSURE
    assert found[first].why == f"may be '{second}' as well"


# Dates


@pytest.mark.parametrize(
    ("header", "day", "column", "sure"),
    [
        ("When", "26-04-03", "time ymd", False),
        ("When", "26/11/25", "time dmy", False),
        ("When", "03/17/26", "time mdy", True),
        ("When", "17.03.26", "time dmy", True),
        ("When", "2026-04-03", "time ymd", True),
        ("When (yy-mm-dd)", "26-04-03", "time ymd", True),
        ("When (dd-mm-yy)", "26-04-03", "time dmy", True),
        ("When (dd/mm/yyyy)", "03/04/2026", "time dmy", True),
        ("When (mm/dd/yyyy)", "03/04/2026", "time mdy", True),
    ],
)
def test_the_order_of_a_date(header, day, column, sure):
    found = guesses(f"{header};Amps", [(f"{day} 10:0{k}", a) for k, a in enumerate(AMPS)])[header]
    assert taken(found) == column
    assert (found.sureness is Sureness.SURE) == sure


def test_a_year_of_two_figures_may_come_first():
    rows = "\n".join(f"26-04-03 10:0{k};{a}" for k, a in enumerate(AMPS))
    content = f"When;Amps\n{rows}\n".encode()
    told = guess_columns(content, "log.csv", ["When=time:ymd"])
    readings = readings_from_foreign(content, "log.csv", told.column_map)
    assert readings.started_at.isoformat() == "2026-04-03T10:00:00"
