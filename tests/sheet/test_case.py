"""Sheets of batteries that are on record: built from it, however the connection came."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from batterymodel.sheet import wording as words
from batterymodel.sheet.case import SheetCase, recorded_case, with_record
from batterymodel.store import Store, open_store
from batterymodel.store.intake import add_battery
from batterymodel.store.records import BatteryPlate, BenchCheck, Servicing
from tests.conftest import assessed_sample
from tests.sheet.cases import BY_KEY, GRADE, SUPPLY, strange_numbers

DEMO = tuple(f"SF-{number}" for number in range(101, 111))
DAY = date(2026, 3, 2)
YEARS = (2022, 2023, 2024, 2025)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory, demo_sqlite: Path) -> Store:
    """An invented record of this module."""
    return open_store(shutil.copy(demo_sqlite, tmp_path_factory.mktemp("cases")))


def told_case(serial: str | None = None, **changed: object) -> SheetCase:
    """A connection as the page of a readings file assessed it, with no more than the last check."""
    battery = BY_KEY["healthy-top-off"].battery.model_copy(update=changed)
    return SheetCase(assessed_sample("healthy-top-off"), battery, DAY, SUPPLY, serial=serial)


def with_checks(store: Store, serial: str, *days: date, **more: object) -> None:
    """A battery like that of the sample, with a check of 40, 39 ... Ah on each day."""
    battery = BY_KEY["healthy-top-off"].battery.model_copy(update={"capacity_check": None})
    plate = add_battery(store, serial, battery, date(2020, 1, 1))
    for k, on in enumerate(days):
        store.add(BenchCheck(battery_id=plate.id, on=on, capacity_ah=40.0 - k, **more))


def pictures_of(case: SheetCase) -> str:
    section = case.content().section("pictures")
    return " ".join((*section.sentences, *(picture.words for picture in section.pictures)))


@pytest.mark.long
@pytest.mark.parametrize("told", ["B-7", None])
def test_a_battery_with_four_checks_on_record_is_not_said_to_have_one(sqlite_store, told):
    """As it was chosen on the page, or named by its serial in a file."""
    with_checks(sqlite_store, "B-7", *(date(year, 6, 1) for year in YEARS))
    before = told_case(told, tail="b-7" if told is None else "DEMO-1")
    case = with_record(sqlite_store, before)
    assert words.CAPACITY["told_one"] in pictures_of(before)
    assert words.CAPACITY["told_one"] not in pictures_of(case)
    assert case.forecast.checks == 4
    assert case.name == "B-7"
    assert ("Battery", "B-7") in case.content().head
    assert "B-7" in case.content().footer


def test_a_battery_with_no_check_on_record_is_said_to_have_none(sqlite_store):
    with_checks(sqlite_store, "B-7")
    case = with_record(sqlite_store, told_case("B-7"))
    assert pictures_of(case).startswith(f"{words.CAPACITY['none']} ")


def test_a_faulty_cell_on_record_stands_above_the_answer(sqlite_store):
    with_checks(sqlite_store, "B-7")
    plate = sqlite_store.plate("B-7")
    faulty = {"battery_id": plate.id, "found": "faulty_cell"}
    sqlite_store.add(Servicing(on=DAY + timedelta(days=1), **faulty))
    assert with_record(sqlite_store, told_case("B-7")).remarks == ()
    sqlite_store.add(Servicing(on=DAY - timedelta(days=1), **faulty))
    assert with_record(sqlite_store, told_case("B-7")).remarks == (
        "Servicing found a bad cell on 2026-03-01. Whether it was put right is not on record, and "
        "was not checked.",
    )


def test_checks_that_all_stopped_early_are_not_said_to_be_none(sqlite_store):
    days = [date(year, 6, 1) for year in YEARS]
    with_checks(sqlite_store, "B-7", *days, is_lower_bound=True)
    case = with_record(sqlite_store, told_case("B-7"))
    assert pictures_of(case).startswith(f"{words.CAPACITY['no_trend']} ")


def test_later_checks_are_said_to_be_there_and_not_counted(sqlite_store):
    """The sheet speaks of its own day; findings and trend know the same."""
    with_checks(sqlite_store, "B-7", *(date(year, 6, 1) for year in (2024, 2025, 2026)))
    case = with_record(sqlite_store, told_case("B-7"))
    assert case.forecast.checks == case.checks_on_file == 2
    assert case.remarks == (words.LATER_CHECKS,)
    later = with_record(sqlite_store, replace(told_case("B-7"), on=date(2026, 7, 1)))
    assert later.forecast.checks == 3
    assert later.remarks == ()


@pytest.mark.parametrize(
    "changed", [{"rated_capacity_ah": 24.0}, {"cells": 11}, {"tail": "ELSE-1"}]
)
def test_a_battery_that_is_not_the_one_on_record_takes_nothing_from_it(sqlite_store, changed):
    with_checks(sqlite_store, "B-7", *(date(year, 6, 1) for year in YEARS))
    case = told_case(None, **{"tail": "B-7", **changed})
    assert with_record(sqlite_store, case) == case


@pytest.mark.tools
@pytest.mark.long
@pytest.mark.parametrize("serial", DEMO)
def test_every_sheet_of_the_demo_record_is_true_to_it(demo: Store, serial: str):
    textstat = pytest.importorskip("textstat")
    case = recorded_case(demo, serial)
    content, said = case.content("A. Owner"), pictures_of(case)
    plate = demo.plate(serial)
    checks = demo.entries(BenchCheck, battery_id=plate.id)
    assert isinstance(plate.record, BatteryPlate)
    assert dict(content.head)["Battery"].startswith(serial)
    assert case.checks_on_file == len(checks)
    assert (words.CAPACITY["none"] in said) == (not checks)
    assert ("trend" in said and "not a trend of its own" not in said) == (
        len(checks) > 1
    ) or not checks
    assert textstat.flesch_kincaid_grade(" ".join(content.prose())) <= GRADE
    told = case.assessment, case.battery, case.supply, case.forecast
    assert strange_numbers(content, *told) - {serial[3:]} == set()


@pytest.mark.tools
@pytest.mark.slow
@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("serial", DEMO)
def test_every_sheet_of_the_demo_record_is_two_pages_long(demo: Store, serial: str, paper: str):
    pypdfium2 = pytest.importorskip("pypdfium2")
    document = pypdfium2.PdfDocument(recorded_case(demo, serial).pdf("A. Owner", paper))
    assert len(document) <= 2
    document.close()


@pytest.mark.long
def test_five_batteries_with_one_check_each_do_not_share_a_date(demo: Store):
    """Of one check no date of crossing is claimed at all."""
    alone = [case.forecast for case in (recorded_case(demo, s) for s in DEMO) if case.forecast]
    alone = [forecast for forecast in alone if forecast.checks == 1]
    assert len(alone) >= 5
    assert all(forecast.crossing.best is None for forecast in alone)
