"""What the owner's sheet says: every number from the assessment, in words an owner can read."""

import json

import pytest

from batterymodel.errors import InputError
from batterymodel.fade.forecast import fade_forecast
from batterymodel.inputs.check_record import checks_from_bytes
from batterymodel.inputs.records import Limits
from batterymodel.rules.results import Finding, Severity
from batterymodel.rules.wording import CAUTIONS, GENERIC_MARK, NICD_CAUTION, OUTCOME_WORDS
from batterymodel.samples.connections import SCENARIO_DAY
from batterymodel.sheet import wording as words
from batterymodel.sheet.pdf import sheet_pdf
from batterymodel.sheet.sections import DOUBTED_BY, MOST_FINDINGS, sheet_content
from tests.conftest import assessed_sample
from tests.sheet.cases import (
    BY_KEY,
    GRADE,
    KEYS,
    SUPPLY,
    content_of,
    forecast_of,
    strange_numbers,
    text_of,
    with_findings,
    without_pictures,
)
from tests.sparing import sparing

ALL_ON_CARD = BY_KEY["healthy-top-off"].battery.limits.model_copy(
    update={"capacity_check_interval_days": 365.0}
)


def shown(interval: dict, unit: str) -> str:
    """Value and range as the sheet must round them, from the JSON."""
    if unit == "%":
        mean, low, high = (f"{100 * interval[k]:.0f}" for k in ("mean", "low", "high"))
    else:
        wide = interval["high"] - interval["low"] >= 10.0 or unit == "min"
        mean, low, high = (f"{interval[k]:.{0 if wide else 1}f}" for k in ("mean", "low", "high"))
    return f"{mean} {unit} {low} to {high} {unit}"


def expected_rows(key: str) -> list[str]:
    """Lines of the table of measured values, straight from the JSON."""
    told = json.loads(assessed_sample(key).model_dump_json())
    soc = told["state_of_charge"]
    lines = [
        f"Charge when joined {shown(soc['at_connection'], '%')}",
        f"Charge at the last reading {shown(soc['now'], '%')}",
        f"Charge still to come {shown(told['charge_to_return_ah'], 'Ah')}",
        f"Current when joined {told['taper']['amplitude_a']:.0f}",
        f"Current drawn of the supply {told['supply']['continuous_a']:.0f} A",
        f"Most the supply can give {told['supply']['limit_a']:.0f} A",
    ]
    half = 1.6449 * told["taper"]["standard_errors"]["amplitude_a"]
    digits = 0 if half > 5.0 else 1
    lines[3] = f"Current when joined {told['taper']['amplitude_a']:.{digits}f} A"
    if assessed_sample(key).minutes_shown is not None:
        lines.append(f"Time until full {shown(told['minutes_to_top_off'], 'min')}")
    measured = expected_measured(key)
    if measured is not None:
        lines.append(f"Capacity, measured {shown(measured, 'Ah')}")
    for finding in told["findings"]:
        if finding["rule"] == "battery_temperature" and finding["value"] is not None:
            lines.append(f"Battery temperature {finding['value']:.0f} °C")
        if finding["rule"] == "rest_voltage":
            lines.append(f"Rest voltage {finding['value']:.2f} V")
    return lines + expected_forecast(key)


def expected_measured(key: str) -> dict | None:
    """The newer of the battery's own check and the last one of its record."""
    told, check = json.loads(assessed_sample(key).model_dump_json()), BY_KEY[key].battery
    found = []
    if check.capacity_check is not None:
        found.append((str(check.capacity_check.on), told["capacity_ah"]))
    if (forecast := forecast_of(key)) is not None:
        record = json.loads(forecast.model_dump_json())
        found.append((record["measured_on"], record["measured_ah"]))
    return max(found, key=lambda pair: pair[0])[1] if found else None


