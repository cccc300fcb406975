"""Answers on record and the truths that come later: each counted once, none from itself."""

import shutil
from datetime import date, datetime, timedelta

import numpy as np
import pytest

from batterymodel import InputError, Outcome
from batterymodel.assessment import ESTIMATE_VERSION
from batterymodel.inputs.records import Chemistry
from batterymodel.store import kept_answers, open_store
from batterymodel.store import track_record as module
from batterymodel.store.archive import export_zip
from batterymodel.store.corrections import corrected_entry
from batterymodel.store.intake import Told, add_battery, add_check, add_connection
from batterymodel.store.records import (
    Aircraft,
    BenchCheck,
    Connection,
    Move,
    Servicing,
    ServicingFound,
)
from batterymodel.store.servicing import add_servicing
from batterymodel.store.track_record import track_record, widening
from batterymodel.store.zip_import import import_zip
from batterymodel.track.kept import Spread
from batterymodel.track.score import Found, TruthFrom, Verdict
from batterymodel.track.truths import charge_at_rest
from tests.conftest import simulated_connection
from tests.store.cases import BARE, DAY

NEW = date(2025, 1, 5)


@pytest.fixture
def fleet(sqlite_store):
    """One battery in one aircraft."""
    return with_one_battery(sqlite_store)


def with_one_battery(store):
    aircraft = store.add(Aircraft(tail="DEMO-1")).id
    battery = add_battery(store, "B-1", BARE, NEW).id
    store.add(Move(battery_id=battery, aircraft_id=aircraft, on=NEW, reason="new"))
    return store


def csv_of(readings, started=None):
    """The readings as a file of the tool's own format, with a clock where it is told."""
    name = "elapsed_s" if started is None else "time"
    rows = [f"{name},supply_current_a"]
    for at_s, current_a in zip(readings.elapsed_s, readings.supply_current_a, strict=True):
        at = f"{at_s:g}" if started is None else (started + timedelta(seconds=at_s)).isoformat()
        rows.append(f"{at},{current_a:.2f}")
    return "\n".join(rows).encode()


def taken(store, depth=0.1, minutes=120.0, day=DAY, seed=1, **told):
    readings = simulated_connection(depth, 0.3, minutes=minutes, every_s=30.0, seed=seed)
    content = csv_of(readings)
    return add_connection(
        store, "B-1", content, f"{seed}.csv", Told(on=day, **{"load_a": 8.0, **told})
    )


def test_a_completed_taper_scores_the_answer_of_its_first_minutes(fleet):
    entry = taken(fleet).entry
    early, final = entry.record.answers
    assert (early.until_s, final.until_s) == (300.0, 7200.0)
    assert early.made_by == final.made_by == ESTIMATE_VERSION
    [case] = track_record(fleet).ranges
    assert case.truth_from is TruthFrom.TAPER
    assert case.told == early.charge_to_return_ah
    assert case.is_covered
    readings = simulated_connection(0.1, 0.3, minutes=120.0, every_s=30.0)
    later = readings.elapsed_s >= 300.0
    above = readings.supply_current_a[later] - 8.0 - 0.1
    truth = np.trapezoid(above, readings.elapsed_s[later]) / 3600.0
    assert case.truth == pytest.approx(truth, abs=2.0 * case.truth_sd)


def test_the_early_answer_is_blind_to_what_came_later(fleet):
    """The first five minutes alone give the same answer where nothing else is on record."""
    whole = taken(fleet).entry
    readings = simulated_connection(0.1, 0.3, minutes=120.0, every_s=30.0)
    first = csv_of(readings).split(b"\n")[: 1 + 11]
    fleet.delete(whole.id, "so that it teaches no other battery of its kind")
    other = add_battery(fleet, "B-2", BARE, NEW).id
    move = {"aircraft_id": fleet.aircraft("DEMO-1").id, "reason": "new"}
    fleet.add(Move(battery_id=other, on=NEW, **move))
    alone = add_connection(fleet, "B-2", b"\n".join(first), "f.csv", Told(on=DAY, load_a=8.0))
    assert alone.entry.record.answers[-1] == whole.record.answers[0]


def test_a_taper_that_was_not_seen_to_its_end_scores_nothing(fleet):
    entry = taken(fleet, depth=0.3, minutes=15.0).entry
    assert len(entry.record.answers) == 1
    assert entry.record.seen_later is None
    assert track_record(fleet).ranges == ()


