"""The list of batteries by need of attention: order, words, and what it is made of."""

from __future__ import annotations

import itertools
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as some

from batterymodel import Battery
from batterymodel.inputs.records import Limits
from batterymodel.reference.limits import limit_for
from batterymodel.rules.results import SEVERITY_ORDER, Outcome, Severity
from batterymodel.rules.wording import (
    GENERIC_MARK,
    OUTCOME_SIGNS,
    OUTCOME_WORDS,
    SEVERITY_SIGNS,
)
from batterymodel.say import attention
from batterymodel.say.attention import (
    AttentionRow,
    Remark,
    attention_row,
    matching,
    worst_first,
)
from batterymodel.say.record_view import record_view
from batterymodel.store.corrections import corrected_entry
from batterymodel.store.intake import add_battery, add_fitted_battery
from batterymodel.store.records import BenchCheck, Connection, ServicingFound
from batterymodel.store.servicing import add_servicing

TODAY = date(2026, 2, 14)
DAY = timedelta(days=1)


def remark(severity: Severity) -> Remark:
    return Remark(severity, "x", severity.value)


@some.composite
def rows(draw) -> AttentionRow:
    severities = some.sampled_from(Severity)
    overdue = draw(some.integers(0, 400))
    return AttentionRow(
        serial=draw(some.text("AB12", min_size=1, max_size=4)),
        aircraft=draw(some.none() | some.text("XY9", min_size=1, max_size=3)),
        invented=False,
        outcome=remark(draw(severities)),
        capacity=remark(draw(severities)),
        check=remark(Severity.NOTE) if overdue else None,
        capacity_share=draw(some.none() | some.floats(0.1, 1.2)),
        overdue_days=overdue,
        trend=None,
    )


def rank(severity: Severity) -> int:
    return SEVERITY_ORDER.index(severity)


def ranks_of(row: AttentionRow) -> list[int]:
    return sorted((rank(r.severity) for r in row.remarks), reverse=True)


@given(some.lists(rows(), max_size=8))
def test_no_row_stands_above_a_graver_one(found: list[AttentionRow]) -> None:
    ordered = worst_first(found)
    assert sorted(map(id, ordered)) == sorted(map(id, found))
    for above, below in itertools.pairwise(ordered):
        assert rank(above.worst) >= rank(below.worst)
        if ranks_of(above) == ranks_of(below):
            assert above.overdue_days >= below.overdue_days


@given(some.lists(rows(), max_size=8), some.randoms())
def test_the_order_does_not_depend_on_how_the_rows_came(found, random) -> None:
    shuffled = list(found)
    random.shuffle(shuffled)
    assert worst_first(shuffled) == worst_first(found)


@given(some.lists(rows(), max_size=8), some.text("AB12XY9 ", max_size=3))
def test_search_keeps_just_the_rows_that_hold_every_word(found, wanted) -> None:
    kept = matching(found, wanted.lower())
    for row in found:
        holds = all(word in row.label.upper() for word in wanted.split())
        assert (row in kept) == holds


BATTERY = Battery(
    tail="HANGAR-1",
    chemistry="vrla",
    cells=12,
    rated_capacity_ah=40.0,
    limits={"min_capacity_fraction": 0.8, "capacity_check_interval_days": 180},
)


def with_checks(store, *checks: tuple[date, float], battery: Battery = BATTERY, **more):
    plate = add_battery(store, "B-1", battery, date(2020, 1, 1))
    for on, capacity_ah in checks:
        store.add(
            BenchCheck(
                battery_id=plate.id, on=on, capacity_ah=capacity_ah, capacity_sd_ah=0.5, **more
            )
        )
    return plate


def words(said: Remark) -> str:
    return f"{said.word} {said.more}".strip()


@pytest.mark.parametrize(
    ("days_ago", "said"),
    [
        (180, None),
        (181, "Check overdue since 2026-02-13, 1 day, by the card's interval"),
        (220, "Check overdue since 2026-01-05, 40 days, by the card's interval"),
    ],
)
def test_a_check_is_overdue_from_the_day_after_its_interval(sqlite_store, days_ago, said) -> None:
    with_checks(sqlite_store, (TODAY - days_ago * DAY, 36.0))
    row = attention_row(sqlite_store, "B-1", TODAY)
    assert (row.check and words(row.check)) == said
    assert row.overdue_days == max(days_ago - 180, 0)


