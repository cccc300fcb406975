"""Charts of the record as specifications: what is drawn, under which titles, in which words."""

from datetime import date
from functools import cache

import numpy as np
import pytest

from batterymodel import InputError, read_battery
from batterymodel.capacity.check import CapacityResult, TimedDischarge, capacity_check
from batterymodel.charts.record import (
    TaperSignature,
    _at_x,
    discharge_chart,
    discharge_words,
    fade_chart,
    fade_words,
    tapers_chart,
    tapers_words,
)
from batterymodel.fade.forecast import FadeForecast, fade_forecast
from batterymodel.inputs.check_record import checks_from_bytes
from batterymodel.inputs.discharge_log import read_discharge_log
from batterymodel.samples.connections import SAMPLE_FOLDER
from batterymodel.samples.discharges import CHECKS_FADING, DISCHARGE_PASSES, DISCHARGE_STOPPED


def battery(key="worn-battery"):
    return read_battery(SAMPLE_FOLDER / f"{key}.toml")


@cache
def forecast(key="worn-battery") -> FadeForecast:
    return fade_forecast(SAMPLE_FOLDER / CHECKS_FADING, battery(key))


@cache
def discharge(name=DISCHARGE_PASSES, key="worn-battery") -> CapacityResult:
    return capacity_check(read_discharge_log(SAMPLE_FOLDER / name), battery(key))


def layers(spec):
    return {layer["name"]: layer for layer in spec["layer"]}


def rows(spec, name):
    data = layers(spec)[name].get("data", spec.get("data"))
    return spec["datasets"][data["name"]]


def titles(spec, axis):
    channels = (layer["encoding"].get(axis, {}) for layer in spec["layer"])
    return {channel["title"] for channel in channels if "title" in channel}


def tapers():
    t = np.linspace(0.0, 3600.0, 100)
    days = (
        (date(2026, 1, 5), 2.0, 0.2),
        (date(2026, 7, 5), 28.0, 0.5),
        (date(2026, 8, 1), None, 0.4),
    )
    return tuple(TaperSignature(on, temp, t, a * np.exp(-t / 1200.0)) for on, temp, a in days)


class TestFade:
    def test_axes_carry_units(self):
        spec = fade_chart(forecast()).to_dict()
        assert titles(spec, "x") == {"Date (year)"}
        assert titles(spec, "y") == {"Capacity (Ah)"}

    def test_everything_is_drawn(self):
        spec = fade_chart(forecast()).to_dict()
        assert set(layers(spec)) == {
            "checks", "errors", "trend", "trend continued", "range", "limit", "limit label",
            "crossing", "crossing label", "crossing span",
        }  # fmt: skip
        assert len(rows(spec, "checks")) == 9
        assert rows(spec, "limit")[0]["capacity"] == 34.0

    def test_trend_is_continued_from_the_last_check(self):
        spec = fade_chart(forecast()).to_dict()
        past, ahead = rows(spec, "trend"), rows(spec, "trend continued")
        assert past[-1] == ahead[0]
        assert past[-1]["at"].startswith("2025-05-28")

    def test_the_limit_lies_inside_the_axis(self):
        """Also where capacity is far above it."""
        spec = fade_chart(forecast()).to_dict()
        limit = rows(spec, "limit")[0]["capacity"]
        for layer in spec["layer"]:
            domain = layer["encoding"].get("y", {}).get("scale", {}).get("domain")
            assert domain is None or domain[0] < limit < domain[1]

    def test_generic_limit_is_marked(self):
        own = rows(fade_chart(forecast()).to_dict(), "limit")[0]["label"]
        bare = rows(fade_chart(forecast("no-card-no-load")).to_dict(), "limit")[0]["label"]
        assert "generic" not in own
        assert "generic" in bare

    def test_words_stand_in_for_the_chart(self):
        words = fade_words(forecast())
        assert "9 values from 2020-03-16 to 2025-05-28" in words
        assert "34.0 Ah" in words
        assert fade_chart(forecast()).to_dict()["description"] == words

    def test_by_cycle(self):
        text = "cycle,capacity_ah\n" + "".join(f"{k},{40 - k / 10}\n" for k in range(1, 40, 5))
        found = fade_forecast(checks_from_bytes(text.encode(), "c.csv"), battery())
        assert titles(fade_chart(found).to_dict(), "x") == {"Cycle (number)"}

    def test_without_a_crossing_in_view_none_is_drawn(self):
        text = "on,capacity_ah,capacity_sd_ah\n" + "".join(
            f"{2018 + k}-01-01,40,0.2\n" for k in range(7)
        )
        found = fade_forecast(checks_from_bytes(text.encode(), "c.csv"), battery())
        assert found.crossing.best is None
        assert "crossing" not in layers(fade_chart(found).to_dict())


