"""Units that only the format of a workbook's cells shows."""

import io

import openpyxl
import pytest

from batterymodel.inputs.cell_formats import with_shown_unit
from batterymodel.inputs.foreign import guess_columns, readings_from_foreign

AMPS = (48.2, 40.1, 33.4, 27.9)


def book_of(header, values, pattern):
    """A workbook of times, currents and one column in a format."""
    book = openpyxl.Workbook()
    sheet = book.active
    beside = "Counter" if header == "Current" else "Current (A)"
    sheet.append(["Time (s)", beside, header])
    for k, value in enumerate(values):
        sheet.append([10 * k, AMPS[k], value])
        sheet.cell(k + 2, sheet.max_column).number_format = pattern
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("value", "pattern", "shown"),
    [
        (91.6, '0.0" mA"', "91.6 mA"),
        (91.6, "0.0\\ \\m\\A", "91.6 mA"),
        (91.6, '#,##0.0" mA";[Red]-#,##0.0" mA"', "91.6 mA"),
        (-91.6, '0.0" mA";0.0" A"', "-91.6 A"),
        (0.25, "0%", "25 %"),
        (0.001, "0.0%", "0.1 %"),
        (77, '0.0"°F"', "77 °F"),
        (77, "0.0[$°F-409]", "77 °F"),
        (48200, '0.0,"A"', "48.2 A"),
        (950, '[<1000]0" mA";0.0,"A"', "950 mA"),
        (48200, '[<1000]0" mA";0.0," A"', "48.2 A"),
        (12.5, 'General" V"', "12.5 V"),
        (12.5, '"I = "0.0', "I = 12.5"),
        (91.6, "General", "91.6"),
        (91.6, "0.00", "91.6"),
        (91.6, "#,##0.0_ ;[Red]-#,##0.0\\ ", "91.6"),
        (91.6, "0.00E+00", "91.6"),
        (91.6, "", "91.6"),
        (91.6, '[>=1;]]"', "91.6"),
    ],
)
def test_what_a_format_shows_beside_a_number(value, pattern, shown):
    assert with_shown_unit(str(value), value, pattern) == shown


@pytest.mark.parametrize(
    ("header", "values", "pattern", "quantity", "first"),
    [
        ("Current", (916, 762, 635, 530), '0" mA"', "supply_current_a", 0.916),
        ("Battery temp C", (77, 77, 77, 77), '0.0"°F"', "battery_temp_c", 25.0),
        ("Voltage", (28100, 28100, 28100, 28100), '0" mV"', "supply_voltage_v", 28.1),
        ("Load (A)", (8, 8, 8, 8), '0.0" A"', "load_a", 8.0),
    ],
)
def test_a_unit_of_the_format_is_the_values_own(header, values, pattern, quantity, first):
    content = book_of(header, values, pattern)
    guess = guess_columns(content, "log.xlsx")
    column_map = guess.column_map
    assert quantity in [column.quantity for column in column_map.columns]
    readings = readings_from_foreign(content, "log.xlsx", column_map)
    assert getattr(readings, quantity)[0] == pytest.approx(first, rel=1e-12)


@pytest.mark.parametrize("pattern", ["0%", '0.0" x10 A"', '0.0" %"', '0.0" steps"'])
def test_a_format_that_shows_no_unit_of_a_current_gives_no_sure_one(pattern):
    content = book_of("Current", (0.25, 0.3, 0.35, 0.4), pattern)
    assert not guess_columns(content, "log.xlsx").is_sure


def test_a_load_in_percent_is_no_current():
    content = book_of("Load", (0.25, 0.3, 0.35, 0.4), "0%")
    guess = guess_columns(content, "log.xlsx")
    assert guess.columns[2].column.quantity == "ignored"
