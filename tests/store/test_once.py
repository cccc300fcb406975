"""What is told twice is kept once, of every kind; going back to something earlier is news."""

from datetime import date

import pytest

from batterymodel.inputs.records import History, Limits
from batterymodel.store.once import add_once
from batterymodel.store.records import (
    Aircraft,
    BenchCheck,
    CardRevision,
    Consumer,
    HistoryRevision,
    KnownState,
    LoadConfiguration,
    LoadPlan,
    Move,
    OwnerSheet,
    ShopSupply,
)
from tests.store.cases import PLAN, small_record

ON = date(2026, 4, 1)
KINDS = (
    BenchCheck, KnownState, HistoryRevision, Move, CardRevision, Aircraft, LoadConfiguration,
    OwnerSheet, LoadPlan, ShopSupply,
)  # fmt: skip


def told(store, kind):
    """A record of a kind that the small record does not hold."""
    ids = small_record(store)
    about = {"battery_id": ids.battery, "on": ON}
    loads = (Consumer(name="Radio", continuous_a=3.0, peak_a=5.5),)
    makers = {
        BenchCheck: lambda: BenchCheck(capacity_ah=38.5, minutes=57.0, **about),
        KnownState: lambda: KnownState(state_of_charge=0.8, **about),
        HistoryRevision: lambda: HistoryRevision(history=History(charge_time_h=0.4), **about),
        Move: lambda: Move(aircraft_id=ids.aircraft, reason="back", **about),
        CardRevision: lambda: CardRevision(
            limits=Limits(document="D", rest_voltage_soc=(0.5, 1.0), rest_voltage_v=(24.0, 25.8)),
            reason="revision D",
            **about,
        ),
        Aircraft: lambda: Aircraft(tail="DEMO-9"),
        LoadConfiguration: lambda: LoadConfiguration(
            aircraft_id=ids.aircraft, name="Night", consumers=loads
        ),
        LoadPlan: lambda: LoadPlan(aircraft_id=ids.aircraft, on=ON, loads=PLAN),
        ShopSupply: lambda: ShopSupply(name="Cart 2", rated_current_a=40.0),
        OwnerSheet: lambda: OwnerSheet(
            connection_id=ids.connection,
            made_on=ON,
            kind="sheet",
            file_name="sheet.pdf",
            content_sha256=store.keep_file(b"another sheet"),
        ),
    }
    return makers[kind]()


@pytest.mark.long
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_the_same_told_twice_is_one_entry(store, kind):
    record = told(store, kind)
    before = len(store.entries(kind))
    first, was_there = add_once(store, record)
    assert not was_there
    for _ in range(2):
        assert add_once(store, record) == (first, True)
    assert len(store.entries(kind)) == before + 1


def test_a_deleted_entry_may_be_told_again(store):
    record = told(store, BenchCheck)
    first, _ = add_once(store, record)
    store.delete([first.id], "slip")
    assert add_once(store, record)[1] is False


def test_another_note_is_no_other_check(store):
    record = told(store, BenchCheck)
    first, _ = add_once(store, record, "note")
    other = record.model_copy(update={"note": "told again"})
    assert add_once(store, other, "note") == (first, True)
    assert add_once(store, other)[1] is False


@pytest.mark.parametrize("kind", [Move, CardRevision])
def test_going_back_on_the_same_day_is_kept(store, kind):
    record = told(store, kind)
    change = {"aircraft_id": None} if kind is Move else {"limits": Limits(min_top_off_soc=0.9)}
    other = record.model_copy(update=change)
    kept = [add_once(store, r)[1] for r in (record, record, other, other, record, record)]
    assert kept == [False, True, False, True, False, True]
    now = store.battery("B-1", ON)
    assert now.tail == "DEMO-1" if kind is Move else now.limits == record.limits


@pytest.mark.parametrize("kind", [LoadPlan, LoadConfiguration])
def test_going_back_to_a_plan_or_a_choice_of_the_same_day_is_kept(store, kind):
    record = told(store, kind).model_copy(update={"on": ON})
    if kind is LoadPlan:
        other = record.model_copy(update={"loads": PLAN.model_copy(update={"bus_min_v": 25.0})})
    else:
        other = record.model_copy(update={"left_off": ("Radio",)})
    kept = [add_once(store, r)[1] for r in (record, record, other, other, record, record)]
    assert kept == [False, True, False, True, False, True]


def test_choices_for_two_tasks_of_one_day_do_not_undo_each_other(store):
    record = told(store, LoadConfiguration).model_copy(update={"on": ON})
    other = record.model_copy(update={"name": "Morning"})
    kept = [add_once(store, r)[1] for r in (record, other, record, other)]
    assert kept == [False, False, True, True]
