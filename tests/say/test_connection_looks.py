"""Connections looked at once: one fit for taper and capacity, kept while nothing changes."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from batterymodel import Battery, Supply
from batterymodel.charts.record import tapers_chart
from batterymodel.charts.style import spec_of
from batterymodel.reference.temperature import rest_voltage_v
from batterymodel.say import connection_looks
from batterymodel.say.connection_looks import KIND, MOST_KEPT, looks_at
from batterymodel.say.record_view import service_estimates_of, tapers_of
from batterymodel.store import kept_results as results_module
from batterymodel.store.intake import Told, add_connection, add_fitted_battery
from batterymodel.store.kept_results import KeptResult, keep_results, kept_results
from batterymodel.store.records import CardRevision, Connection
from batterymodel.taper.fit import fit_taper
from tests.conftest import simulated_connection

ON = date(2026, 3, 2)
PLAIN = Battery(tail="HANGAR-1", chemistry="vrla", cells=12, rated_capacity_ah=40.0)


def log(seed: int = 1, every_s: float = 60.0, temp_c: float | None = None) -> bytes:
    """Five hours of a taper from half full, as CSV."""
    readings = simulated_connection(0.5, minutes=300.0, every_s=every_s, seed=seed)
    columns = {"elapsed_s": readings.elapsed_s, "supply_current_a": readings.supply_current_a}
    if temp_c is not None:
        columns["battery_temp_c"] = np.full(len(readings), temp_c)
    return pd.DataFrame(columns).to_csv(index=False).encode()


@pytest.fixture
def one(store):
    """A record with one deep connection that has both rest voltages; its entry."""
    add_fitted_battery(store, "B-1", PLAIN, "HANGAR-1", date(2024, 1, 5))
    before, after = (float(rest_voltage_v(PLAIN, soc, 25.0)) for soc in (0.5, 1.0))
    told = Told(
        on=ON,
        load_a=8.0,
        supply=Supply(rated_current_a=60.0),
        rest_voltage_v=round(before, 2),
        rest_after_v=round(after, 2),
    )
    return store, add_connection(store, "B-1", log(), "deep.csv", told).entry


@pytest.fixture
def fits(monkeypatch):
    """How many tapers were fitted."""
    found = []

    def counted(*given, **more):
        found.append(1)
        return fit_taper(*given, **more)

    monkeypatch.setattr("batterymodel.capacity.in_service.fit_taper", counted)
    return found


def test_taper_and_capacity_come_from_one_fit_and_are_not_made_again(one, fits):
    store, _ = one
    (taper,), (found,) = tapers_of(store, "B-1"), service_estimates_of(store, "B-1")
    assert len(fits) == 1
    assert found.estimate.capacity_ah.low < 40.0 < found.estimate.capacity_ah.high
    assert taper.current_per_ah[0] > taper.current_per_ah[-1] > 0.0
    (again,), (estimate,) = tapers_of(store, "B-1"), service_estimates_of(store, "B-1")
    assert len(fits) == 1
    assert np.array_equal(again.time_s, taper.time_s)
    assert np.array_equal(again.current_per_ah, taper.current_per_ah)
    assert estimate == found


def test_another_version_of_the_estimate_makes_it_again(one, fits, monkeypatch):
    store, entry = one
    service_estimates_of(store, "B-1")
    (before,) = kept_results(store, KIND, [entry.id]).values()
    monkeypatch.setattr(results_module, "estimate_version", lambda: "another")
    service_estimates_of(store, "B-1")
    service_estimates_of(store, "B-1")
    assert len(fits) == 2
    (after,) = kept_results(store, KIND, [entry.id]).values()
    assert after.digest != before.digest
    assert after.value == before.value


def test_what_was_told_otherwise_is_made_again(one, fits):
    store, entry = one
    (before,) = service_estimates_of(store, "B-1")
    told = entry.record.model_copy(update={"rest_voltage_v": entry.record.rest_voltage_v + 0.1})
    store.correct(entry.id, told, "meter read wrongly")
    (after,) = service_estimates_of(store, "B-1")
    assert after.estimate.capacity_ah.mean > before.estimate.capacity_ah.mean
    assert len(fits) == 2


def test_a_card_that_moves_the_rest_voltage_is_seen(one, fits):
    store, entry = one
    (before,) = service_estimates_of(store, "B-1")
    card = {"document": "Manual", "rest_voltage_soc": (0.0, 1.0), "rest_voltage_v": (23.6, 25.9)}
    revision = CardRevision(battery_id=entry.record.battery_id, on=ON, limits=card, reason="new")
    store.add(revision)
    (after,) = service_estimates_of(store, "B-1")
    assert after != before
    assert len(fits) == 2


@pytest.mark.parametrize("spoilt", ["", "no JSON", "{}", '{"on": 3, "time_s": "x"}'])
def test_a_kept_result_that_was_spoilt_is_made_again(one, fits, spoilt):
    store, entry = one
    before = service_estimates_of(store, "B-1")
    (kept,) = kept_results(store, KIND, [entry.id]).values()
    keep_results(store, KIND, {entry.id: KeptResult(kept.digest, spoilt)})
    assert service_estimates_of(store, "B-1") == before
    assert len(fits) == 2


def test_a_long_log_is_kept_thinned_with_its_ends(one):
    store, _ = one
    add_connection(store, "B-1", log(2, 5.0), "long.csv", Told(on=ON, load_a=8.0))
    tapers = tapers_of(store, "B-1")
    assert [t.time_s.size for t in tapers] == [max(t.time_s.size for t in tapers[:1]), MOST_KEPT]
    assert tapers[1].time_s[-1] > 17000.0
    assert tapers[1].time_s[0] < 60.0
    assert spec_of(tapers_chart(tapers[1:] * 8))["description"].startswith("8 tapers")


@pytest.mark.long
def test_only_the_latest_tapers_are_fitted(one, fits, monkeypatch):
    store, entry = one
    for k in range(4):
        told = Told(on=ON, load_a=8.0, ambient_c=20.0 + k)
        add_connection(store, "B-1", log(10 + k), f"{k}.csv", told)
    monkeypatch.setattr("batterymodel.say.record_view.MOST_TAPERS", 2)
    assert [t.temp_c for t in tapers_of(store, "B-1")] == [22.0, 23.0]
    assert len(fits) == 2
    assert entry.id not in kept_results(store, KIND, [entry.id])


def test_the_batterys_own_temperature_is_taken_before_the_air(one):
    store, _ = one
    told = Told(on=ON, load_a=8.0, ambient_c=35.0)
    entry = add_connection(store, "B-1", log(3, temp_c=12.0), "cold.csv", told).entry
    with looks_at(store, "B-1") as looks:
        (found,) = (looks.of(e) for e in looks.entries if e.id == entry.id)
    assert found.taper_c == 12.0


def test_a_file_that_cannot_be_read_has_no_look_and_says_why_where_rests_are_told(store):
    add_fitted_battery(store, "B-1", PLAIN, "HANGAR-1", date(2024, 1, 5))
    told = Told(on=ON, rest_voltage_v=24.6, rest_after_v=25.6)
    add_connection(store, "B-1", b"no readings", "broken.csv", told)
    (found,) = service_estimates_of(store, "B-1")
    assert found.estimate is None
    assert "broken.csv" in found.why_not
    assert tapers_of(store, "B-1") == ()
    (again,) = service_estimates_of(store, "B-1")
    assert again == found


def test_an_assessment_is_no_input_of_a_look():
    assert set(Connection.model_fields) >= connection_looks._ASSESSED
