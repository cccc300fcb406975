"""Workbooks (xlsx): the same readings come back, and nothing hostile gets through."""

import io
import zipfile
from datetime import datetime, time, timedelta

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel.errors import InputError
from batterymodel.inputs import tables, workbook
from batterymodel.inputs.foreign import guess_columns, readings_from_foreign
from batterymodel.inputs.foreign_table import foreign_table
from tests.inputs.foreign_dialects import DIALECTS, rows_of
from tests.inputs.test_foreign import assert_same, samples
from tests.sparing import examples

START = datetime(2026, 3, 17, 23, 59, 55)


def book_of(*sheets):
    """The bytes of a workbook with these sheets, each a list of rows."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for rows in sheets:
        sheet = book.create_sheet()
        for row in rows:
            sheet.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def read(content):
    guess = guess_columns(content, "log.xlsx")
    assert guess.doubts == ()
    return readings_from_foreign(content, "log.xlsx", guess.column_map)


@pytest.mark.long
@given(st.integers(0, 11), DIALECTS)
@examples(25)
def test_a_sample_in_a_workbook_comes_back_equal(which, dialect):
    rows = rows_of(samples()[which], dialect)
    assert_same(read(book_of([], rows)), samples()[which])


@pytest.mark.parametrize(
    ("header", "cells", "started_at"),
    [
        ("Time", [START + timedelta(seconds=5 * k) for k in range(3)], START),
        ("Time", [time(23, 59, 55), time(0, 0, 0), time(0, 0, 5)], None),
        ("Elapsed", [timedelta(seconds=5 * k) for k in range(3)], None),
    ],
)
def test_times_of_a_workbook(header, cells, started_at):
    rows = [[header, "Amps"], *zip(cells, (18.3, 18.25, 17.5), strict=True)]
    readings = read(book_of(rows))
    assert readings.elapsed_s.tolist() == [0.0, 5.0, 10.0]
    assert readings.supply_current_a.tolist() == [18.3, 18.25, 17.5]
    assert readings.started_at == started_at


@pytest.mark.parametrize(
    ("header", "pattern", "column", "sure"),
    [
        ("Time", "h:mm", "time clock", False),
        ("Time", "[$-409]h:mm;@", "time clock", False),
        ("Time", "h:mm:ss", "time clock", True),
        ("Time", "h:mm AM/PM", "time clock", True),
        ("Time (mm:ss)", "h:mm", "elapsed_s min:s", True),
        ("Time of day", "h:mm", "time clock", True),
        ("Elapsed", "[h]:mm", "elapsed_s min:s", False),
        ("Elapsed", "[h]:mm:ss", "elapsed_s h:min:s", True),
        ("Time", "mm:ss", "time clock", True),
    ],
)
def test_a_time_is_taken_as_it_is_shown(header, pattern, column, sure):
    book = openpyxl.Workbook()
    book.active.append([header, "Amps"])
    for k, amps in enumerate((18.3, 18.25, 17.5)):
        book.active.append([timedelta(minutes=30 * k), amps])
        book.active.cell(k + 2, 1).number_format = pattern
    buffer = io.BytesIO()
    book.save(buffer)
    guess = guess_columns(buffer.getvalue(), "log.xlsx")
    assert f"{guess.columns[0].column.quantity} {guess.columns[0].column.unit}" == column
    assert guess.is_sure == sure


def test_a_day_beside_a_time_of_day():
    rows = [["Date", "Time", "Amps"]]
    rows += [[START.date(), time(10, 0, 5 * k), 18.5 - k] for k in range(3)]
    assert read(book_of(rows)).started_at == datetime(2026, 3, 17, 10)


def test_rows_keep_the_numbers_of_the_sheet():
    rows = [["Logger 7"], [], ["t [s]", "I (A)"], [], [0, 18.5], [5, "abc"], [10, 17.5], [15, 16]]
    content = book_of([], rows, [["other"]])
    guess = guess_columns(content, "log.xlsx")
    with pytest.raises(InputError) as caught:
        readings_from_foreign(content, "log.xlsx", guess.column_map)
    assert str(caught.value).startswith("log.xlsx: row 6, column 'I (A)': 'abc' is not a number")
    assert "sheet 'Sheet1' is read, 1 after it not" in foreign_table(content, "x").remarks.notes


# Limits


def test_what_unpacks_to_too_much_is_refused_before_it_is_unpacked(monkeypatch):
    content = book_of([["t [s]", "I (A)"], *([k, 18.5] for k in range(5))])
    with zipfile.ZipFile(io.BytesIO(content)) as parts:
        infos = parts.infolist()
    size = sum(part.file_size for part in infos)
    monkeypatch.setattr(workbook, "MOST_UNPACKED_BYTES", size)
    assert len(read(content)) == 5
    monkeypatch.setattr(workbook, "MOST_UNPACKED_BYTES", size - 1)
    with pytest.raises(InputError, match="unpacks to more than"):
        read(content)
    monkeypatch.setattr(workbook, "MOST_UNPACKED_BYTES", size)
    monkeypatch.setattr(workbook, "MOST_PARTS", len(infos) - 1)
    with pytest.raises(InputError, match="unpacks to more than"):
        read(content)


def test_a_bomb_of_zeros_is_refused_at_once():
    assert workbook.MOST_UNPACKED_BYTES == 64 * 1024 * 1024
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("xl/worksheets/sheet1.xml", b"0" * (workbook.MOST_UNPACKED_BYTES + 1))
    with pytest.raises(InputError, match="unpacks to more than 64 MB"):
        guess_columns(buffer.getvalue(), "log.xlsx")


def test_too_many_rows_are_refused(monkeypatch):
    content = book_of([["t [s]", "I (A)"], *([k, 18.5] for k in range(9))])
    monkeypatch.setattr(workbook, "MAX_ROWS", 9)
    assert len(read(content)) == 9
    monkeypatch.setattr(workbook, "MAX_ROWS", 8)
    with pytest.raises(InputError, match="more than 8 rows"):
        read(content)


def test_texts_over_the_limits_of_the_readers_are_refused(monkeypatch):
    content = b"t [s];I (A)\n" + b"0;1\n" * 3 + b"9;1"
    for name, limit in (("MAX_ROWS", 2), ("MAX_BYTES", len(content) - 1)):
        with monkeypatch.context() as patch:
            patch.setattr(tables, name, limit)
            with pytest.raises(InputError, match=r"more than 2 rows|too large"):
                guess_columns(content, "log.csv")


def test_more_columns_than_are_read_are_refused():
    for count, refused in ((200, False), (201, True)):
        names = ["t [s]", "I (A)", *(f"x{k}" for k in range(count - 2))]
        rows = "".join(";".join(["1"] * count) + "\n" for _ in range(3))
        content = (";".join(names) + "\n" + rows).encode()
        if refused:
            with pytest.raises(InputError, match="has 201 columns; at most 200"):
                guess_columns(content, "log.csv")
        else:
            assert len(guess_columns(content, "log.csv").columns) == 200


@given(st.data())
def test_a_damaged_workbook_is_an_input_error(data):
    content = bytearray(WHOLE)
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(4, len(content) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.sampled_from([len(content), len(content) // 2]))
    try:
        read_anyhow(bytes(content[:cut]))
    except InputError as error:
        said = error.faults
    else:
        said = ()
    assert all(fault.startswith("log.xlsx: ") for fault in said)


def read_anyhow(content):
    guess = guess_columns(content, "log.xlsx")
    readings_from_foreign(content, "log.xlsx", guess.column_map)


WHOLE = book_of([["t [s]", "I (A)"], *([k, 18.5] for k in range(5))])


def test_an_old_workbook_is_named():
    with pytest.raises(InputError, match=r"in an old format; save it as \.xlsx"):
        guess_columns(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 100, "log.xls")
