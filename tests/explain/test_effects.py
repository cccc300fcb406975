"""The explainer: its numbers from the tool's own models, its words for everybody."""

import numpy as np
import pytest

from batterymodel.explain import effects as explainer
from batterymodel.explain import wording as words
from batterymodel.explain.charts import topic_chart
from batterymodel.reference.temperature import capacity_factor, charge_voltage_shift_v

GRADE = 9.0


@pytest.mark.parametrize("topic", explainer.TOPICS)
class TestEveryTopic:
    def test_has_title_text_and_parameter(self, topic: str):
        assert words.TITLES[topic]
        assert len(words.TEXTS[topic]) == 2
        assert words.PARAMETERS[topic]

    @pytest.mark.tools
    @pytest.mark.long
    def test_text_can_be_read_after_nine_years_of_school(self, topic: str):
        textstat = pytest.importorskip("textstat")
        assert textstat.flesch_kincaid_grade(" ".join(words.TEXTS[topic])) <= GRADE

    def test_chart_moves_with_the_value_from_end_to_end(self, topic: str):
        turned = explainer.PARAMETERS[topic]
        specs = [topic_chart(topic, at).to_dict() for at in (turned.low, turned.start, turned.high)]
        assert len({str(spec["datasets"]) for spec in specs}) == 3
        for spec, at in zip(specs, (turned.low, turned.start, turned.high), strict=True):
            assert spec["description"] == explainer.shown_words(topic, at)
            assert not {"nan", "inf"} & set(spec["description"].split())

    def test_axes_carry_units(self, topic: str):
        spec = topic_chart(topic, explainer.PARAMETERS[topic].start).to_dict()
        titles = {
            layer["encoding"][axis]["title"]
            for layer in spec["layer"]
            for axis in ("x", "y")
            if "title" in layer["encoding"].get(axis, {})
        }
        assert len(titles) == 2
        assert all(title.endswith(")") for title in titles)


def test_topping_off_returns_the_charge_that_is_missing():
    """Area under the current: 8 % of 40 Ah over the efficiency; an hour holds most of it."""
    charge = np.trapezoid(explainer.topping_off_a(92.0), explainer.TIME_S) / 3600.0
    assert 0.8 * 3.2 < charge < 1.08 * 3.2


def test_a_fuller_battery_takes_less_at_every_moment():
    fuller, emptier = explainer.topping_off_a(95.0), explainer.topping_off_a(85.0)
    assert (fuller < emptier).all()


def test_only_a_battery_far_down_holds_the_supply_at_its_limit():
    assert explainer.minutes_at_limit(97.0) == 0.0
    assert explainer.minutes_at_limit(20.0) > explainer.minutes_at_limit(40.0) > 3.0
    assert "never reaches" in explainer.shown_words(words.NO_CHARGER, 97.0)


def test_window_moves_as_the_temperature_module_says():
    low, high = explainer.charge_window_v(np.array([25.0, 45.0]))
    shift = charge_voltage_shift_v(explainer.BATTERY, 45.0)
    assert (low[1] - low[0], high[1] - high[0]) == pytest.approx((shift, shift))
    assert shift == pytest.approx(-0.72)


def test_cold_capacity_is_that_of_the_table():
    share = 100.0 * float(capacity_factor(explainer.BATTERY.chemistry, 0.0))
    assert f"{share:.0f} %" in explainer.shown_words(words.TEMPERATURE, 0.0)


def test_fade_starts_at_the_plate_and_loses_the_prior_each_year():
    """5 % a year for valve-regulated lead-acid (`capacitydata`)."""
    best, low, high = explainer.capacity_percent(np.array([0.0, 4.0]))
    assert best == pytest.approx([100.0, 80.0])
    assert (low < best).all()
    assert (high > best).all()
