"""The job card: the HTML the pages are made of, from results alone."""

from collections.abc import Callable
from functools import cache

import pytest

from batterymodel import pages
from batterymodel.assessment import assess
from batterymodel.rules.results import Assessment, Finding, Outcome, Severity
from batterymodel.rules.wording import CAUTIONS, NICD_CAUTION, SHORT_CAUTIONS
from batterymodel.samples.connections import load_scenario, sample_readings_path


@cache
def answer(name: str) -> Assessment:
    battery = {sample.key: sample.battery for sample in load_scenario()[0]}[name]
    return assess(sample_readings_path(name), battery)


def test_short_cautions_stand_in_the_box() -> None:
    box = pages.outcome_box(answer("rising-current-nicd"))
    assert NICD_CAUTION in box
    box = pages.outcome_box(answer("healthy-top-off"))
    assert NICD_CAUTION not in box
    for said in ("Advice only", "Ventilate; no sparks", "Not for engine starting"):
        assert said in box
    assert len(" ".join(SHORT_CAUTIONS)) < 0.6 * len(" ".join(CAUTIONS))


def test_outcomes_and_severities_differ_by_sign_and_word() -> None:
    assert set(pages.OUTCOME_SIGNS) == set(Outcome)
    assert set(pages.SEVERITY_SIGNS) == set(Severity)
    for signs in (pages.OUTCOME_SIGNS, pages.SEVERITY_SIGNS):
        assert len(set(signs.values())) == len(signs)
    for outcome in (Outcome.KEEP_WATCHING, Outcome.SERVICE, Outcome.DISCONNECT):
        assert f".jc-box.{outcome} " in pages.STYLE


@pytest.mark.parametrize(
    ("limit", "unit", "words"),
    [
        (0.75, "fraction", "75 %"),
        (24.48, "V", "24.48 V"),
        (365.0, "days", "365 days"),
        (0.74441, "A", "0.74 A"),
        (1.00733, "A", "1.01 A"),
        (0.0432, "A", "0.0432 A"),
        (37.5, "A", "37.5 A"),
        (1.6, "-", ""),
        (None, None, ""),
    ],
)
def test_limits_are_written_as_read(limit: float | None, unit: str | None, words: str) -> None:
    finding = Finding(rule="x", severity=Severity.OK, text="", limit=limit, unit=unit)
    assert pages.limit_words(finding) == words


def test_generic_limits_are_marked_and_the_makers_are_not() -> None:
    make: Callable[..., Finding] = lambda **more: Finding(  # noqa: E731
        rule="capacity", severity=Severity.OK, text="t", limit=1.0, unit="A", **more
    )
    generic = pages.findings_list([make(source="value for x: y", generic=True)])
    assert '<span class="jc-generic">generic</span> value for x: y' in generic
    assert "jc-generic" not in pages.findings_list([make(source="manual")])
    assert "from manual" in pages.findings_list([make(source="manual")])


def test_literal_escapes_every_sign_markdown_knows() -> None:
    text = "*a* _b_ `c` [d](e) # $f$ <g> ~h~ | \\ & !"
    escaped = pages.literal(text)
    for sign in "*_`[]()#$<>~|&!":
        assert escaped.count(f"\\{sign}") == text.count(sign)
    assert ":smile:" not in pages.literal(":smile:").replace("\\", "")
    assert "->" not in pages.literal("a -> b").replace("\\", "")
    assert "--" not in pages.literal("a -- b").replace("\\", "")


def test_a_serial_copied_from_a_page_is_the_serial_on_record() -> None:
    assert pages.literal("SF-102, in X-9").replace("\\", "") == "SF-102, in X-9"


def pinned(name: str) -> str:
    return pages.pinned_outcome("DEMO-1", answer(name)).split("jc-pin-word", 1)[1]


def test_what_is_pinned_says_why_it_is_watched_where_that_is_not_the_charge() -> None:
    """The charge in short where it decides, what was not checked only beside a top-off."""
    step = answer("undeclared-load-step")
    assert step.outcome is Outcome.KEEP_WATCHING
    assert pages.shown(step.reason) in pinned("undeclared-load-step")
    charge = answer("no-card-no-load")
    assert (charge.outcome, charge.findings[0].rule) == ("keep_watching", pages.CHARGE_RULE)
    assert "Charge at connection" in pinned("no-card-no-load")
    assert "Not checked" not in pinned("no-card-no-load")
    full = answer("completed-taper")
    assert full.outcome is Outcome.TOP_OFF
    assert "Not checked" in pinned("completed-taper")