@pytest.mark.long
def test_a_longer_file_of_the_same_connection_scores_the_first_answer_once(fleet):
    readings = simulated_connection(0.1, 0.3, minutes=120.0, every_s=30.0)
    whole = csv_of(readings, datetime(2026, 3, 2, 7, 43)).split(b"\n")
    told = Told(on=DAY, load_a=8.0)
    short = add_connection(fleet, "B-1", b"\n".join(whole[: 1 + 21]), "short.csv", told).entry
    longer = add_connection(fleet, "B-1", b"\n".join(whole), "long.csv", told).entry
    assert longer.record.answers[:-1] == (short.record.answers[-1],)
    [case] = track_record(fleet).ranges
    assert case.answered.connection_id == short.id
    assert case.answered.answer == short.record.answers[-1]
    almost = add_connection(fleet, "B-1", b"\n".join(whole[:-5]), "almost.csv", told).entry
    assert almost.record.seen_later.returned.after_s == case.answered.answer.until_s
    assert len(track_record(fleet).ranges) == 1


@pytest.mark.parametrize(("load_a", "cases"), [(8.0, 1), (0.0, 0)])
def test_a_shorter_file_that_is_deleted_leaves_its_answer_by_the_same_facts(fleet, load_a, cases):
    """By other facts it may have been deleted because they were wrong."""
    readings = simulated_connection(0.1, 0.3, minutes=120.0, every_s=30.0)
    whole = csv_of(readings, datetime(2026, 3, 2, 7, 43)).split(b"\n")
    first = b"\n".join(whole[: 1 + 21])
    short = add_connection(fleet, "B-1", first, "short.csv", Told(on=DAY, load_a=load_a)).entry
    longer = b"\n".join(whole)
    add_connection(fleet, "B-1", longer, "long.csv", Told(on=DAY, load_a=8.0))
    fleet.delete(short.id, "the longer file holds it")
    found = [case.answered.answer for case in track_record(fleet).ranges]
    assert found == [short.record.answers[-1]] * cases


def test_files_without_a_clock_that_begin_alike_are_one_connection(fleet):
    """Three lengths of one connection, and another of the same day."""
    readings = simulated_connection(0.1, 0.3, minutes=120.0, every_s=30.0)
    lines, told = csv_of(readings).split(b"\n"), Told(on=DAY, load_a=8.0)
    for count in (231, 221, 242):
        add_connection(fleet, "B-1", b"\n".join(lines[:count]), f"{count}.csv", told)
    first = fleet.entries(Connection)[0]
    assert [case.answered.connection_id for case in track_record(fleet).ranges] == [first.id]
    taken(fleet, seed=2)
    assert len(track_record(fleet).ranges) == 2


def test_a_rest_voltage_after_a_completed_taper_scores_the_charge_at_the_end(fleet):
    entry = taken(fleet, rest_after_v=25.9).entry
    [case] = cases_at_rest(fleet)
    assert case.truth_from is TruthFrom.REST
    assert case.told == entry.record.answers[-1].soc_now
    assert case.truth_sd > charge_at_rest(BARE, 25.9, None).sd


def cases_at_rest(store):
    """Cases by a rest voltage, those too that cannot tell."""
    plates = module._scoring(store)
    cases = module._range_cases(module._seen(store), plates)
    return [case for case in cases if case.truth_from is TruthFrom.REST]


def test_a_rest_voltage_scores_nothing_where_charging_may_have_gone_on(fleet):
    """Read twelve minutes of a deep charge, then left on until it was full."""
    entry = taken(fleet, depth=0.5, minutes=12.0, rest_after_v=26.2).entry
    assert entry.record.seen_later is None
    assert cases_at_rest(fleet) == []


def test_a_rest_voltage_before_shares_its_error_and_is_not_scored_by_one_after(fleet):
    taken(fleet, rest_voltage_v=25.4, rest_after_v=25.9)
    assert cases_at_rest(fleet) == []


def test_the_answer_as_first_given_is_scored_though_more_was_told_later(fleet, monkeypatch):
    entry = taken(fleet).entry
    first = entry.record.answers[0]
    monkeypatch.setattr("batterymodel.track.answers.ESTIMATE_VERSION", "0")
    corrected_entry(fleet, entry.id, {"rest_after_v": 25.9}, "read an hour later")
    taper = next(c for c in track_record(fleet).ranges if c.truth_from is TruthFrom.TAPER)
    assert taper.answered.answer == first != fleet.entry(entry.id).record.answers[0]


