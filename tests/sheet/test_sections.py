"""What the owner's sheet says: every number from the assessment, in words an owner can read."""

import json
import re

import pytest

from batterymodel.errors import InputError
from batterymodel.rules.results import Outcome
from batterymodel.rules.wording import CAUTIONS, NICD_CAUTION, OUTCOME_WORDS
from batterymodel.samples.connections import SCENARIO_DAY
from batterymodel.sheet import wording as words
from batterymodel.sheet.pdf import sheet_pdf
from batterymodel.sheet.sections import MOST_FINDINGS, sheet_content
from tests.conftest import assessed_sample
from tests.sheet.cases import (
    BY_KEY,
    KEYS,
    SUPPLY,
    content_of,
    forecast_of,
    text_of,
    with_findings,
    without_pictures,
)
from tests.sparing import sparing

GRADE = 9.0
NUMBER = re.compile(r"(?<![\w.-])[+-]?\d+(?:\.\d+)?(?![\w-])")
SAID_BY_THE_SHEET = {"100", "25", "28", "1", "2", "3", "4"}
"""Numbers that are words of the sheet: full, the reference temperature, the supply, the steps."""


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
    if told["outcome"] in ("top_off", "keep_watching"):
        lines.append(f"Time until full {shown(told['minutes_to_top_off'], 'min')}")
    if told["capacity_ah"] is not None:
        lines.append(f"Capacity, last check {shown(told['capacity_ah'], 'Ah')}")
    for finding in told["findings"]:
        if finding["rule"] == "battery_temperature" and finding["value"] is not None:
            lines.append(f"Battery temperature {finding['value']:.0f} °C")
        if finding["rule"] == "rest_voltage":
            lines.append(f"Rest voltage {finding['value']:.2f} V")
    return lines + expected_forecast(key)


def expected_forecast(key: str) -> list[str]:
    forecast = forecast_of(key)
    if forecast is None:
        return []
    told = json.loads(forecast.model_dump_json())
    loss = told["fade_percent"]
    return [
        f"Capacity, trend {shown(told['capacity_ah'], 'Ah')}",
        f"Loss of capacity a year {loss['mean']:.1f} % {loss['low']:.1f} to {loss['high']:.1f} %",
        f"Below its limit from {told['crossing']['best']} {told['crossing']['low']} to",
    ]


def numbers_of(value: object) -> list[float]:
    """Every number of a JSON value."""
    if isinstance(value, bool) or value is None:
        return []
    if isinstance(value, int | float):
        return [float(value)]
    if isinstance(value, str):
        return [float(n) for n in re.findall(r"\d+(?:\.\d+)?", value)]
    items = value.values() if isinstance(value, dict) else value
    return [n for item in items for n in numbers_of(item)]


@pytest.mark.parametrize("key", sparing(KEYS))
class TestEverySample:
    def test_every_measured_value_is_that_of_the_json(self, key: str):
        pytest.importorskip("pypdfium2")
        text = text_of(sheet_pdf(without_pictures(content_of(key))))
        for line in expected_rows(key):
            assert line in text, line

    def test_no_number_comes_from_elsewhere(self, key: str):
        """Each number in the text is one of assessment, forecast or battery at its rounding."""
        pytest.importorskip("pypdfium2")
        sample, result = BY_KEY[key], assessed_sample(key)
        sources = [json.loads(r.model_dump_json()) for r in (result, sample.battery, SUPPLY)]
        if (forecast := forecast_of(key)) is not None:
            sources.append(json.loads(forecast.model_dump_json()))
        half = 1.6448536 * result.taper.standard_errors["amplitude_a"]
        amplitude, curves = result.taper.amplitude_a, result.curves
        more = [amplitude - half, amplitude + half, curves.time_s.size, curves.time_s[-1] / 60.0]
        more += [curves.current_a[0], curves.current_a[-1]]
        more += [at / 60.0 for at, _, _ in curves.steps]
        more += [at / 60.0 for at in curves.time_s[curves.role == "current rising"][:1]]
        more += [min(c.probability, 0.99) for c in result.conditions]
        known = [*numbers_of(sources), *map(float, more)]
        table = without_pictures(content_of(key)).section("maker").table
        limits = {n for row in table.rows for cell in row for n in NUMBER.findall(cell)}
        for token in set(NUMBER.findall(" ".join(without_pictures(content_of(key)).texts()))):
            digits = len(token.partition(".")[2])
            near = any(
                f"{scale * v:.{digits}f}" == token.lstrip("+") for v in known for scale in (1, 100)
            )
            assert near or token in SAID_BY_THE_SHEET | limits, token

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

    def test_every_open_finding_is_told_and_every_fine_one_named(self, key: str):
        why = content_of(key).section("why")
        findings = assessed_sample(key).findings
        told = [f.text for f in findings if f.severity != "ok"]
        assert [f.text for f in why.findings] == told[:MOST_FINDINGS]
        fine = sum(f.severity == "ok" for f in findings)
        named = [s for s in why.sentences if s.startswith("Looked at and fine")]
        assert sum(s.count(",") + 1 for s in named) == fine


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
    assert words.CAPACITY["none"] in made.section("pictures").sentences
    assert words.CAPTIONS["no_history"] in made.section("pictures").pictures[0].words
    assert words.MAKER["none"] in made.section("maker").sentences


def test_one_check_alone_is_told_from_none():
    assert words.CAPACITY["one"] in content("healthy-top-off").section("pictures").sentences


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


def test_every_outcome_has_a_question_choices_and_a_consequence():
    for outcome in Outcome:
        assert words.ASKED[outcome].endswith("?")
        assert len(words.CHOICES[outcome]) >= 2
        assert words.NOTHING[outcome]


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
