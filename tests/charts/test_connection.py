"""Charts as specifications: what is drawn, from which numbers, under which titles."""

import json
from functools import cache

import numpy as np
import pytest

from batterymodel.assessment import assess
from batterymodel.charts import connection as charts
from batterymodel.charts import style as chartstyle
from batterymodel.inputs.records import Readings
from batterymodel.rules.results import Assessment
from batterymodel.samples.connections import SCENARIO_DAY, load_scenario
from tests.conftest import assessed_sample
from tests.sparing import sparing

SAMPLES, SUPPLY = load_scenario()
KEYS = [sample.key for sample in SAMPLES]


@cache
def taper_spec(key: str) -> dict:
    return charts.taper_chart(assessed_sample(key)).to_dict()


@cache
def evidence_spec(key: str) -> dict:
    return charts.evidence_chart(assessed_sample(key)).to_dict()


def layers(spec: dict) -> dict[str, dict]:
    named = {layer["name"]: layer for layer in spec["layer"]}
    assert len(named) == len(spec["layer"])
    return named


def rows(spec: dict, name: str) -> list[dict]:
    return spec["datasets"][layers(spec)[name]["data"]["name"]]


def titles(spec: dict, axis: str) -> set[str]:
    channels = (layer["encoding"].get(axis, {}) for layer in spec["layer"])
    return {channel["title"] for channel in channels if "title" in channel}


def changed(key: str, **curves: object) -> Assessment:
    """The answer with some of its curves replaced."""
    result = assessed_sample(key)
    return result.model_copy(update={"curves": result.curves.model_copy(update=curves)})


@pytest.mark.parametrize("key", sparing(KEYS, every=2))
class TestEverySample:
    @pytest.mark.long
    def test_taper_axes_carry_units(self, key: str) -> None:
        clamped = key in ("rising-current-nicd", "completed-taper")
        assert titles(taper_spec(key), "x") == {"Time since connection (min)"}
        meter = "Battery" if clamped else "Supply"
        assert titles(taper_spec(key), "y") == {f"{meter} current (A)"}

    def test_evidence_axes_carry_units(self, key: str) -> None:
        assert titles(evidence_spec(key), "x") == {"State of charge at connection (%)"}
        assert titles(evidence_spec(key), "y") == {"Likelihood (relative)"}

    def test_one_layer_for_each_thing(self, key: str) -> None:
        curves = assessed_sample(key).curves
        expected = {"readings", "taper", "taper continued", "range", "load"}
        expected |= {"last reading", "last reading label"}
        if curves.limit_a is not None:
            expected |= {"limit span", "limit", "limit label"}
        for name, marked in (("marked steps", True), ("unmarked steps", False)):
            if any(m is marked for _, _, m in curves.steps):
                expected |= {name, f"{name} labels"}
        assert set(layers(taper_spec(key))) == expected

    def test_every_reading_is_drawn_where_it_was_read(self, key: str) -> None:
        curves = assessed_sample(key).curves
        drawn = rows(taper_spec(key), "readings")
        assert len(drawn) == curves.time_s.size
        minutes = [row["minutes"] for row in drawn]
        np.testing.assert_allclose(minutes, curves.time_s / 60.0, atol=1e-5)
        np.testing.assert_allclose([row["current_a"] for row in drawn], curves.current_a, atol=1e-5)
        assert [row["kind"] for row in drawn] == list(curves.role)

    def test_taper_is_dashed_from_where_it_was_read_to(self, key: str) -> None:
        spec, result = taper_spec(key), assessed_sample(key)
        read, ahead = rows(spec, "taper"), rows(spec, "taper continued")
        assert read[-1] == ahead[0]
        end = min(result.taper.window_s[1], float(result.curves.time_s[-1]))
        assert ahead[0]["minutes"] == pytest.approx(end / 60.0, abs=1e-4)
        assert ahead[-1]["minutes"] > result.curves.time_s[-1] / 60.0
        assert layers(spec)["taper"]["mark"]["strokeDash"] == [1, 0]
        assert layers(spec)["taper continued"]["mark"]["strokeDash"] != [1, 0]

    def test_range_holds_the_taper(self, key: str) -> None:
        curves = assessed_sample(key).curves
        for row, middle in zip(rows(taper_spec(key), "range"), curves.fit_a, strict=True):
            assert row["low_a"] - 1e-4 <= middle <= row["high_a"] + 1e-4

    def test_legend_names_all_that_is_drawn(self, key: str) -> None:
        shape = layers(taper_spec(key))["readings"]["encoding"]["shape"]["scale"]
        curves = assessed_sample(key).curves
        assert set(curves.role) | {"taper", "taper continued"} < set(shape["domain"])
        assert len(set(shape["range"])) >= len(set(curves.role)) + 3
        assert any(f"float current {curves.load_a[0]:.1f} A" in name for name in shape["domain"])

    def test_each_evidence_is_a_line_scaled_to_its_peak(self, key: str) -> None:
        spec, curves = evidence_spec(key), assessed_sample(key).curves
        assert set(layers(spec)) == set(curves.evidence) | {
            "combined edge", "key", "least", "least label"
        }  # fmt: skip
        for name, density in curves.evidence.items():
            drawn = np.array([row["likelihood"] for row in rows(spec, name)])
            assert drawn.max() == 1.0
            np.testing.assert_allclose(drawn, density / density.max(), atol=1e-5)

    def test_lines_differ_by_dash_and_by_colour(self, key: str) -> None:
        spec, curves = evidence_spec(key), assessed_sample(key).curves
        marks = [layers(spec)[name]["mark"] for name in curves.evidence if name != "combined"]
        assert len({tuple(mark["strokeDash"]) for mark in marks}) == len(marks)
        assert len({mark["color"] for mark in marks}) == len(marks)

    def test_least_charge_is_marked_and_labelled(self, key: str) -> None:
        (row,) = rows(evidence_spec(key), "least")
        percent = 100.0 * assessed_sample(key).curves.min_top_off_soc
        assert row == {"soc": percent, "label": f"least to top off in place: {percent:.0f} %"}

    def test_words_stand_in_for_the_charts(self, key: str) -> None:
        result = assessed_sample(key)
        assert taper_spec(key)["description"] == charts.taper_words(result)
        assert evidence_spec(key)["description"] == charts.evidence_words(result)
        assert f"{result.curves.time_s.size} readings" in charts.taper_words(result)
        for name in result.curves.evidence:
            shown = "all together" if name == "combined" else name
            assert f"{shown} " in charts.evidence_words(result)