def test_a_slip_that_was_corrected_is_not_a_miss(fleet):
    """Without the load its current counts as charge: the answer is far off, and not its fault."""
    entry = taken(fleet, load_a=0.0).entry
    corrected_entry(fleet, entry.id, {"load_a": 8.0}, "left out")
    [case] = track_record(fleet).ranges
    assert entry.record.answers[0].charge_to_return_ah.low > case.truth
    assert case.is_covered
    assert case.told == fleet.entry(entry.id).record.answers[0].charge_to_return_ah


def test_an_answer_for_another_battery_does_not_score_the_one_it_was_corrected_to(fleet):
    other = BARE.model_copy(update={"chemistry": "vented_lead_acid", "rated_capacity_ah": 17.0})
    wrong = add_battery(fleet, "N-1", other, NEW).id
    entry = taken(fleet).entry
    first = entry.record.answers[0]
    corrected_entry(fleet, entry.id, {"battery_id": wrong}, "another battery's")
    assert first not in [case.answered.answer for case in track_record(fleet).ranges]
    corrected_entry(fleet, entry.id, {"battery_id": fleet.plate("B-1").id}, "no, this one's")
    assert [case.answered.answer for case in track_record(fleet).ranges] == [first]


def test_an_answer_made_with_a_rest_voltage_since_emptied_is_not_scored_by_one_after(fleet):
    entry = taken(fleet, rest_voltage_v=25.4, rest_after_v=25.9).entry
    corrected_entry(fleet, entry.id, {"rest_voltage_v": None}, "not read")
    [case] = cases_at_rest(fleet)
    assert case.answered.answer == fleet.entry(entry.id).record.answers[-1]
    assert case.answered.answer.soc_now != entry.record.answers[-1].soc_now


def test_what_is_deleted_scores_nothing_and_comes_back(fleet):
    entry = taken(fleet).entry
    fleet.delete(entry.id, "wrong battery")
    assert track_record(fleet).ranges == ()
    fleet.restore(entry.id)
    assert len(track_record(fleet).ranges) == 1


def test_an_answer_of_before_is_scored_but_told_apart(fleet, monkeypatch):
    monkeypatch.setattr("batterymodel.track.answers.ESTIMATE_VERSION", "0")
    taken(fleet)
    record = track_record(fleet)
    assert (len(record.present), len(record.former)) == (0, 1)


def miss(store, count, day=DAY):
    """So many connections on record whose early ranges are all far too narrow."""
    for seed in range(count):
        entry = taken(store, day=day + timedelta(days=seed), seed=seed + 1).entry
        yield entry


def narrowed(answer):
    middle = 3.0 * answer.charge_to_return_ah.middle
    told = Spread(middle=middle, low=0.9 * middle, high=1.1 * middle)
    return answer.model_copy(update={"charge_to_return_ah": told})


@pytest.fixture(scope="module")
def misses_file(new_sqlite):
    """Ten completed tapers on ten days; every early answer is made to miss."""
    path, real = new_sqlite("misses"), kept_answers.answer_of
    store = with_one_battery(open_store(path))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(kept_answers, "answer_of", lambda result: narrowed(real(result)))
        list(miss(store, 10))
    store.engine.dispose()
    return path


@pytest.fixture
def misses(misses_file, tmp_path):
    """The same, to be added to."""
    return open_store(shutil.copy(misses_file, tmp_path / "record.sqlite"))


def test_ranges_that_missed_widen_the_next_and_only_by_what_was_known_before(misses):
    """Nine are needed: on the tenth day nine are known, and on the ninth only eight."""
    vrla = Chemistry.VRLA
    days = [DAY + timedelta(days=k) for k in (8, 9, 10)]
    assert widening(misses, vrla, days[0]) == 1.0
    assert widening(misses, vrla, days[1]) > 1.0
    assert widening(misses, vrla, days[2]) > 1.0
    assert widening(misses, Chemistry.NICD, days[2]) == 1.0


@pytest.mark.parametrize("others", [False, True])
def test_invented_batteries_score_only_where_there_are_no_others(misses, others):
    plate = misses.plate("B-1")
    misses.correct(plate.id, plate.record.model_copy(update={"invented": True}), "invented")
    if others:
        add_battery(misses, "B-2", BARE, NEW)
    assert (len(track_record(misses).ranges) == 0) is others
    assert (widening(misses, Chemistry.VRLA, DAY + timedelta(days=20)) == 1.0) is others