def expected_forecast(key: str) -> list[str]:
    forecast = forecast_of(key)
    if forecast is None:
        return []
    told = json.loads(forecast.model_dump_json())
    loss = told["fade_percent"]
    return [
        f"Capacity, by its trend {shown(told['capacity_ah'], 'Ah')}",
        f"Loss of capacity a year {loss['mean']:.1f} % {loss['low']:.1f} to {loss['high']:.1f} %",
        "Below its limit from second half of 2024 2024 to 2025 (80 % range)",
    ]


@pytest.mark.parametrize("key", sparing(KEYS))
class TestEverySample:
    @pytest.mark.tools
    def test_every_measured_value_is_that_of_the_json(self, key: str):
        pytest.importorskip("pypdfium2")
        text = text_of(sheet_pdf(without_pictures(content_of(key))))
        for line in expected_rows(key):
            assert line in text, line

    def test_no_number_comes_from_elsewhere(self, key: str):
        """Each number in the text is one of assessment, forecast or battery at its rounding."""
        told = assessed_sample(key), BY_KEY[key].battery, SUPPLY, forecast_of(key)
        assert strange_numbers(content_of(key), *told) == set()

    @pytest.mark.tools
    def test_prose_can_be_read_after_nine_years_of_school(self, key: str):
        textstat = pytest.importorskip("textstat")
        assert textstat.flesch_kincaid_grade(" ".join(content_of(key).prose())) <= GRADE

    def test_outcome_is_said_by_word_sign_and_reason(self, key: str):
        content, result = content_of(key), assessed_sample(key)
        assert content.word == OUTCOME_WORDS[result.outcome]
        assert f"{content.word}: {content.reason}".lower() == result.headline.lower()

    def test_cautions_are_those_of_the_assessment(self, key: str):
        said = content_of(key).section("cautions").sentences
        assert set(CAUTIONS) <= set(said)
        assert (NICD_CAUTION in said) == (BY_KEY[key].battery.chemistry == "nicd")

    def test_every_open_finding_is_told_and_every_fine_one_that_was_read_named(self, key: str):
        why = content_of(key).section("why")
        findings = assessed_sample(key).findings
        told = [f.text for f in findings if f.severity != "ok"]
        assert [f.text for f in why.findings] == told[:MOST_FINDINGS]
        rests_on = {"battery_temperature": "temperature", "set_voltage": "voltage"}
        told_alone = assessed_sample(key).not_checked
        open_ = [f for f in findings if f.severity != "ok"]
        too_high = {"set_voltage"} if is_above(findings) else set()
        doubts = (DOUBTED_BY.get(f.rule, ()) for f in open_ if f.rule not in too_high)
        doubted = {rule for rules in doubts for rule in rules}
        fine = sum(
            f.severity == "ok" and rests_on.get(f.rule) not in told_alone and f.rule not in doubted
            for f in findings
        )
        named = [s for s in why.sentences if s.startswith("Looked at and fine")]
        assert sum(s.count(",") + 1 for s in named) == fine


def is_above(findings) -> bool:
    """Whether the supply's voltage is over its limit, which doubts no charge."""
    return any(f.rule == "set_voltage" and f.limit and f.value > f.limit for f in findings)


def content(key: str, **told: object):
    battery = told.pop("battery", BY_KEY[key].battery)
    return sheet_content(assessed_sample(key), battery, SCENARIO_DAY, **told)


def test_forty_findings_are_cut_with_a_sentence():
    made = sheet_content(
        with_findings("healthy-top-off", 40), BY_KEY["healthy-top-off"].battery, SCENARIO_DAY
    )
    why = made.section("why")
    assert len(why.findings) == MOST_FINDINGS
    assert f"{40 - MOST_FINDINGS} more findings are in the full report." in why.sentences


def test_what_is_missing_is_said():
    made = content("no-card-no-load")
    assert ("Ground supply", words.NOT_GIVEN) in made.head
    assert ("Owner", words.NOT_GIVEN) in made.head
    assert words.CAPACITY["told_none"] in made.section("pictures").sentences
    assert words.CAPTIONS["no_history"] in made.section("pictures").pictures[0].words
    assert words.MAKER["none"] in made.section("maker").sentences