def test_a_limit_that_is_no_makers_is_marked(sqlite_store) -> None:
    plain = BATTERY.model_copy(update={"limits": Limits()})
    with_checks(sqlite_store, (date(2020, 2, 1), 36.0), battery=plain)
    row = attention_row(sqlite_store, "B-1", TODAY)
    assert GENERIC_MARK in row.capacity.more
    assert GENERIC_MARK in row.check.more
    interval = limit_for(plain, "capacity_check_interval_days").value
    assert row.overdue_days == (TODAY - date(2020, 2, 1)).days - interval


@pytest.mark.parametrize(
    ("capacity_ah", "severity", "said"),
    [
        (31.0, Severity.SERVICE, "Capacity 78 % of rated, limit 80 %"),
        (32.2, Severity.NOTE, "Capacity 80 % of rated, limit 80 %"),
        (36.0, Severity.OK, "Capacity 90 % of rated, limit 80 %"),
    ],
)
def test_capacity_stands_against_its_limit(sqlite_store, capacity_ah, severity, said) -> None:
    with_checks(sqlite_store, (TODAY - 400 * DAY, 40.0), (TODAY - DAY, capacity_ah))
    row = attention_row(sqlite_store, "B-1", TODAY)
    assert (row.capacity.severity, words(row.capacity)) == (severity, said)
    assert row.capacity_share == pytest.approx(capacity_ah / 40.0)


def test_a_battery_of_which_nothing_is_known_says_so(sqlite_store) -> None:
    with_checks(sqlite_store)
    row = attention_row(sqlite_store, "B-1", TODAY)
    assert row.outcome.word == attention.NO_CONNECTION
    assert row.capacity.word == attention.NO_CHECK
    assert row.check is None
    assert row.trend is None
    assert row.label == "B-1, off aircraft"


def test_a_check_stopped_early_is_no_capacity(sqlite_store) -> None:
    with_checks(sqlite_store, (TODAY - 10 * DAY, 20.0), is_lower_bound=True)
    row = attention_row(sqlite_store, "B-1", TODAY)
    assert row.capacity.word == "Capacity at least 50 %"
    assert row.capacity.severity is Severity.NOTE
    assert row.capacity_share is None
    assert row.trend is None


def test_the_trend_tells_its_checks_in_words(sqlite_store) -> None:
    with_checks(sqlite_store, (date(2025, 1, 1), 40.0), (date(2026, 1, 1), 34.0))
    row = attention_row(sqlite_store, "B-1", TODAY)
    assert row.trend.words == (
        "Capacity over 2 checks: 100 % of rated on 2025-01-01, 85 % on 2026-01-01; "
        "the limit is 80 %."
    )


def connection(store, battery_id: str, aircraft_id: str, day: date, outcome: str | None):
    told = {"assessment": f'{{"outcome": "{outcome}"}}'} if outcome else {"not_assessed": "too few"}
    sha256 = store.keep_file(b"elapsed_s,supply_current_a\n")
    return store.add(
        Connection(
            battery_id=battery_id,
            aircraft_id=aircraft_id,
            day=day,
            file_name="a.csv",
            readings_sha256=sha256,
            **told,
        )
    )


@pytest.mark.parametrize("outcome", Outcome)
def test_the_last_outcome_has_its_word_and_sign(sqlite_store, outcome) -> None:
    add_fitted_battery(sqlite_store, "B-1", BATTERY, "HANGAR-1", date(2020, 1, 1))
    ids = sqlite_store.plate("B-1").id, sqlite_store.aircraft("HANGAR-1").id
    connection(sqlite_store, *ids, date(2026, 1, 1), "disconnect")
    connection(sqlite_store, *ids, date(2026, 1, 2), outcome.value)
    said = attention_row(sqlite_store, "B-1", TODAY).outcome
    assert (said.word, said.sign) == (OUTCOME_WORDS[outcome], OUTCOME_SIGNS[outcome])
    assert said.more == "on 2026-01-02"
    fine = outcome is Outcome.TOP_OFF
    assert (said.severity is Severity.OK) == fine


