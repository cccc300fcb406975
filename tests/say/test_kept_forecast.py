"""A forecast that is kept: the same to the last digit, and made anew when its day or checks do."""

from __future__ import annotations

import json
from datetime import date

import numpy as np
import pytest

from batterymodel.fade.forecast import FadeCurves, FadeForecast, fade_forecast
from batterymodel.inputs.check_record import MeasuredCapacity, checks_from_measured
from batterymodel.say import kept_forecast as module
from batterymodel.say.kept_forecast import KIND, forecast_from, forecast_json, kept_forecast
from batterymodel.store.kept_results import KeptResult, keep_results, kept_results
from tests.store.cases import BARE

TODAY = date(2026, 3, 2)
PLACE = "10000000-0000-4000-8000-000000000000"
WORN = [
    MeasuredCapacity(date(2021 + k, 3, 1), ah, 0.6) for k, ah in enumerate((40.2, 39.6, 39.1, 36.0))
]


def checks(count: int = 4):
    return checks_from_measured(WORN[:count], "the record of B-1")


def same(one: FadeForecast, other: FadeForecast) -> bool:
    """Equal in every field, arrays of the curves included."""
    names = [n for n in FadeForecast.model_fields if n != "curves"]
    arrays = [(getattr(one.curves, n), getattr(other.curves, n)) for n in FadeCurves.model_fields]
    return all(getattr(one, n) == getattr(other, n) for n in names) and all(
        np.array_equal(a, b) if isinstance(a, np.ndarray) else a == b for a, b in arrays
    )


@pytest.fixture
def made(monkeypatch):
    found = []

    def counted(*given, **more):
        found.append(1)
        return fade_forecast(*given, **more)

    monkeypatch.setattr(module, "fade_forecast", counted)
    return found


@pytest.mark.parametrize("count", [1, 2, 4])
def test_it_comes_back_as_it_was(count):
    forecast = fade_forecast(checks(count), BARE, today=TODAY)
    back = forecast_from(forecast_json(forecast))
    assert back is not None
    assert same(back, forecast)
    assert back.model_dump_json() == forecast.model_dump_json()


def test_it_is_made_once_for_the_same_checks_battery_and_day(store, made):
    first = kept_forecast(store, PLACE, checks(), BARE, TODAY)
    assert same(kept_forecast(store, PLACE, checks(), BARE, TODAY), first)
    assert len(made) == 1
    later = kept_forecast(store, PLACE, checks(), BARE, date(2028, 3, 2))
    assert later.next_check != first.next_check
    kept_forecast(store, PLACE, checks(3), BARE, TODAY)
    card = BARE.limits.model_copy(update={"document": "Manual", "min_capacity_fraction": 0.9})
    strict = kept_forecast(store, PLACE, checks(3), BARE.model_copy(update={"limits": card}), TODAY)
    assert strict.limit.value == 0.9
    assert len(made) == 4


@pytest.mark.long
@pytest.mark.parametrize("spoilt", ["", "[]", "{}", '{"curves": 3}', '{"curves": {}}'])
def test_one_that_was_spoilt_is_made_anew(store, made, spoilt):
    first = kept_forecast(store, PLACE, checks(), BARE, TODAY)
    digest = kept_results(store, KIND, [PLACE])[PLACE].digest
    keep_results(store, KIND, {PLACE: KeptResult(digest, spoilt)})
    assert same(kept_forecast(store, PLACE, checks(), BARE, TODAY), first)
    assert len(made) == 2


def test_its_text_is_plain_json():
    told = json.loads(forecast_json(fade_forecast(checks(), BARE, today=TODAY)))
    assert told["curves"]["first_on"] == "2021-03-01"
    assert len(told["curves"]["mean_ah"]) == len(told["curves"]["at"])
