"""The command ``budget``: text, JSON, all tasks, and bad input as one sentence."""

import json
from datetime import date, datetime, time
from pathlib import Path

import pytest

from batterymodel.cli import main
from batterymodel.samples.connections import SAMPLE_FOLDER
from batterymodel.say.ground_power import (
    battery_words,
    learned_from_words,
    loads_words,
    power_view,
)
from batterymodel.store import open_store
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.store.power import loads_in_force, supply_named

LOADS = SAMPLE_FOLDER / "demo-1-loads.toml"
TWIN = SAMPLE_FOLDER / "demo-7-loads.toml"
SUPPLY = ["--supply", str(SAMPLE_FOLDER / "hangar-supply.toml")]
BATTERY = ["--battery", str(SAMPLE_FOLDER / "healthy-top-off.toml")]
LOG = ["--log", str(SAMPLE_FOLDER / "healthy-top-off.csv")]
STEPS = ["--log", str(SAMPLE_FOLDER / "marked-load-steps.csv")]
TASK = ["--task", "Hydraulic check"]
TOLD = ["--rest-voltage", "25.6", "--load", "8"]
README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def run(capsys, *arguments):
    status = main(["budget", *map(str, arguments)])
    return status, *capsys.readouterr()


def test_example_of_the_readme_answers_as_it_says(capsys):
    status, out, err = run(capsys, LOADS, *SUPPLY, *TASK, *LOG, *BATTERY, *TOLD)
    assert (status, err) == (0, "")
    first = " ".join(out.split("\n\n")[0].split()).split(" Not checked")[0]
    assert f"It answers: {first.removeprefix('Hydraulic check: ')}" in README


def test_json_is_the_budget_and_a_log_tells_draw_and_currents(capsys):
    # the marked step of that log is 11 A
    status, out, err = run(capsys, LOADS, *SUPPLY, "--task", "database update", *STEPS, *BATTERY,
                           *TOLD, "--on", "2026-02-16", "--json")  # fmt: skip
    assert (status, err) == (0, "")
    told = json.loads(out)
    assert (told["verdict"], told["task"]) == ("fits", "Database update")
    assert told["configuration"]["on"] == "2026-02-16"
    assert told["battery_a"]["mean"] == pytest.approx(7.5, abs=1.5)
    assert told["on_battery"]["minutes"]["level"] == 0.9
    (learned,) = told["learned"]
    assert learned["name"] == "Avionics"
    assert learned["seen_a"] == pytest.approx(11.0, abs=0.3)


def minutes_alone(capsys, key, *arguments):
    """Minutes on the battery alone with the log and battery of a sample."""
    told = ["--log", SAMPLE_FOLDER / f"{key}.csv", "--battery", SAMPLE_FOLDER / f"{key}.toml"]
    out = run(capsys, LOADS, *SUPPLY, "--task", "Database update", *told, *TOLD, "--json",
              *arguments)[1]  # fmt: skip
    return json.loads(out)["on_battery"]["minutes"]["mean"]


def test_battery_is_as_cold_as_its_readings_say_else_as_the_air(capsys):
    cold, warm = (minutes_alone(capsys, "coarse-meter", "--ambient", c) for c in ("5", "25"))
    assert cold < 0.95 * warm
    read = minutes_alone(capsys, "healthy-top-off")
    assert read == minutes_alone(capsys, "healthy-top-off", "--ambient", "40")


def test_without_a_log_it_says_what_is_not_known(capsys):
    status, out, _ = run(capsys, LOADS, *SUPPLY, "--task", "Database update")
    words = " ".join(out.split())
    assert status == 0
    assert "Not checked: what the battery draws" in words
    assert "How long the battery alone would last is not known" in words
    assert "Nobody told what the battery draws" in words


def test_warm_air_at_the_supply_lowers_its_rating(capsys):
    # 1 A for each of 15 °C above 40 °C
    out = run(capsys, LOADS, *SUPPLY, "--task", "Database update", "--supply-temp", "55")[1]
    assert "supply rating when warm" in out
    assert "45 A" in out


def test_all_tasks_in_short_where_none_is_named(capsys):
    status, out, err = run(capsys, TWIN, *SUPPLY)
    assert (status, err) == (0, "")
    words = " ".join(out.split())
    for said in ("Database update (60 minutes): fits", "Gear swing (30 minutes): does not fit"):
        assert said in words


