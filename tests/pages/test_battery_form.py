"""The battery form: what goes in comes out, and what cannot be right is said in a sentence."""

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from batterymodel.errors import InputError
from batterymodel.inputs.records import Battery, Chemistry, LastKnown, Limits, record_toml
from batterymodel.pages import battery_form
from batterymodel.samples.connections import SCENARIO_DAY, load_scenario

BY_KEY = {sample.key: sample for sample in load_scenario()[0]}
BATTERY = Battery(tail="OWN-1", chemistry=Chemistry.VRLA, cells=12, rated_capacity_ah=40.0)


@pytest.mark.parametrize("name", BY_KEY)
def test_form_gives_back_the_battery_put_into_it(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    battery = BY_KEY[name].battery
    assert through_form(battery, monkeypatch) == battery


def test_form_gives_back_every_entry(monkeypatch: pytest.MonkeyPatch) -> None:
    battery = BATTERY.model_copy(
        update={
            "installed_on": SCENARIO_DAY,
            "last_known": LastKnown(on=SCENARIO_DAY, state_of_charge=0.07, sd=0.035),
            "limits": Limits(
                document="D",
                min_top_off_soc=0.555,
                capacity_check_interval_days=90,
                rest_voltage_soc=(0.07, 0.555, 1.0),
                rest_voltage_v=(23.1, 24.55, 25.8),
                capacity_temp_c=(-10.0, 25.0),
                capacity_temp_factor=(0.75, 1.0),
                discharge_minutes=(30.0, 60.0),
                discharge_current_a=(68.0, 40.0),
            ),
        }
    )
    assert through_form(battery, monkeypatch) == battery


def through_form(battery: Battery, monkeypatch: pytest.MonkeyPatch) -> Battery | None:
    monkeypatch.setattr(st, "session_state", {})
    battery_form.fill(battery)
    return battery_form.entered()[0]


def show_an_old_battery() -> None:
    import datetime

    from batterymodel.inputs.records import Battery, CapacityCheck
    from batterymodel.pages import battery_form

    old = Battery(
        tail="OLD",
        chemistry="vrla",
        cells=12,
        rated_capacity_ah=40.0,
        installed_on=datetime.date(1999, 5, 4),
        capacity_check=CapacityCheck(on=datetime.date(1960, 1, 1), capacity_ah=39.0),
    )
    battery_form.fill(old)
    battery_form.show_record()
    assert battery_form.entered()[0] == old


def test_days_of_long_ago_are_shown() -> None:
    at = AppTest.from_function(show_an_old_battery).run(timeout=30)
    assert not at.exception
    shown = [str(entry.value) for entry in at.date_input]
    assert "1999-05-04" in shown
    assert "1960-01-01" in shown


def test_form_has_every_entry_of_the_record() -> None:
    fields = {(f.table, f.name) for f in battery_form.FIELDS}
    tables, by_the_record = ("limits", "history", "capacity_check", "last_known"), {"kind"}
    plain = set(Battery.model_fields) - set(tables) - by_the_record
    assert {name for t, name in fields if not t} == plain
    for table in tables:
        annotation = Battery.model_fields[table].annotation
        kind = next(k for k in getattr(annotation, "__args__", (annotation,)) if k is not None)
        assert {name for t, name in fields if t == table} == set(kind.model_fields)


def test_battery_bytes_that_are_not_text() -> None:
    with pytest.raises(InputError, match=r"own\.toml: is not a text file"):
        battery_form.battery_from_bytes(b"\xff\xfe\x00", "own.toml")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a = " + "[" * 100_000 + "]" * 100_000, "nested too deep"),
        ("rated_capacity_ah = " + "9" * 5000, "too many digits"),
        ("tail = ", "not valid TOML"),
    ],
    ids=["deep", "digits", "no-toml"],
)
def test_battery_bytes_that_are_no_plain_toml(text: str, said: str) -> None:
    with pytest.raises(InputError, match=rf"^own\.toml: .*{said}"):
        battery_form.battery_from_bytes(text.encode(), "own.toml")


def test_battery_bytes_with_mark_and_windows_line_ends() -> None:
    text = "\ufeff" + record_toml(BATTERY).replace("\n", "\r\n")
    assert battery_form.battery_from_bytes(text.encode(), "own.toml") == BATTERY


def field(name: str) -> battery_form.Field:
    return next(f for f in battery_form.FIELDS if f.name == name)


def filled(monkeypatch: pytest.MonkeyPatch, **entries: object) -> None:
    """A form with the plate of `BATTERY` and some more entries."""
    monkeypatch.setattr(st, "session_state", {})
    battery_form.fill(BATTERY)
    for name, entry in entries.items():
        st.session_state[field(name).key] = entry


def test_incomplete_form_names_what_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    filled(monkeypatch, chemistry=None, rated_capacity_ah=None)
    assert battery_form.entered() == (None, ("Chemistry", "Rated capacity (Ah)"))


def test_blank_label_is_no_error(monkeypatch: pytest.MonkeyPatch) -> None:
    filled(monkeypatch, tail="  ")
    battery, _ = battery_form.entered()
    assert battery == BATTERY.model_copy(update={"tail": battery_form.NO_LABEL})


@pytest.mark.parametrize(
    ("entries", "said"),
    [
        ({"rest_voltage_v": "24.4, full"}, "Rest voltage at each charge: numbers like 24.4"),
        ({"rest_voltage_v": "24.4 25.0"}, "'Charge in the rest voltage table' has 0 values"),
        ({"rest_voltage_soc": "50 100", "rest_voltage_v": "25.0 24.4"}, "must both rise"),
        ({"rated_capacity_ah": -1.0}, "Rated capacity: at least 0.5 Ah (given: -1 Ah)"),
        ({"charge_temp_min_c": 20.0, "charge_temp_max_c": 10.0}, "must be below"),
        (
            {"capacity_ah": 39.0},
            "Day of the last check: needed beside 'Capacity at the last check'",
        ),
    ],
    ids=["words", "half-a-table", "falling", "negative", "window", "no-day"],
)
def test_entry_that_cannot_be_right_is_named(
    entries: dict[str, object], said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    filled(monkeypatch, **entries)
    with pytest.raises(InputError, match=r"^['A-Z]") as error:
        battery_form.entered()
    assert said in str(error.value)
    assert "_" not in str(error.value)