class TestDischarge:
    def test_axes_carry_units(self):
        spec = discharge_chart(discharge()).to_dict()
        assert titles(spec, "x") == {"Time under load (min)"}
        assert titles(spec, "y") == {"Battery voltage (V)"}

    def test_end_is_marked_only_where_it_was_reached(self):
        assert "end" in layers(discharge_chart(discharge()).to_dict())
        stopped = discharge(DISCHARGE_STOPPED)
        assert "end" not in layers(discharge_chart(stopped).to_dict())
        assert "was not reached" in discharge_words(stopped)

    def test_generic_end_voltage_is_marked(self):
        bare = discharge(key="no-card-no-load")
        assert "generic" in rows(discharge_chart(bare).to_dict(), "end voltage")[0]["label"]

    def test_a_timed_check_has_no_curve(self):
        timed = capacity_check(TimedDischarge(40.0, 50.0), battery(), temp_c=25.0)
        with pytest.raises(InputError, match="no curve"):
            discharge_chart(timed)


class TestTapers:
    def test_axes_carry_units_and_each_taper_its_day_and_temperature(self):
        spec = tapers_chart(tapers()).to_dict()
        assert titles(spec, "x") == {"Time since connection (min)"}
        assert titles(spec, "y") == {"Battery current over capacity (A/Ah)"}
        names = {row["taper"] for row in rows(spec, "tapers")}
        assert names == {
            "1. 2026-01-05, 2 °C", "2. 2026-07-05, 28 °C", "3. 2026-08-01, temperature not given",
        }  # fmt: skip

    def test_lines_differ_by_dash_as_well_as_colour(self):
        encoding = layers(tapers_chart(tapers()).to_dict())["tapers"]["encoding"]
        dashes = encoding["strokeDash"]["scale"]["range"]
        assert len({tuple(dash) for dash in dashes}) == 3

    def test_currents_at_or_below_zero_are_left_out(self):
        t = np.arange(0.0, 600.0, 60.0)
        flat = TaperSignature(date(2026, 1, 1), 20.0, t, np.where(t > 300.0, -0.01, 0.2))
        drawn = rows(tapers_chart((flat,)).to_dict(), "tapers")
        assert all(row["flow"] > 0.0 for row in drawn)

    def test_words_and_nothing_to_draw(self):
        assert "3 tapers." in tapers_words(tapers())
        with pytest.raises(InputError, match="no tapers"):
            tapers_chart(())


def test_one_value_is_said_as_one():
    found = forecast()
    curves = found.curves.model_copy(update={"check_at": found.curves.check_at[:1]})
    words = fade_words(found.model_copy(update={"curves": curves}))
    assert f" 1 value of {found.first}." in words


@pytest.mark.parametrize(("years", "said"), [(1.9, {"Date (month)"}), (2.1, {"Date (year)"})])
def test_a_chart_of_less_than_two_years_has_ticks_at_months(years, said):
    at = np.array([0.0, years / 0.15])  # one check: 15 % of the horizon is drawn
    told = {"at": at, "check_at": at[:1], "last_check_at": 0.0, "crossing_at": None}
    short = forecast().curves.model_copy(update=told)
    assert {_at_x(short).to_dict()["title"]} == said
