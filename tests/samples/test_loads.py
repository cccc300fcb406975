"""The invented aircraft and their supply: read back as written, and showing every verdict."""

import pytest

from batterymodel.budget.plan import budget
from batterymodel.budget.results import Verdict
from batterymodel.samples.connections import SAMPLE_FOLDER, load_scenario
from batterymodel.samples.loads import (
    HANGAR_SUPPLY,
    LIGHT_SINGLE,
    LIGHT_TWIN,
    LOADS_FILES,
    SUPPLY_FILE,
    load_ground_power,
)

AIRCRAFT = (LIGHT_SINGLE, LIGHT_TWIN)


def test_files_read_back_to_what_is_written():
    assert load_ground_power(SAMPLE_FOLDER) == (AIRCRAFT, HANGAR_SUPPLY)


def test_a_folder_without_them_has_the_supply_and_no_aircraft(tmp_path):
    assert load_ground_power(tmp_path) == ((), HANGAR_SUPPLY)


@pytest.mark.parametrize("name", [*LOADS_FILES, SUPPLY_FILE])
def test_every_file_says_that_it_is_invented(name):
    first = (SAMPLE_FOLDER / name).read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith("# Invented, at Saltmarsh Field (invented)")
    assert "own choice" in first


@pytest.mark.parametrize("loads", AIRCRAFT, ids=lambda loads: loads.tail)
def test_aircraft_are_of_the_invented_fleet(loads):
    assert loads.tail in {sample.battery.tail for sample in load_scenario()[0]}
    for said in (loads.document, loads.said_by):
        assert "invented" in said.lower()
    assert any(not one.may_switch_off for one in loads.consumers)
    assert any(one.starting_a for one in loads.consumers)


def test_the_tasks_show_every_verdict():
    verdicts = {
        budget(loads, task.name, HANGAR_SUPPLY).verdict
        for loads in AIRCRAFT
        for task in loads.tasks
    }
    assert verdicts == set(Verdict)