def test_a_connection_does_not_widen_itself(misses):
    last = misses.entries(Connection)[-1]
    on = DAY + timedelta(days=9)
    first_nine = misses.entries(Connection)[0]
    assert widening(misses, Chemistry.VRLA, on, but=first_nine.id) == 1.0
    assert widening(misses, Chemistry.VRLA, on, but=last.id) > 1.0


def test_the_kept_answer_says_how_much_it_was_widened(misses):
    entry = taken(misses, day=DAY + timedelta(days=20), seed=77).entry
    by = widening(misses, Chemistry.VRLA, DAY + timedelta(days=20), but=entry.id)
    assert by > 1.0
    assert {answer.widening for answer in entry.record.answers} == {by}
    assert entry.record.result["widening"] == by


def test_servicing_scores_the_last_answer_before_it(fleet):
    first = taken(fleet, minutes=10.0, day=DAY, seed=1).entry
    last = taken(fleet, minutes=10.0, day=DAY + timedelta(days=3), seed=2).entry
    add_servicing(fleet, "B-1", ServicingFound.FAULTY_CELL, DAY + timedelta(days=5))
    [case] = track_record(fleet).outcomes
    assert case.answered.connection_id == last.id != first.id
    assert case.found is Found.FAULTY_CELL


@pytest.mark.parametrize(("days", "scored"), [(60, 1), (61, 0)])
def test_a_find_long_after_says_nothing_of_the_answer(fleet, days, scored):
    taken(fleet, minutes=10.0)
    add_servicing(fleet, "B-1", ServicingFound.NOTHING_WRONG, DAY + timedelta(days=days))
    assert len(track_record(fleet).outcomes) == scored


@pytest.mark.parametrize(
    ("capacity_ah", "bound", "found"),
    [
        (39.0, False, Found.ENOUGH),
        (25.0, False, Found.LOW),
        (32.0, False, None),
        (33.0, True, Found.ENOUGH),
        (25.0, True, None),
    ],
)
def test_a_bench_check_tells_where_it_is_clear_of_the_limit(fleet, capacity_ah, bound, found):
    """The limit is 80 % of 40 Ah; a stated error of 0.5 Ah."""
    taken(fleet, minutes=10.0)
    battery_id = fleet.plate("B-1").id
    on = DAY + timedelta(days=2)
    told = {"capacity_ah": capacity_ah, "capacity_sd_ah": 0.5, "is_lower_bound": bound}
    add_check(fleet, BenchCheck(battery_id=battery_id, on=on, **told))
    assert [case.found for case in track_record(fleet).outcomes] == ([found] if found else [])


def test_a_check_that_the_answer_was_made_from_does_not_score_it(fleet):
    """Of the same day and written before: it was in force."""
    check = BenchCheck(battery_id=fleet.plate("B-1").id, on=DAY, capacity_ah=39.0)
    add_check(fleet, check)
    taken(fleet, minutes=10.0)
    assert track_record(fleet).outcomes == ()


def test_a_capacity_that_servicing_measured_is_one_check_and_counts_once(fleet):
    taken(fleet, minutes=10.0)
    on = DAY + timedelta(days=4)
    told = (fleet, "B-1", ServicingFound.CAPACITY, on, 38.5)
    entry, was_there = add_servicing(*told)
    again, is_there = add_servicing(*told)
    assert (was_there, is_there, again.id) == (False, True, entry.id)
    [check] = fleet.entries(BenchCheck)
    assert entry.record.check_id == check.id
    assert fleet.battery("B-1").capacity_check.capacity_ah == 38.5
    [case] = track_record(fleet).outcomes
    assert case.found is Found.ENOUGH
    fleet.delete(check.id, "another battery's")
    assert fleet.entries(Servicing) == ()


