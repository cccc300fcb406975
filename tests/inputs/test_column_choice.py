"""What a person is asked about columns, and what the answers make of it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel.errors import InputError
from batterymodel.inputs.column_choice import (
    answered_guess,
    column_words,
    options_for,
    preview_table,
    questions_of,
    settled_guess,
)
from batterymodel.inputs.column_map import UNITS, Column, ColumnMap, Quantity
from batterymodel.inputs.foreign import guess_columns, readings_from_foreign
from batterymodel.inputs.temperature_unit import TemperatureUnit

TEXT = b"t [s];Amps;Temp;Note\n0;18,3;68;\n5;17,9;68;on\n10;17,5;69;\n"
A_QUANTITY = st.sampled_from([(q, unit) for q, units in UNITS.items() for unit in units])


def guess_of(text=TEXT):
    return guess_columns(text, "log.csv")


def answers(**changes):
    taken = {g.column.header: g.column for g in guess_of().columns}
    for header, (quantity, unit) in changes.items():
        taken[header] = Column(header=header, quantity=quantity, unit=unit)
    return list(taken.values())


def test_only_what_is_not_sure_is_asked():
    questions = questions_of(guess_of())
    assert [q.guess.header for q in questions] == ["t [s]", "Amps", "Temp", "Note"]
    [asked] = [q for q in questions if q.is_asked]
    assert asked.guess.header == "Temp"
    assert "degC or degF" in asked.why
    assert [column_words(column) for column in asked.options] == [
        "battery temperature in °C",
        "battery temperature in °F",
        "battery temperature in kelvin",
        "not used",
    ]


def test_amperes_or_milliamperes_is_one_choice():
    [asked] = [q for q in questions_of(guess_of(b"t [s],I\n0,950\n5,900\n10,850\n")) if q.is_asked]
    words = [column_words(column) for column in asked.options]
    assert words[:2] == ["supply current in A", "supply current in mA"]
    assert "battery current in mA" in words
    assert not [word for word in words if "voltage" in word or "temperature" in word]


def test_the_order_of_a_date_is_said_in_words():
    text = (
        b"Date,Time,Amps\n03.04.2026,14:02:00,18\n03.04.2026,14:02:05,17\n03.04.2026,14:02:10,16\n"
    )
    guess = guess_of(text)
    assert guess.column_map.words.startswith("'Date' as date [day, month, year], ")
    options = [column_words(option) for option in questions_of(guess)[0].options[:3]]
    assert options == [
        "date as day, month, year",
        "time as year, month, day",
        "time as day, month, year",
    ]


@given(A_QUANTITY)
def test_the_guess_is_the_first_option_and_each_is_there_once(taken):
    quantity, unit = taken
    column = Column(header="X", quantity=quantity, unit=unit)
    every, likely = options_for(column, only_likely=False), options_for(column, only_likely=True)
    assert every[0] == likely[0] == column
    assert len(set(every)) == len(every) == sum(map(len, UNITS.values()))
    assert set(likely) <= set(every)
    assert Quantity.IGNORED in {option.quantity for option in likely}
    assert len({column_words(option) for option in every}) == len(every)


def test_answers_make_the_readings():
    guess = answered_guess(TEXT, "log.csv", answers(Temp=(Quantity.BATTERY_TEMP, "degF")), ",")
    assert guess.is_sure
    readings = readings_from_foreign(TEXT, "log.csv", guess.column_map)
    assert list(readings.battery_temp_c) == pytest.approx([20.0, 20.0, 20.5555555556])
    header, rows = preview_table(guess)
    assert header == [
        "time since the connection (s)",
        "supply current (A)",
        "battery temperature (°C)",
        "events",
    ]
    assert rows[1] == ["5", "17.9", "20", "on"]
    header, rows = preview_table(guess, TemperatureUnit.FAHRENHEIT)
    assert header[2] == "battery temperature (°F)"
    assert [row[2] for row in rows] == ["68", "68", "69"]


def test_two_columns_for_one_quantity_are_refused_in_a_sentence():
    twice = answers(Temp=(Quantity.SUPPLY_CURRENT, "A"))
    with pytest.raises(InputError, match=r"^'Amps' and 'Temp' are both taken as the supply curr"):
        answered_guess(TEXT, "log.csv", twice, ",")


def test_a_quantity_that_is_missing_is_named():
    lost = answers(Amps=(Quantity.IGNORED, ""))
    with pytest.raises(InputError, match="No column is taken as the supply current"):
        answered_guess(TEXT, "log.csv", lost, ",")


def test_what_was_confirmed_holds_for_the_next_file_with_the_header():
    confirmed = answered_guess(TEXT, "a.csv", answers(Temp=(Quantity.BATTERY_TEMP, "K")), ",")
    known = {confirmed.fingerprint: confirmed.column_map}
    other = TEXT.replace(b"Temp", b"TEMP").replace(b"17,9", b"17,8")
    found, is_remembered = settled_guess(other, "b.csv", guess_of(other), known.get)
    assert is_remembered
    assert found.is_sure
    assert [c.unit for c in found.column_map.columns] == ["s", "A", "K", "text"]
    assert [c.header for c in found.column_map.columns][2] == "TEMP"


@pytest.mark.parametrize(
    ("above", "is_asked"),
    [
        ("Log 8 of 4 March 2026\n", False),
        ("All values in mA\n", True),
        ("Clamp of the battery\n", True),
        ("Temperatures: °F\n", True),
    ],
)
def test_what_a_preamble_says_of_units_or_places_is_asked_about_anew(above, is_asked):
    logged = b"Log 7 of 3 March 2026\n" + TEXT
    confirmed = answered_guess(logged, "a.csv", answers(Temp=(Quantity.BATTERY_TEMP, "K")), ",")
    known = {confirmed.fingerprint: confirmed.column_map}
    assert confirmed.fingerprint == guess_of().fingerprint
    later = above.encode() + TEXT
    assert settled_guess(later, "b.csv", guess_of(later), known.get)[1] is not is_asked
    again = answered_guess(later, "b.csv", confirmed.column_map.columns, ",")
    known[again.fingerprint] = again.column_map
    assert settled_guess(later, "c.csv", guess_of(later), known.get)[1]


def test_nothing_is_remembered_for_another_header_or_the_own_format():
    known = {guess_of().fingerprint: ColumnMap(columns=())}
    assert not settled_guess(TEXT, "a.csv", guess_of(), known.get)[1]
    assert not settled_guess(TEXT, "a.csv", guess_of(), lambda _: None)[1]
    own = b"elapsed_s,supply_current_a\n0,18\n5,17\n10,16\n"
    assert not settled_guess(own, "own.csv", guess_of(own), known.get)[1]
