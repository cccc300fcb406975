"""Names of columns over several rows, and what else above the values casts a doubt on them."""

import pytest

from batterymodel.errors import InputError
from batterymodel.inputs.column_guess import Sureness
from batterymodel.inputs.foreign import guess_columns, readings_from_foreign

AMPS = (26.0, 25.4, 24.9, 24.3)


def table(heading, columns=3, separator=";"):
    rows = [[f"{5 * k}", f"{a}", *["50"] * (columns - 2)] for k, a in enumerate(AMPS)]
    return "\n".join([heading, *(separator.join(row) for row in rows)]) + "\n"


def guess_of(text):
    return guess_columns(text.encode(), "log.csv")


def is_sure_supply(guess):
    """Whether a column is taken as the supply current without a question."""
    return any(
        g.column.quantity == "supply_current_a" and g.sureness is Sureness.SURE
        for g in guess.columns
    )


@pytest.mark.parametrize("unit", ["%", "Ah", "W", "bool", "on/off", "Volts DC", "pcs", "[%]"])
@pytest.mark.parametrize("name", ["Battery current", "Alternator current"])
def test_a_row_of_units_with_an_unknown_one_leaves_the_names_above_it(unit, name):
    guess = guess_of(table(f"Time;{name};State\ns;A;{unit}"))
    assert guess.columns[1].column.header == f"{name} [A]"
    assert guess.columns[0].column.header == "Time [s]"
    assert not is_sure_supply(guess)


@pytest.mark.parametrize(
    ("heading", "current"),
    [
        ("#;Time;Battery current\n;s;A", "Battery current [A]"),
        ("Time;Battery current;Temp\ns;A;degC\nraw;mean;mean", "Battery current [A] mean"),
        ("s;A;%\nTime;Battery current;State", "Battery current [A]"),
        ("Time (s);Battery;\n;I;U", "Battery I"),
        ("Time;Battery current;Relay state\n\ns;A;%", "Battery current [A]"),
        ("Time;Battery;Battery\nseconds;current;state", "Battery current"),
    ],
)
def test_names_over_several_rows_are_joined(heading, current):
    guess = guess_of(table(heading))
    assert current in [g.column.header for g in guess.columns]
    assert not is_sure_supply(guess)


@pytest.mark.parametrize("header", ["A", "mA", "[A]", "A 2"])
def test_a_bare_unit_is_asked_for(header):
    guess = guess_of(table(f"t [s];{header}", 2))
    assert guess.columns[1].column.quantity == "supply_current_a"
    assert guess.columns[1].sureness is Sureness.UNSURE


@pytest.mark.parametrize(
    ("heading", "columns"),
    [
        (";Battery;Supply\nTime [s];Current (A);Voltage (V)", ["Battery Current (A)", "battery"]),
        (";Alternator;\nTime [s];Current (A);Voltage (V)", ["Alternator Current (A)", "unsure"]),
        (";Battery;\nTime [s];A;V", ["Battery [A]", "battery"]),
        (";Gearbox;\nTime [s];Current (A);Voltage (V)", ["Gearbox Current (A)", "unsure"]),
        (";Supply;Battery\nTime [s];Current (A);Temp (°C)", ["Supply Current (A)", "supply"]),
    ],
)
def test_a_group_is_part_of_the_names_beneath_it(heading, columns):
    header, kind = columns
    guess = guess_of(table(heading)).columns[1]
    assert guess.column.header == header
    if kind == "unsure":
        assert guess.sureness is Sureness.UNSURE
    else:
        assert guess.column.quantity == f"{kind}_current_a"
        assert guess.sureness is Sureness.SURE


@pytest.mark.parametrize(
    "above",
    [
        "Battery",
        "Battery;;",
        ";;Battery",
        "Sensor: clamp around battery lead",
        "# Sensor: clamp around battery lead",
        "Channel;alternator",
        "Currents in mA",
        "Unit: mA",
        "Range [mA];high",
        "Measured quantity: power",
    ],
)
def test_what_stands_above_the_header_may_make_a_current_unsure(above):
    guess = guess_of(table(f"{above}\nTime [s];Current (A);Voltage (V)"))
    assert not is_sure_supply(guess)
    assert [g.column.quantity for g in guess.columns][1] == "supply_current_a"


@pytest.mark.parametrize(
    ("above", "header"),
    [
        ("Operator;J. Doe", "Current (A)"),
        ("Operator: V. Doe", "Current (mA)"),
        ("Range;60 A", "Current (mA)"),
        ("Ground supply, run 3", "Current (A)"),
        ("A test of the logger", "Current (mA)"),
        ("Battery: 24 V, 40 Ah", "Supply current (A)"),
        ("# invented values", "Current (A)"),
    ],
)
def test_what_else_stands_above_the_header_leaves_no_doubt(above, header):
    values = table(f"{above}\nTime [s];{header};Voltage (V)")
    values = values.replace(".", "00.") if "mA" in header else values
    assert is_sure_supply(guess_of(values))


def test_a_group_of_units_above_another_temperature_unit_is_asked_for():
    guess = guess_of(table("Temperatures in °F\nTime [s];Current (A);Battery temp (°C)"))
    assert guess.columns[2].sureness is Sureness.UNSURE


@pytest.mark.parametrize("again", ["Time;Battery current;Supply current", "s;A;A"])
def test_the_header_again_further_down_is_told(again):
    text = table("Time;Battery current;Supply current\ns;A;A") + f"{again}\n20;24;50\n"
    with pytest.raises(InputError, match="row 7: is the header of row 1 again"):
        readings_from_foreign(text.encode(), "log.csv", guess_of(text).column_map)
