"""What the page of a battery shows after something it rests on was changed: nothing kept is old."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest
from sqlalchemy import delete, func, select

from batterymodel.inputs.records import Limits
from batterymodel.say import connection_looks, kept_forecast
from batterymodel.say.record_view import RecordView, record_view
from batterymodel.store import Store
from batterymodel.store import kept_results as results_module
from batterymodel.store.corrections import corrected_entry
from batterymodel.store.intake import add_check
from batterymodel.store.records import BatteryPlate, BenchCheck, CardRevision, Connection
from batterymodel.store.tables import KeptResultRow
from tests.say.test_connection_looks import ON, fits, one  # noqa: F401 (fixtures)
from tests.say.test_kept_forecast import same

TODAY = date(2026, 3, 20)
SERIAL = "B-1"


@pytest.fixture
def kept(one):  # noqa: F811
    """A record with a card, two checks and one connection, shown once."""
    store, connection = one
    battery_id = connection.record.battery_id
    limits = Limits(document="Manual", min_capacity_fraction=0.8)
    store.add(CardRevision(battery_id=battery_id, on=ON, limits=limits, reason="new"))
    for year, ah in ((2024, 40.5), (2025, 39.0)):
        day = date(year, 9, 1)
        add_check(store, BenchCheck(battery_id=battery_id, on=day, capacity_ah=ah))
    record_view(store, SERIAL, TODAY)
    assert counted(store) == 2
    return store


def counted(store: Store) -> int:
    with store.reading() as session:
        return session.scalar(select(func.count()).select_from(KeptResultRow))


def without_kept(store: Store) -> RecordView:
    """The view made anew, after all that was kept is thrown away."""
    with store.writing() as session:
        session.execute(delete(KeptResultRow))
    return record_view(store, SERIAL, TODAY)


def same_forecast(this: RecordView, other: RecordView) -> bool:
    return same(this.forecast, other.forecast)


def same_tapers(this: RecordView, other: RecordView) -> bool:
    return len(this.tapers) == len(other.tapers) and all(
        (a.on, a.temp_c) == (b.on, b.temp_c)
        and np.array_equal(a.time_s, b.time_s)
        and np.array_equal(a.current_per_ah, b.current_per_ah)
        for a, b in zip(this.tapers, other.tapers, strict=True)
    )


def same_service(this: RecordView, other: RecordView) -> bool:
    return this.service == other.service


SHOWN: dict[str, Callable[[RecordView, RecordView], bool]] = {
    "forecast": same_forecast,
    "tapers": same_tapers,
    "service": same_service,
}


def first(store: Store, kind: type) -> str:
    return store.entries(kind)[0].id


def with_plate(store):
    corrected_entry(store, first(store, BatteryPlate), {"rated_capacity_ah": "44"}, "misread")


def with_card(store):
    card = store.entries(CardRevision)[-1]
    limits = card.record.limits.model_copy(update={"min_capacity_fraction": 0.9})
    told = card.record.model_copy(update={"limits": limits})
    store.correct(card.id, told, "misread")


def without_card(store):
    store.delete(store.entries(CardRevision)[-1].id, "of another battery")


def with_check(store):
    corrected_entry(store, first(store, BenchCheck), {"capacity_ah": "37.5"}, "misread")


def without_check(store):
    store.delete(first(store, BenchCheck), "of another battery")


def with_load(store):
    corrected_entry(store, first(store, Connection), {"load_a": "7.5"}, "misread")


def with_load_spread(store):
    corrected_entry(store, first(store, Connection), {"load_sd_a": "1.5"}, "misread")


def with_rest_before(store):
    entry = store.entries(Connection)[0]
    told = f"{entry.record.rest_voltage_v + 0.1:.2f}"
    corrected_entry(store, entry.id, {"rest_voltage_v": told}, "misread")


def with_rest_after(store):
    entry = store.entries(Connection)[0]
    told = f"{entry.record.rest_after_v - 0.1:.2f}"
    corrected_entry(store, entry.id, {"rest_after_v": told}, "misread")


def with_ambient(store):
    corrected_entry(store, first(store, Connection), {"ambient_c": "8"}, "forgotten")


def without_connection(store):
    store.delete(first(store, Connection), "of another battery")


CHANGES = {
    "plate": (with_plate, {"forecast", "tapers", "service"}),
    "card": (with_card, {"forecast"}),
    "card deleted": (without_card, {"forecast"}),
    "check": (with_check, {"forecast"}),
    "check deleted": (without_check, {"forecast"}),
    "load": (with_load, {"tapers", "service", "forecast"}),
    "spread of the load": (with_load_spread, {"service", "forecast"}),
    "rest before": (with_rest_before, {"service", "forecast"}),
    "rest after": (with_rest_after, {"service", "forecast"}),
    "ambient": (with_ambient, {"tapers", "service", "forecast"}),
    "connection deleted": (without_connection, {"tapers", "service", "forecast"}),
}


@pytest.mark.parametrize("name", CHANGES)
def test_nothing_old_is_shown_after_a_change(kept, name):
    change, differs = CHANGES[name]
    before = record_view(kept, SERIAL, TODAY)
    change(kept)
    after = record_view(kept, SERIAL, TODAY)
    anew = without_kept(kept)
    assert [w for w, equal in SHOWN.items() if not equal(after, anew)] == []
    assert {w for w, equal in SHOWN.items() if not equal(before, after)} >= differs


def test_another_version_of_the_estimate_is_not_shown_as_this_ones(kept, fits, monkeypatch):  # noqa: F811
    made = []
    genuine = kept_forecast.fade_forecast

    def forecast(*given, **more):
        made.append(1)
        return genuine(*given, **more)

    monkeypatch.setattr(kept_forecast, "fade_forecast", forecast)
    record_view(kept, SERIAL, TODAY)
    assert (len(fits), len(made)) == (0, 0)
    monkeypatch.setattr(results_module, "estimate_version", lambda: "another")
    for _ in range(2):
        record_view(kept, SERIAL, TODAY)
    assert (len(fits), len(made)) == (1, 1)


def test_a_look_that_was_deleted_comes_back_with_its_entry(kept):
    before = record_view(kept, SERIAL, TODAY)
    gone = first(kept, Connection)
    kept.delete(gone, "by mistake")
    assert record_view(kept, SERIAL, TODAY).service == ()
    kept.restore(gone)
    after = record_view(kept, SERIAL, TODAY)
    assert [w for w, equal in SHOWN.items() if not equal(before, after)] == []


def test_kinds_of_kept_results_are_told_apart():
    assert connection_looks.KIND != kept_forecast.KIND