def test_the_only_task_needs_no_name(capsys, tmp_path):
    one = tmp_path / "one.toml"
    one.write_text(
        'tail = "D"\n[[consumers]]\nname = "Radio"\ncontinuous_a = 4\n'
        '[[tasks]]\nname = "Listen"\nminutes = 20\nneeds = ["Radio"]\n'
    )
    status, out, _ = run(capsys, one, *SUPPLY, "--json")
    assert (status, json.loads(out)["task"]) == (0, "Listen")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([LOADS, *SUPPLY, "--task", "Hydraulics"], "no task is named 'Hydraulics'"),
        ([LOADS, *SUPPLY, "--json"], "--json needs --task with one of: Database update, Panel"),
        ([LOADS, *SUPPLY, *LOG], "--log LOG.csv and --battery B.toml together"),
        ([LOADS, *SUPPLY, *BATTERY], "--log LOG.csv and --battery B.toml together"),
        ([LOADS, *SUPPLY, "--rest-voltage", "25"], "--rest-voltage is of a log"),
        ([LOADS, *SUPPLY, "--column", "A=supply_current_a:A"], "--column is of a log"),
        ([LOADS, *SUPPLY, "--supply-temp", "200"], "-60 to 80 °C would be right"),
        (["gone.toml", *SUPPLY], "gone.toml: no such file"),
        ([LOADS, "--supply", "gone.toml"], "gone.toml: no such file"),
        ([SAMPLE_FOLDER / "supply.toml", *SUPPLY], "'tail' is missing"),
    ],
)
def test_bad_input_is_one_sentence(capsys, arguments, words):
    status, out, err = run(capsys, *arguments)
    assert (status, out) == (2, "")
    assert words in err
    assert len(err.splitlines()) == 1


HEAD = 'tail = "D"\n[[consumers]]\nname = "Radio"\ncontinuous_a = {amperes}\n'
A_TASK = '[[tasks]]\nname = "Listen"\nminutes = {minutes}\nneeds = ["{needs}"]\n'


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (HEAD.format(amperes=-4), "continuous_a: at least 0 A"),
        (HEAD.format(amperes=4), "has no task"),
        (
            HEAD.format(amperes=4) + A_TASK.format(minutes=20, needs="Rdaio"),
            "names 'Rdaio', which is no consumer of this aircraft; 'Radio' is one",
        ),
        (
            HEAD.format(amperes=4) + A_TASK.format(minutes=1441, needs="Radio"),
            "at most a day; up to 1440 would be right",
        ),
        (
            'tail = "D"\n' + "".join(
                f'[[consumers]]\nname = "C{k}"\ncontinuous_a = 1\n' for k in range(10_000)
            ),
            "10000 consumers are given; at most 200 would be right",
        ),
    ],
)  # fmt: skip
def test_a_load_plan_that_cannot_be_right_is_one_sentence(capsys, tmp_path, text, words):
    plan = tmp_path / "plan.toml"
    plan.write_text(text)
    status, out, err = run(capsys, plan, *SUPPLY)
    assert (status, out) == (2, "")
    assert words in err
    assert err.startswith(f"batterymodel: {plan}: ")
    assert len(err.splitlines()) == 1


def test_a_circuit_of_nothing_is_one_sentence(capsys, tmp_path):
    supply = tmp_path / "s.toml"
    supply.write_text("rated_current_a = 60\ncircuit_breaker_a = 0\n")
    status, _, err = run(capsys, LOADS, "--supply", supply)
    assert status == 2
    assert err == f"batterymodel: {supply}: circuit_breaker_a: more than 0 A (given: 0)\n"


SHOP = """name = "Cart"
rated_current_a = 60.0
input_voltage_v = 120.0
input_current_full_load_a = 17.5

[[circuits]]
name = "Bench"
circuit_breaker_a = 15.0

[[circuits]]
name = "Hangar wall"
circuit_breaker_a = 20.0
"""


def on_circuit(capsys, tmp_path, text, *arguments):
    (tmp_path / "cart.toml").write_text(text, encoding="utf-8")
    return run(capsys, LOADS, "--supply", tmp_path / "cart.toml", *TASK, *arguments)


def test_a_supply_is_taken_as_the_record_takes_it_on_the_circuit_that_is_named(capsys, tmp_path):
    """15 A over 17.5 A of 60 A are 51 A; 20 A carry more than the supply gives."""
    for circuit, limit_a in (("bench", 60.0 * 15.0 / 17.5), ("Hangar wall", 60.0)):
        _, out, _ = on_circuit(capsys, tmp_path, SHOP, "--circuit", circuit, "--json")
        assert json.loads(out)["capability"]["limit_a"] == pytest.approx(limit_a)


@pytest.mark.parametrize(
    ("text", "arguments", "says"),
    [
        (SHOP, (), "give --circuit with one of: Bench, Hangar wall"),
        (
            SHOP,
            ("--circuit", "Attic"),
            "no circuit is named 'Attic'; it has 'Bench', 'Hangar wall'",
        ),
        ("rated_current_a = 60.0", ("--circuit", "Bench"), "--circuit is of a supply with"),
    ],
)
def test_a_circuit_that_is_not_there_is_one_sentence(capsys, tmp_path, text, arguments, says):
    status, out, err = on_circuit(capsys, tmp_path, text, *arguments)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert says in err


@pytest.fixture
def fleet(demo_sqlite, monkeypatch):
    """The invented fleet, which a command here only reads."""
    monkeypatch.setenv(URL_VARIABLE, str(demo_sqlite))
    return open_store(demo_sqlite)