def test_a_connection_that_was_not_assessed_is_to_be_watched(sqlite_store) -> None:
    add_fitted_battery(sqlite_store, "B-1", BATTERY, "HANGAR-1", date(2020, 1, 1))
    ids = sqlite_store.plate("B-1").id, sqlite_store.aircraft("HANGAR-1").id
    connection(sqlite_store, *ids, date(2026, 1, 1), None)
    said = attention_row(sqlite_store, "B-1", TODAY).outcome
    assert (said.severity, said.word) == (Severity.WATCH, "Not assessed (too few)")


def serviced(store, found: ServicingFound, on: date, outcome: str = "disconnect") -> Remark:
    """What the list says after servicing, of a battery connected on the second of January."""
    add_fitted_battery(store, "B-1", BATTERY, "HANGAR-1", date(2020, 1, 1))
    ids = store.plate("B-1").id, store.aircraft("HANGAR-1").id
    there = connection(store, *ids, date(2026, 1, 2), outcome)
    add_servicing(store, "B-1", found, on)
    told = there.record.model_copy(update={"rest_voltage_v": 25.0})
    store.correct(there.id, told, "the rest voltage was missing")
    return attention_row(store, "B-1", TODAY).outcome


def test_what_servicing_found_since_stands_before_the_old_answer(sqlite_store) -> None:
    """On the same day as well: it was written later, whatever is corrected of the connection."""
    said = serviced(sqlite_store, ServicingFound.NOTHING_WRONG, date(2026, 1, 2))
    assert said.severity is Severity.NOTE
    assert words(said) == (
        "Serviced since on 2026-01-02: nothing wrong; before: Disconnect now on 2026-01-02"
    )


def test_servicing_of_before_lifts_no_answer(sqlite_store) -> None:
    said = serviced(sqlite_store, ServicingFound.NOTHING_WRONG, date(2026, 1, 1))
    assert words(said) == "Disconnect now on 2026-01-02"


def test_a_faulty_cell_stays_whatever_the_connection_said(sqlite_store) -> None:
    said = serviced(sqlite_store, ServicingFound.FAULTY_CELL, date(2026, 1, 5), "top_off")
    assert said.severity is Severity.SERVICE
    assert words(said) == (
        "Servicing found a faulty cell on 2026-01-05; whether it was repaired is not on record"
    )


def test_a_faulty_cell_of_before_is_said_beside_a_fine_connection(sqlite_store) -> None:
    said = serviced(sqlite_store, ServicingFound.FAULTY_CELL, date(2026, 1, 1), "top_off")
    assert said.severity is Severity.WATCH
    assert said.sign == SEVERITY_SIGNS[Severity.WATCH]
    assert words(said) == (
        f"{OUTCOME_WORDS[Outcome.TOP_OFF]} on 2026-01-02; servicing found a faulty cell on "
        "2026-01-01, whether it was repaired is not on record"
    )
    add_servicing(sqlite_store, "B-1", ServicingFound.CAPACITY, date(2026, 1, 3), 39.0)
    said = attention_row(sqlite_store, "B-1", TODAY).outcome
    assert words(said) == f"{OUTCOME_WORDS[Outcome.TOP_OFF]} on 2026-01-02"


def test_a_faulty_cell_of_before_makes_no_grave_answer_milder(sqlite_store) -> None:
    said = serviced(sqlite_store, ServicingFound.FAULTY_CELL, date(2026, 1, 1))
    assert said.severity is Severity.DISCONNECT
    assert "faulty cell on 2026-01-01" in said.more


def test_a_correction_of_an_earlier_find_hides_no_later_one_of_its_day(sqlite_store) -> None:
    store, on = sqlite_store, date(2026, 1, 5)
    add_fitted_battery(store, "B-1", BATTERY, "HANGAR-1", date(2020, 1, 1))
    ids = store.plate("B-1").id, store.aircraft("HANGAR-1").id
    connection(store, *ids, date(2026, 1, 2), "top_off")
    first, _ = add_servicing(store, "B-1", ServicingFound.NOTHING_WRONG, on)
    add_servicing(store, "B-1", ServicingFound.FAULTY_CELL, on)
    corrected_entry(store, first.id, {"note": "seen by the bench"}, "a slip")
    for said in (attention_row(store, "B-1", TODAY), record_view(store, "B-1", TODAY)):
        assert said.outcome.word == attention.FAULTY_CELL