def test_one_check_alone_is_told_from_none():
    assert words.CAPACITY["told_one"] in content("healthy-top-off").section("pictures").sentences


@pytest.mark.parametrize("on_file", [0, 1, 4])
def test_only_a_record_that_was_asked_is_said_to_hold_no_checks(on_file: int):
    """Files alone say nothing of what else is on file."""
    told = " ".join(content("healthy-top-off").section("pictures").sentences)
    asked = content("healthy-top-off", checks_on_file=on_file).section("pictures").sentences
    assert "on file" not in told
    assert asked[0] == words.CAPACITY["no_trend" if on_file else "none"]


def test_document_of_the_card_is_named_and_generic_limits_are_marked():
    maker = content("healthy-top-off").section("maker")
    assert "DEMO-MM-1, revision B" in maker.sentences[0]
    marks = {row[0]: row[2] for row in maker.table.rows}
    assert marks["Least charge to top off in place"] == "maker"
    assert marks["Time between capacity checks"] == "generic"


def test_limits_without_a_title_are_not_called_generic():
    battery = BY_KEY["healthy-top-off"].battery
    limits = battery.limits.model_copy(update={"document": None})
    made = content("healthy-top-off", battery=battery.model_copy(update={"limits": limits}))
    assert made.section("maker").sentences[0] == words.MAKER["unnamed"]


def test_a_supply_at_its_limit_throughout_gives_a_bound_not_a_value():
    said = content_of("supply-at-its-limit").section("seen").sentences[-1]
    high = assessed_sample("supply-at-its-limit").state_of_charge.at_connection.high
    assert said == words.SEEN["bound"].format(high=f"{100 * high:.0f} %")


@pytest.mark.parametrize(
    ("limits", "title"),
    [
        (Limits(), "none"),
        (Limits(document="Manual", end_voltage_v=20.0), "none"),
        (Limits(min_top_off_soc=0.8), "some"),
        (ALL_ON_CARD, "all"),
    ],
)
def test_the_table_of_limits_is_the_makers_only_where_its_rows_are(limits: Limits, title: str):
    """A card that names a document but none of these limits makes none of them the maker's."""
    battery = BY_KEY["healthy-top-off"].battery.model_copy(update={"limits": limits})
    maker = content("healthy-top-off", battery=battery).section("maker")
    marks = {mark for row in maker.table.rows for mark in row[2].split(", ")}
    assert maker.title == words.MAKER_TITLES[title]
    assert ("maker" in maker.title.lower()) == (words.FROM_CARD in marks)
    assert ("usual" in maker.title.lower()) == (GENERIC_MARK in marks)
    assert ("come from" in " ".join(maker.sentences)) == (words.FROM_CARD in marks)


def test_measured_and_trend_stand_apart_each_with_its_day():
    rows = {row[0]: row for row in content_of("worn-battery").section("measured").table.rows}
    found = forecast_of("worn-battery")
    measured, trend = rows["Capacity, measured"], rows["Capacity, by its trend"]
    assert measured[3] == "check of 2025-06-02"
    assert trend[1] == f"{found.capacity_ah.mean:.1f} Ah"
    assert trend[3] == f"on {found.last}"


def test_the_newer_check_is_the_measured_one():
    """The battery's own is of November 2025, the last of the record of May."""
    rows = {row[0]: row for row in content_of("healthy-top-off").section("measured").table.rows}
    assert rows["Capacity, measured"][1::2] == ("39.0 Ah", "check of 2025-11-10")


@pytest.mark.parametrize("key", KEYS)
def test_every_range_that_is_not_of_the_header_names_its_level(key: str):
    table = content_of(key).section("measured").table
    assert table.header[2] == "90 % range"
    for name, _, spread, _ in table.rows:
        assert ("(80 % range)" in spread) == (name == "Below its limit from")


