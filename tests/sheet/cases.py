"""Sheets to test: every sample connection, and ones that are hard to lay out."""

from __future__ import annotations

import json
import re
from functools import cache

from batterymodel.fade.forecast import FadeForecast, fade_forecast
from batterymodel.inputs.records import Battery, Supply
from batterymodel.rules.results import Assessment, Finding, Severity
from batterymodel.samples.connections import SAMPLE_FOLDER, SCENARIO_DAY, Sample, load_scenario
from batterymodel.sheet.content import SheetContent
from batterymodel.sheet.pdf import sheet_pdf
from batterymodel.sheet.sections import sheet_content
from tests.conftest import assessed_sample

SAMPLES, SUPPLY = load_scenario()
BY_KEY = {sample.key: sample for sample in SAMPLES}
KEYS = tuple(BY_KEY)
NO_CHECKS = ("coarse-meter", "no-card-no-load", "completed-taper")
"""Samples whose sheets are made without a record of checks."""

GRADE = 9.0
"""Years of school that must be enough to read a sheet."""

NUMBER = re.compile(r"(?<![\w.-])[+-]?\d+(?:\.\d+)?(?![\w-])")
SAID_BY_THE_SHEET = {"100", "25", "28", "80", "90", "1", "2", "3", "4"}
"""Numbers that are words of the sheet: full, the reference temperature, the supply, the levels of
ranges, the steps."""

LONG_NAME = "Maximiliane Featherstonehaugh-Okonkwo of Saltmarsh Field, Ltd"[:60]


def sample_of(key: str) -> Sample:
    return BY_KEY[key]


def forecast_of(key: str) -> FadeForecast | None:
    """The sample record of checks, the same one for every sample that has it."""
    return None if key in NO_CHECKS else _forecast()


@cache
def _forecast() -> FadeForecast:
    battery = BY_KEY["healthy-top-off"].battery
    return fade_forecast(SAMPLE_FOLDER / "checks-fading.csv", battery, today=SCENARIO_DAY)


@cache
def content_of(key: str) -> SheetContent:
    """The sheet of a sample connection."""
    return sheet_content(
        assessed_sample(key),
        BY_KEY[key].battery,
        SCENARIO_DAY,
        supply=SUPPLY,
        forecast=forecast_of(key),
        owner="A. Owner",
    )


@cache
def pdf_of(key: str, paper: str) -> bytes:
    """The sheet of a sample connection as PDF."""
    return sheet_pdf(content_of(key), paper)


def with_findings(key: str, count: int) -> Assessment:
    """A sample's assessment with so many open findings, each as long as the longest."""
    result = assessed_sample(key)
    texts = sorted((f.text for f in result.findings), key=len)
    many = tuple(
        Finding(rule="load_unknown", severity=Severity.NOTE, text=texts[-1], source="a rule")
        for _ in range(count)
    )
    return result.model_copy(update={"findings": many})


def without_pictures(content: SheetContent) -> SheetContent:
    """The same sheet with no chart, whose axes would add numbers of their own."""
    sections = tuple(s.model_copy(update={"pictures": ()}) for s in content.sections)
    return content.model_copy(update={"sections": sections})


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


def strange_numbers(
    content: SheetContent,
    result: Assessment,
    battery: Battery,
    supply: Supply | None,
    forecast: FadeForecast | None,
) -> set[str]:
    """Numbers of a sheet that are none of its sources at their rounding."""
    told = [one for one in (result, battery, supply, forecast) if one is not None]
    half = 1.6448536 * result.taper.standard_errors["amplitude_a"]
    amplitude, curves = result.taper.amplitude_a, result.curves
    more = [amplitude - half, amplitude + half, curves.time_s.size, curves.time_s[-1] / 60.0]
    more += [curves.current_a[0], curves.current_a[-1]]
    more += [at / 60.0 for at, _, _ in curves.steps]
    more += [at / 60.0 for at in curves.time_s[curves.role == "current rising"][:1]]
    more += [min(c.probability, 0.99) for c in result.conditions]
    known = [*numbers_of([json.loads(one.model_dump_json()) for one in told]), *map(float, more)]
    bare = without_pictures(content)
    limits = {n for row in bare.section("maker").table.rows for c in row for n in NUMBER.findall(c)}
    said = set(NUMBER.findall(" ".join(bare.texts()))) - SAID_BY_THE_SHEET - limits
    return {token for token in said if not _is_near(token, known)}


def _is_near(token: str, known: list[float]) -> bool:
    digits = len(token.partition(".")[2])
    rounded = (f"{scale * v:.{digits}f}" for v in known for scale in (1, 100))
    return token.lstrip("+") in rounded


def text_of(data: bytes) -> str:
    """The selectable text of a PDF, in single spaces."""
    import pypdfium2

    document = pypdfium2.PdfDocument(data)
    pages = [page.get_textpage() for page in document]
    found = " ".join(page.get_text_bounded() for page in pages)
    for page in pages:
        page.close()
    document.close()
    return re.sub(r"\s+", " ", found)