def test_plateau_is_shaded_to_where_it_ended_and_labelled() -> None:
    (row,) = rows(taper_spec("supply-at-its-limit"), "limit")
    assert (row["minutes"], row["end"], row["current_a"]) == (0.0, 5.0, 60.0)
    assert row["label"] == "supply at its limit, 60 A"
    assert "at its limit to the last reading" in charts.taper_words(
        assessed_sample("supply-at-its-limit")
    )


def test_plateau_that_ended_says_when() -> None:
    result = changed("supply-at-its-limit", limit_end_s=90.0)
    (row,) = rows(charts.taper_chart(result).to_dict(), "limit span")
    assert row["end"] == 1.5
    assert "at its limit for 1.5 min" in charts.taper_words(result)


def test_marked_and_unmarked_steps_differ_by_dash_and_label() -> None:
    marked = layers(taper_spec("marked-load-steps"))["marked steps"]
    unmarked = layers(taper_spec("undeclared-load-step"))["unmarked steps"]
    assert marked["mark"]["strokeDash"] != unmarked["mark"]["strokeDash"]
    steps = rows(taper_spec("marked-load-steps"), "marked steps")
    assert [(row["minutes"], row["label"]) for row in steps] == [
        (2.0, "avionics on"),
        (4.0, "avionics off"),
    ]
    (step,) = rows(taper_spec("undeclared-load-step"), "unmarked steps")
    assert (step["minutes"], "not marked" in step["label"]) == (2.5, True)


def test_event_text_is_drawn_as_it_stands() -> None:
    text = '<b>pump</b> *on* "3" $x$'
    spec = charts.taper_chart(changed("healthy-top-off", steps=((60.0, text, True),))).to_dict()
    assert rows(spec, "marked steps")[0]["label"] == text


def test_roles_differ_by_shape_and_an_unknown_role_is_still_drawn() -> None:
    names = ["reading", "supply at its limit", "short transient", "current rising", "new role"]
    role = np.resize(np.array(names), assessed_sample("healthy-top-off").curves.time_s.size)
    spec = charts.taper_chart(changed("healthy-top-off", role=role)).to_dict()
    scale = layers(spec)["readings"]["encoding"]["shape"]["scale"]
    shape_of = dict(zip(scale["domain"], scale["range"], strict=True))
    assert len({shape_of[name] for name in names}) == len(names)


def test_current_axis_starts_at_zero_and_holds_every_reading() -> None:
    for key in KEYS:
        low, high = layers(taper_spec(key))["readings"]["encoding"]["y"]["scale"]["domain"]
        assert low <= 0.0
        assert high > assessed_sample(key).curves.current_a.max()


def test_discharging_battery_stays_on_the_axis() -> None:
    current = assessed_sample("healthy-top-off").curves.current_a - 20.0
    spec = charts.taper_chart(changed("healthy-top-off", current_a=current)).to_dict()
    low, _ = layers(spec)["readings"]["encoding"]["y"]["scale"]["domain"]
    assert low == pytest.approx(current.min())


def test_long_log_is_thinned_and_says_so() -> None:
    n = 3 * chartstyle.MOST_POINTS - 10
    time_s = np.arange(n) * 1.0
    falling = 8.0 + 12.0 * np.exp(-time_s / 1300.0)
    readings = Readings(elapsed_s=time_s, supply_current_a=np.round(falling, 2))
    result = assess(readings, SAMPLES[0].battery, SUPPLY, load_a=8.0, on=SCENARIO_DAY)
    drawn = rows(charts.taper_chart(result).to_dict(), "readings")
    assert len(drawn) == n // 3 + 1
    assert len(drawn) <= chartstyle.MOST_POINTS
    assert "One reading in 3 is drawn." in charts.taper_words(result)
    assert "is drawn" not in charts.taper_words(assessed_sample("healthy-top-off"))


def test_load_that_was_not_given_is_called_an_estimate() -> None:
    assert "not given" in charts.taper_words(assessed_sample("no-card-no-load"))
    assert "not given" not in charts.taper_words(assessed_sample("healthy-top-off"))


@pytest.mark.parametrize("key", KEYS)
def test_specifications_are_plain_json(key: str) -> None:
    for spec in (taper_spec(key), evidence_spec(key)):
        text = json.dumps(spec, allow_nan=False)
        assert spec["width"] == "container"
        assert json.loads(text) == spec