def test_of_one_check_the_sheet_claims_no_trend_and_no_date():
    battery = BY_KEY["healthy-top-off"].battery
    one = checks_from_bytes(b"on,capacity_ah\n2025-11-10,39\n", "c.csv")
    made = content("healthy-top-off", forecast=fade_forecast(one, battery, today=SCENARIO_DAY))
    rows = {row[0] for row in made.section("measured").table.rows}
    assert {"Capacity, measured", "Usual loss of capacity a year"} <= rows
    assert not rows & {"Capacity, by its trend", "Loss of capacity a year", "Below its limit from"}
    assert "not a trend of its own" in made.section("pictures").pictures[1].words


@pytest.mark.parametrize(
    ("key", "said"),
    [("healthy-top-off", "among the readings"), ("coarse-meter", "told, of battery or air")],
)
def test_a_temperature_that_was_told_is_not_said_to_be_read(key: str, said: str):
    rows = {row[0]: row for row in content_of(key).section("measured").table.rows}
    assert ("temperature" in assessed_sample(key).not_checked) == said.startswith("told")
    assert rows["Battery temperature"][3] == said


def test_what_is_fine_is_not_named_by_what_it_warns_of():
    fine = content_of("healthy-top-off").section("why").sentences[-1]
    assert "age of the capacity check" in fine
    assert "due" not in fine


def test_too_long_an_owner_is_refused_in_a_sentence():
    with pytest.raises(InputError, match="has 61 characters; at most 60"):
        content("healthy-top-off", owner="x" * 61)


def test_owner_is_one_line():
    made = content("healthy-top-off", owner=" A.\n Owner\t")
    assert ("Owner", "A. Owner") in made.head


@pytest.mark.parametrize(
    ("key", "said"),
    [
        ("marked-load-steps", "avionics on (at 2 min), avionics off (at 4 min)"),
        ("undeclared-load-step", "At 2.5 min the current jumped"),
        ("rising-current-nicd", "From 4.2 min on it rose"),
    ],
)
def test_what_was_seen_tells_of_steps_and_of_a_rise(key, said):
    assert said in " ".join(content_of(key).section("seen").sentences)


def test_what_was_seen_tells_of_no_step_where_there_was_none():
    said = " ".join(content_of("healthy-top-off").section("seen").sentences)
    assert "jumped" not in said
    assert "rose" not in said
    assert "changed" not in said


def with_rule(key: str, rule: str, severity: Severity, **more: object) -> str:
    """What the sheet calls fine beside one finding more."""
    result = assessed_sample(key)
    others = tuple(f for f in result.findings if f.rule != rule)
    one = Finding(rule=rule, severity=severity, text="A finding of this test.", source="a rule")
    changed = result.model_copy(update={"findings": (one, *others), **more})
    section = sheet_content(changed, BY_KEY[key].battery, SCENARIO_DAY).section("why")
    return " ".join(section.sentences)


def test_nothing_is_called_fine_that_nobody_measured():
    key = "healthy-top-off"
    seen = with_rule(key, "battery_temperature", Severity.OK, not_checked=())
    assert "battery temperature" in seen
    unseen = with_rule(key, "battery_temperature", Severity.OK, not_checked=("temperature",))
    assert "battery temperature" not in unseen
    assert "supply voltage" in with_rule(key, "set_voltage", Severity.OK, not_checked=())
    assert "supply voltage" not in with_rule(
        key, "set_voltage", Severity.OK, not_checked=("voltage",)
    )


@pytest.mark.parametrize("rule", ["set_voltage", "rest_voltage", "contradiction"])
def test_a_charge_that_another_finding_doubts_is_not_called_fine(rule):
    key = "healthy-top-off"
    named = "charge at connection"
    assert named in with_rule(key, rule, Severity.NOTE)
    doubted = with_rule(key, rule, Severity.WATCH)
    assert named not in doubted
    assert "charge confirmed" not in doubted
    assert "rest voltage" not in doubted or rule == "set_voltage"