@pytest.mark.parametrize(
    ("capacity_ah", "days", "bound", "checks"),
    [
        (36.04, 0, False, 1),
        (36.06, 0, False, 2),
        (36.0, 1, False, 2),
        (36.0, 0, True, 2),
    ],
)
def test_a_check_that_the_bench_entered_is_not_added_once_more(
    fleet, capacity_ah, days, bound, checks
):
    on, told = DAY + timedelta(days=days), {"capacity_ah": capacity_ah, "is_lower_bound": bound}
    bench = {"battery_id": fleet.plate("B-1").id, "discharge_current_a": 20.0, "minutes": 108.0}
    own = add_check(fleet, BenchCheck(on=on, **bench, **told)).entry
    again = {"again": days > 0}
    entry, _ = add_servicing(fleet, "B-1", ServicingFound.CAPACITY, DAY, 36.0, **again)
    assert len(fleet.entries(BenchCheck)) == checks
    assert (entry.record.check_id == own.id) is (checks == 1)


def test_a_check_told_once_more_does_not_score_the_answer_that_was_made_from_it(fleet):
    battery_id = fleet.plate("B-1").id
    add_check(fleet, BenchCheck(battery_id=battery_id, on=DAY, capacity_ah=36.0))
    taken(fleet, minutes=10.0)
    add_servicing(fleet, "B-1", ServicingFound.CAPACITY, DAY, 36.0)
    assert track_record(fleet).outcomes == ()


def test_the_same_answer_is_scored_by_one_find(fleet):
    taken(fleet, minutes=10.0)
    add_check(
        fleet,
        BenchCheck(battery_id=fleet.plate("B-1").id, on=DAY + timedelta(days=1), capacity_ah=39.0),
    )
    add_servicing(fleet, "B-1", ServicingFound.FAULTY_CELL, DAY + timedelta(days=2))
    assert [case.found for case in track_record(fleet).outcomes] == [Found.FAULTY_CELL]


def test_servicing_leaves_the_state_of_charge_open(fleet):
    taken(fleet)
    assert fleet.battery("B-1").last_known is not None
    add_servicing(fleet, "B-1", ServicingFound.NOTHING_WRONG, DAY + timedelta(days=2))
    assert fleet.battery("B-1").last_known is None


@pytest.mark.parametrize(
    ("found", "capacity_ah", "on", "words"),
    [
        (ServicingFound.CAPACITY, None, DAY, "a capacity in ampere-hours is told"),
        (ServicingFound.FAULTY_CELL, 30.0, DAY, "a capacity in ampere-hours is told"),
        (ServicingFound.FAULTY_CELL, None, date(2199, 1, 1), "later than today"),
        (ServicingFound.CAPACITY, 30.0, NEW - timedelta(days=1), "older than the installation"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_added(fleet, found, capacity_ah, on, words):
    with pytest.raises(InputError, match=words):
        add_servicing(fleet, "B-1", found, on, capacity_ah)
    assert fleet.entries(Servicing) == fleet.entries(BenchCheck) == ()


def test_a_zip_carries_answers_truths_and_servicings(fleet, new_sqlite, tmp_path):
    from batterymodel.store import open_store

    taken(fleet)
    add_servicing(fleet, "B-1", ServicingFound.CAPACITY, DAY + timedelta(days=2), 38.0, "bench 2")
    export_zip(fleet, tmp_path / "all.zip")
    other = open_store(new_sqlite("other"))
    import_zip(other, tmp_path / "all.zip")
    assert track_record(other) == track_record(fleet)
    assert [e.record for e in other.entries(Servicing)] == [
        e.record for e in fleet.entries(Servicing)
    ]


def test_an_assessment_of_before_answers_were_kept_is_an_answer(fleet):
    entry = taken(fleet, minutes=10.0).entry
    [found] = module._from_json(entry.record.assessment)
    assert found.outcome == entry.record.answers[-1].outcome
    assert (found.made_by, found.until_s) == (None, 600.0)
    assert module._from_json(None) == module._from_json("{}") == ()


def test_right_and_needless_outcomes(fleet):
    taken(fleet, minutes=10.0)
    add_servicing(fleet, "B-1", ServicingFound.NOTHING_WRONG, DAY + timedelta(days=2))
    [case] = track_record(fleet).outcomes
    said = case.answered.answer.outcome
    assert case.verdict is (Verdict.RIGHT if said is Outcome.TOP_OFF else Verdict.OPEN)


@pytest.mark.parametrize(("minutes", "end_s"), [(9.5, None), (10.0, 300.0), (120.0, 300.0)])
def test_an_early_answer_needs_readings_twice_as_long(minutes, end_s):
    readings = simulated_connection(0.1, minutes=minutes, every_s=30.0)
    assert kept_answers._early_end_s(readings) == end_s