def test_a_correction_of_an_earlier_connection_is_not_the_last_of_its_day(sqlite_store) -> None:
    add_fitted_battery(sqlite_store, "B-1", BATTERY, "HANGAR-1", date(2020, 1, 1))
    ids = sqlite_store.plate("B-1").id, sqlite_store.aircraft("HANGAR-1").id
    first = connection(sqlite_store, *ids, date(2026, 1, 2), "top_off")
    connection(sqlite_store, *ids, date(2026, 1, 2), "disconnect")
    told = first.record.model_copy(update={"rest_after_v": 25.0})
    sqlite_store.correct(first.id, told, "the rest voltage after was missing")
    said = attention_row(sqlite_store, "B-1", TODAY).outcome
    assert said.word == OUTCOME_WORDS[Outcome.DISCONNECT]


def test_nothing_wrong_before_and_since_says_the_answer(sqlite_store) -> None:
    said = serviced(sqlite_store, ServicingFound.NOTHING_WRONG, date(2026, 1, 5), "top_off")
    assert words(said) == f"{OUTCOME_WORDS[Outcome.TOP_OFF]} on 2026-01-02"


def test_no_battery_gives_no_row() -> None:
    assert worst_first([]) == []
    assert matching([], "B-1") == []


@pytest.mark.parametrize("hidden", ["\u2060", "\u200b", "\u00ad", "\ufeff"])
def test_a_serial_with_an_invisible_character_is_found(hidden):
    row = AttentionRow(
        "SF-102", None, False, remark(Severity.OK), remark(Severity.OK), None, None, 0, None
    )
    assert matching([row], f"sf-{hidden}102") == [row]


def test_a_capacity_whose_check_is_overdue_is_that_of_the_last_check(sqlite_store):
    battery = Battery(
        tail="X-1",
        chemistry="vrla",
        cells=12,
        rated_capacity_ah=40.0,
        capacity_check={"capacity_ah": 39.2, "on": "2024-01-01"},
    )
    add_battery(sqlite_store, "B-9", battery)
    row = attention_row(sqlite_store, "B-9", TODAY)
    said = f"{row.capacity.word} {row.capacity.more}"
    assert said.startswith("Capacity 98 % of rated at the last check, limit 80 %")
    assert row.capacity.severity is Severity.NOTE
    in_time = attention_row(sqlite_store, "B-9", date(2024, 2, 1)).capacity
    assert in_time.severity is Severity.OK
    assert "at the last check" not in in_time.more
    assert (row.check.word, row.check.more[:17]) == ("Check overdue", "since 2024-12-31,")


@pytest.mark.parametrize("ah", [(30.0, 40.0), (40.0, 30.0)])
def test_of_checks_of_one_day_the_least_is_shown(store, ah) -> None:
    battery = Battery(tail="T", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
    plate = add_battery(store, "B-1", battery, date(2020, 1, 1))
    for one in ah:
        store.add(BenchCheck(battery_id=plate.id, on=TODAY, capacity_ah=one))
    row = attention_row(store, "B-1", TODAY)
    assert words(row.capacity).startswith("Capacity 75 %")
    assert row.capacity_share == 0.75


def test_a_check_stopped_early_is_no_point_of_the_trend(store) -> None:
    """One that ran to its end alone makes no line."""
    plate = with_checks(store, (TODAY - 300 * DAY, 39.0))
    early = {"on": TODAY, "capacity_ah": 20.0, "is_lower_bound": True}
    store.add(BenchCheck(battery_id=plate.id, **early))
    assert attention_row(store, "B-1", TODAY).trend is None
    store.add(BenchCheck(battery_id=plate.id, on=TODAY, capacity_ah=38.0))
    assert attention_row(store, "B-1", TODAY).trend is not None