LISTEN = '[[tasks]]\nname = "Listen"\nminutes = 20\nneeds = ["Radio"]\n'
ON_RECORD = ["--tail", "DEMO-1", "--supply-name", "HANGAR supply", "--circuit", "Hangar wall"]


def test_an_aircraft_and_a_supply_on_record_answer_as_the_page_does(capsys, fleet):
    on = date(2026, 3, 4)
    status, out, err = run(capsys, *ON_RECORD, *TASK, "--on", str(on), "--json")
    assert status == 0
    now = datetime.combine(on, time(12)).astimezone()
    supply = supply_named(fleet, "Hangar supply").on_circuit("Hangar wall")
    view = power_view(fleet, "DEMO-1", "Hydraulic check", supply, now)
    assert json.loads(out) == json.loads(view.budget.model_dump_json())
    said = " ".join(err.split())
    for words in (
        "Supply: Hangar supply on Hangar wall, of the record.",
        loads_words(view.learned.loads),
        learned_from_words(view.learned),
        battery_words(view, now),
    ):
        assert words in said


def test_what_was_taken_of_the_record_stands_above_the_answer(capsys, fleet):
    status, out, err = run(capsys, *ON_RECORD, *TASK, "--on", "2026-03-04")
    assert (status, err) == (0, "")
    head, answer, *_ = (" ".join(part.split()) for part in out.split("\n\n"))
    assert head.startswith("Supply: Hangar supply on Hangar wall, of the record. Consumers and ta")
    assert "The battery SF-101 is counted with" in head
    assert answer.startswith("Hydraulic check: fits without Cabin blower")
    assert "with readings = " not in out


def test_all_tasks_of_an_aircraft_on_record_in_short(capsys, fleet):
    out = run(capsys, *ON_RECORD, "--on", "2026-03-04")[1]
    for task in loads_in_force(fleet, "DEMO-1").tasks:
        assert f"{task.name} (" in out


def test_files_win_over_the_record(capsys, fleet, tmp_path):
    """Loads of a file stand as they are; a log and its battery take the place of the record's."""
    loads = tmp_path / "own.toml"
    loads.write_text(HEAD.format(amperes=4).replace('"D"', '"DEMO-1"') + LISTEN, encoding="utf-8")
    out = run(capsys, loads, *ON_RECORD, "--on", "2026-03-04", "--json")[1]
    told = json.loads(out)
    assert told["consumers"][0]["continuous_a"]["mean"] == 4.0
    assert told["battery_a"] is not None
    _, out, err = run(capsys, *ON_RECORD, *TASK, *LOG, *BATTERY, *TOLD, "--json")
    by_log = json.loads(run(capsys, LOADS, *SUPPLY, *TASK, *LOG, *BATTERY, *TOLD, "--json")[1])
    assert json.loads(out)["battery_a"]["mean"] == pytest.approx(by_log["battery_a"]["mean"])
    said = " ".join(err.split())
    assert "top-off.csv shows it." in said
    assert "SF-101" not in said


def test_a_supply_on_record_for_loads_of_a_file_opens_no_battery(capsys, fleet):
    out = run(capsys, LOADS, *ON_RECORD[2:], *TASK)[1]
    assert out.startswith("Supply: Hangar supply on Hangar wall, of the record.\n\n")
    assert "Nobody told what the battery draws" in " ".join(out.split())


def test_without_a_name_of_the_record_none_is_opened(capsys, tmp_path, monkeypatch):
    path = tmp_path / "none.sqlite"
    monkeypatch.setenv(URL_VARIABLE, str(path))
    assert run(capsys, LOADS, *SUPPLY, *TASK)[0] == 0
    assert not path.exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([*SUPPLY], "LOADS.toml, or --tail with an aircraft on record, would be right"),
        ([LOADS], "neither of --supply S.toml and --supply-name NAME given; one would be right"),
        ([LOADS, *SUPPLY, "--supply-name", "Cart"], "both of --supply S.toml and --supply-name"),
        ([LOADS, *SUPPLY, "--database", "x.sqlite"], "--database is of a record; give --tail"),
        ([*ON_RECORD[:4]], "Hangar supply: has several circuits; give --circuit with one of"),
        ([*ON_RECORD[:2], "--supply-name", "Cart"], "there is no supply 'Cart' in the record; it"),
        (["--tail", "DEMO-99", *SUPPLY], "no aircraft 'DEMO-99'"),
        (["--tail", "DEMO-3", *SUPPLY], "No consumers and tasks of DEMO-3 are on record"),
        (
            ["--tail", "DEMO-1", *SUPPLY, "--on", "2020-01-01"],
            "are on record for 2020-01-01: the first are of 20",
        ),
        ([TWIN, "--tail", "DEMO-1", *SUPPLY], "those of 'DEMO-7', not of 'DEMO-1'"),
        ([*ON_RECORD, "--load", "8"], "--load is of a log"),
    ],
)
def test_what_does_not_go_together_with_the_record_is_one_sentence(capsys, fleet, arguments, words):
    status, out, err = run(capsys, *arguments)
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert words in err
