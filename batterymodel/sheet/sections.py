"""What the owner's findings sheet says, before it is laid out: sections of plain sentences.

Everything comes from an assessment, a forecast and the battery by templates of `sheet.wording`;
numbers are rounded by the helpers of `say`. Nothing is estimated here.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from batterymodel.basis.intervals import Interval
from batterymodel.basis.text import counted, one_line
from batterymodel.charts.connection import taper_chart
from batterymodel.charts.normal import NormalTaper, normal_taper
from batterymodel.charts.record import fade_chart
from batterymodel.errors import InputError
from batterymodel.fade.forecast import FadeForecast
from batterymodel.fade.moments import Moment
from batterymodel.inputs.records import Battery, Supply
from batterymodel.reference.chemistry import data_for
from batterymodel.reference.limits import limit_for
from batterymodel.rules.results import RISING, Assessment, Curves, Finding, Severity
from batterymodel.rules.wording import (
    GENERIC_MARK,
    OUTCOME_SIGNS,
    OUTCOME_WORDS,
    RULE_WORDS,
    SEVERITY_SIGNS,
    SEVERITY_WORDS,
    doubts,
    meaning_of,
    minutes_words,
)
from batterymodel.say.capacity import crossing_words, loss_words
from batterymodel.say.connection import amount, fitted, limit_text, limit_words, percent
from batterymodel.sheet import wording as words
from batterymodel.sheet.consequences import consequence_of
from batterymodel.sheet.content import Picture, Section, SheetContent, SheetFinding, Table

MOST_FINDINGS = 6
"""Findings shown in full; the rest are in the full report, and the sheet says how many."""

UNSEEN = {"temperature": "battery_temperature", "voltage": "set_voltage"}
"""Rules that rest on what was told alone, by the check that nobody made."""

DOUBTED_BY = {
    "set_voltage": ("deep_discharge", "charge_confirmed", "other_conditions"),
    "supply_trip": ("charge_confirmed", "current_seen"),
    "rest_voltage": ("deep_discharge", "charge_confirmed", "other_conditions"),
    "contradiction": ("rest_voltage", "deep_discharge", "charge_confirmed", "other_conditions"),
}
"""Rules whose fine answer a finding of another speaks against; of the voltage a low one."""

MOST_OWNER = 60
ROUGH_RATE_PER_H = 1.0
"""Current over capacity above which the normal taper is called rough (own choice)."""

PICTURE_WIDTH_PX, PICTURE_HEIGHT_PX = 370, 190


def sheet_content(
    assessment: Assessment,
    battery: Battery,
    on: date,
    *,
    supply: Supply | None = None,
    forecast: FadeForecast | None = None,
    owner: str | None = None,
    name: str | None = None,
    remarks: tuple[str, ...] = (),
    checks_on_file: int | None = None,
) -> SheetContent:
    """The findings sheet of one connection.

    Parameters
    ----------
    assessment : Assessment
    battery : Battery
        The one that was assessed.
    on : date
        Day of the connection.
    supply : Supply, optional
        What the ground supply's plate says.
    forecast : FadeForecast, optional
        Capacity over time; without it the sheet says why it shows none.
    owner : str, optional
        Name of the owner, at most 60 characters.
    name : str, optional
        What the battery is called on the sheet; else its `tail`.
    remarks : tuple of str
        Sentences that stand above everything else.
    checks_on_file : int, optional
        Capacity checks in the record up to that day; None where no record was asked.

    Returns
    -------
    SheetContent

    Raises
    ------
    InputError
        An owner's name that is too long.
    """
    word = OUTCOME_WORDS[assessment.outcome]
    reason = assessment.reason
    named = {"battery": name or battery.tail, "on": on}
    owner = _owner(owner)
    meaning = meaning_of(assessment.outcome, topped_off=assessment.is_topped_off)
    follows = consequence_of(assessment, battery)
    return SheetContent(
        title=words.DOCUMENT_TITLE.format(**named),
        footer=words.FOOTER.format(**named),
        remarks=remarks,
        head=_head(battery, supply, {"owner": owner or words.NOT_GIVEN, **named}),
        outcome=assessment.outcome,
        sign=OUTCOME_SIGNS[assessment.outcome],
        word=word,
        reason=reason[0].upper() + reason[1:],
        meaning=" ".join((meaning, *_doubts(assessment))),
        sections=(
            _seen(assessment, battery),
            _why(assessment),
            _pictures(assessment, battery, forecast, checks_on_file),
            _measured(assessment, battery, forecast),
            _maker(battery),
            _section("next", assessment.next_steps),
            _section("asked", (follows.asked,), choices=follows.choices),
            _section("nothing", follows.nothing),
            _section("cautions", assessment.cautions),
            _signed(owner),
        ),
    )


def _owner(owner: str | None) -> str:
    name = one_line(owner or "")
    if len(name) > MOST_OWNER:
        raise InputError(
            f"the owner's name has {len(name)} characters; at most {MOST_OWNER} would be right"
        )
    return name


def _head(
    battery: Battery, supply: Supply | None, named: dict[str, Any]
) -> tuple[tuple[str, str], ...]:
    told = {
        **{key: str(value) for key, value in named.items()},
        "kind": words.KIND.format(
            label=data_for(battery.chemistry).label,
            cells=battery.cells,
            rated=battery.rated_capacity_ah,
        ),
        "supply": words.NOT_GIVEN
        if supply is None
        else words.SUPPLY.format(rated=supply.rated_current_a, volts=supply.set_voltage_v),
    }
    return tuple((words.HEAD[key], value) for key, value in told.items())


def _doubts(assessment: Assessment) -> tuple[str, ...]:
    return doubts(assessment.outcome, assessment.not_checked, assessment.conditions)


def _section(key: str, sentences: tuple[str, ...] = (), **parts: Any) -> Section:
    return Section(**{"key": key, "title": words.SECTIONS[key], "sentences": sentences, **parts})


def _seen(assessment: Assessment, battery: Battery) -> Section:
    curves = assessment.curves
    meter = "battery" if curves.from_clamp else "supply"
    tapers = data_for(battery.chemistry).taper.exponential
    return _section(
        "seen",
        (
            words.SEEN["joined"],
            words.SEEN["taper" if tapers else "no_taper"],
            words.SEEN[meter].format(
                count=counted(curves.time_s.size, "time"),
                minutes=minutes_words(curves.time_s[-1] / 60.0),
                first=curves.current_a[0],
                last=curves.current_a[-1],
            ),
            *_changes(curves),
            _level(assessment),
        ),
    )


def _changes(curves: Curves) -> list[str]:
    """What happened between first and last reading: loads that were switched, and a rise."""
    steps = [(_minutes(at), text, marked) for at, text, marked in curves.steps]
    marked = [words.STEP.format(text=text, minutes=at) for at, text, known in steps if known]
    jumps = " and ".join(at for at, _, known in steps if not known)
    rising = curves.time_s[curves.role == RISING]
    said = [words.SEEN["marked"].format(steps=", ".join(marked))] if marked else []
    if jumps:
        said.append(words.SEEN["unmarked"].format(minutes=jumps))
    if rising.size:
        said.append(words.SEEN["rise"].format(minutes=_minutes(rising[0])))
    return said


def _minutes(time_s: float) -> str:
    return words.AT.format(minutes=round(float(time_s) / 60.0, 1))


def _level(assessment: Assessment) -> str:
    """The charge at connection; only its upper end where the supply was at its limit throughout."""
    curves, level = assessment.curves, assessment.state_of_charge.at_connection
    low, high = f"{100 * level.low:.0f} %", f"{100 * level.high:.0f} %"
    if curves.limit_end_s is not None and curves.limit_end_s >= curves.time_s[-1]:
        return words.SEEN["bound"].format(high=high)
    return words.SEEN["level"].format(mean=percent(level)[0], low=low, high=high)


def _why(assessment: Assessment) -> Section:
    """Open findings in full, the gravest first; the fine ones that nothing doubts by name."""
    findings = assessment.findings
    told = [f for f in findings if f.severity is not Severity.OK]
    names = RULE_WORDS | words.FINE_NAMES
    doubted = _doubted(assessment)
    ok = [f.rule for f in findings if f.severity is Severity.OK]
    fine = [names[rule].lower() for rule in ok if rule not in doubted]
    sentences = [] if told else [words.ALL_FINE]
    if len(told) > MOST_FINDINGS:
        sentences.append(words.plural(words.MORE_FINDINGS, len(told) - MOST_FINDINGS))
    if fine:
        sentences.append(words.FINE.format(names=", ".join(fine)))
    shown = tuple(_sheet_finding(f) for f in told[:MOST_FINDINGS])
    return _section("why", tuple(sentences), findings=shown)


def _doubted(assessment: Assessment) -> set[str]:
    """Rules that are not called fine: nobody measured it, or another finding speaks against."""
    unseen = {UNSEEN[name] for name in assessment.not_checked if name in UNSEEN}
    against = [f for f in assessment.findings if f.severity not in (Severity.OK, Severity.NOTE)]
    lowered = [f for f in against if f.severity is Severity.WATCH or f.rule != "set_voltage"]
    return unseen.union(*(DOUBTED_BY.get(f.rule, ()) for f in lowered))


def _sheet_finding(finding: Finding) -> SheetFinding:
    more = words.EXPLAINED.get(finding.rule, "")
    if finding.generic and (limit := limit_words(finding)):
        more = f"{more} The limit of {limit} is {GENERIC_MARK}.".strip()
    return SheetFinding(
        sign=SEVERITY_SIGNS[finding.severity],
        severity=SEVERITY_WORDS[finding.severity],
        name=RULE_WORDS[finding.rule],
        text=finding.text,
        more=more,
    )


def _pictures(
    assessment: Assessment,
    battery: Battery,
    forecast: FadeForecast | None,
    checks_on_file: int | None,
) -> Section:
    normal = normal_taper(assessment, battery)
    pictures = [
        Picture(
            title=words.TAPER_PICTURE,
            words=_taper_caption(assessment, battery, normal),
            spec=_spec(taper_chart(assessment, normal)),
        )
    ]
    if forecast is None:
        known = _no_forecast(assessment, checks_on_file)
        said = (words.CAPACITY[known], words.CAPACITY["what"])
        return _section("pictures", said, pictures=tuple(pictures))
    pictures.append(
        Picture(
            title=words.CAPACITY_PICTURE,
            words=_fade_caption(forecast),
            spec=_spec(fade_chart(forecast)),
        )
    )
    return _section("pictures", pictures=tuple(pictures))


def _no_forecast(assessment: Assessment, checks_on_file: int | None) -> str:
    """Why there is no capacity over the years: a key of `wording.CAPACITY`."""
    if checks_on_file is not None:
        return "no_trend" if checks_on_file else "none"
    return "told_none" if assessment.capacity_ah is None else "told_one"


def _fade_caption(forecast: FadeForecast) -> str:
    crossing = forecast.crossing
    said = [words.CAPTIONS["fade_usual" if forecast.is_usual else "fade"]]
    if crossing.low is not None:
        said.append(words.CAPTIONS["crossing"])
    said.append(forecast.headline)
    if forecast.slope_change is not None:
        said.append(words.CAPACITY["bend"])
    check = forecast.next_check
    when = "next" if check.due_since is None else "due"
    said.append(words.CAPACITY[when].format(on=check.due_since or check.on))
    return " ".join((*said, *forecast.notes))


def _taper_caption(assessment: Assessment, battery: Battery, normal: NormalTaper | None) -> str:
    said = [words.CAPTIONS["taper"]]
    if not assessment.curves.from_clamp:
        said.append(words.CAPTIONS["supply"])
    if normal is not None:
        said.append(words.CAPTIONS["normal"])
        if normal.amplitude_a > ROUGH_RATE_PER_H * battery.rated_capacity_ah:
            said.append(words.CAPTIONS["rough"])
    else:
        said.append(words.CAPTIONS["no_history" if battery.history is None else "no_taper"])
    return " ".join(said)


def _spec(chart: Any) -> dict[str, Any]:
    """The chart's specification, not validated again: the tests of `charts` do that."""
    sized = chart.properties(width=PICTURE_WIDTH_PX, height=PICTURE_HEIGHT_PX)
    return sized.to_dict(validate=False)


def _measured(assessment: Assessment, battery: Battery, forecast: FadeForecast | None) -> Section:
    soc = assessment.state_of_charge
    rows = [
        _row("at_connection", *percent(soc.at_connection)),
        _row("now", *percent(soc.now)),
        _row("to_return", *amount(assessment.charge_to_return_ah, "Ah")),
    ]
    if (minutes := assessment.minutes_shown) is not None:
        rows.append(_row("minutes", *amount(minutes, "min")))
    rows.append(_row("amplitude", *fitted(assessment, "amplitude_a", "A")))
    rows += [_read_row(f, assessment) for f in assessment.findings if _is_read(f)]
    rows += _capacity_rows(assessment, battery, forecast)
    rows += _forecast_rows(forecast)
    if (found := assessment.supply) is not None:
        rows.append(_row("drawn", f"{found.continuous_a:.0f} A", words.AS_READ))
        rows.append(_row("most", f"{found.limit_a:.0f} A", "", limited_by=found.limited_by))
    header = tuple(h.format(level=100 * soc.now.level) for h in words.MEASURED_HEAD)
    table = Table(header=header, rows=tuple(rows))
    return _section("measured", (words.MEASURED_NOTE,), table=table)


_READ = {"battery_temperature": ("temperature", "°C", 0), "rest_voltage": ("rest_voltage", "V", 2)}


def _is_read(finding: Finding) -> bool:
    return finding.rule in _READ and finding.value is not None


def _read_row(finding: Finding, assessment: Assessment) -> tuple[str, ...]:
    """A value as a meter showed it; a temperature that was not among the readings was told."""
    key, unit, digits = _READ[finding.rule]
    told = key == "temperature" and "temperature" in assessment.not_checked
    value = f"{finding.value:.{digits}f} {unit}"
    return _row(f"{key}_told" if told else key, value, words.AS_TOLD if told else words.AS_READ)


def _capacity_rows(
    assessment: Assessment, battery: Battery, forecast: FadeForecast | None
) -> list[tuple[str, ...]]:
    """What was measured last, of the battery's own check and those of the forecast."""
    found: list[tuple[Moment, Interval]] = []
    if battery.capacity_check is not None and assessment.capacity_ah is not None:
        found.append((battery.capacity_check.on, assessment.capacity_ah))
    if forecast is not None and forecast.measured_ah and isinstance(forecast.measured_on, date):
        found.append((forecast.measured_on, forecast.measured_ah))
    if not found:
        return []
    on, measured = max(found, key=lambda pair: pair[0])
    return [_row("capacity", *amount(measured, "Ah"), on=on)]


def _forecast_rows(forecast: FadeForecast | None) -> list[tuple[str, ...]]:
    """Trend, loss and crossing; where the checks tell of none only the loss."""
    if forecast is None:
        return []
    loss = [f"{text} %" for text in loss_words(forecast.fade_percent)]
    per = words.CHECKS_UNIT[forecast.unit]
    if not forecast.crossing.dated:
        return [_row("loss_usual" if forecast.is_usual else "loss", *loss, per=per)]
    rows = [
        _row("trend", *amount(forecast.capacity_ah, "Ah"), on=_at(forecast.last)),
        _row("loss", *loss, per=per),
    ]
    if forecast.crossing.low is not None:
        rows.append(_row("crossing", *crossing_words(forecast)))
    return rows


def _at(moment: Moment) -> str:
    return str(moment) if isinstance(moment, date) else words.CYCLE.format(cycle=moment)


def _row(key: str, value: str, spread: str, **more: object) -> tuple[str, ...]:
    name, plain = (text.format(**more) for text in words.MEASURED[key])
    return name, value, spread, plain


def _maker(battery: Battery) -> Section:
    rows = tuple(_limit_row(battery, name, fields) for name, fields in words.LIMIT_ROWS)
    marks = {row[2] for row in rows}
    whose = "all" if marks == {words.FROM_CARD} else "none" if marks == {GENERIC_MARK} else "some"
    said = [words.MAKER["none"]]
    if whose != "none":
        named = "unnamed" if battery.limits.document is None else "document"
        said = [words.MAKER[named].format(document=battery.limits.document)]
        said += [words.MAKER["some"]] * (whose == "some")
    table = Table(header=words.MAKER_HEAD, rows=rows)
    return _section("maker", tuple(said), title=words.MAKER_TITLES[whose], table=table)


def _limit_row(battery: Battery, name: str, fields: tuple[str, ...]) -> tuple[str, str, str]:
    limits = [limit_for(battery, field) for field in fields]
    ends = [limit_text(limit.value, limit.unit) for limit in limits]
    value = ends[0] if len(ends) == 1 else f"{ends[0].split(' ')[0]} to {ends[1]}"
    marks = [GENERIC_MARK if limit.generic else words.FROM_CARD for limit in limits]
    return name, value, marks[0] if len(set(marks)) == 1 else f"{marks[0]}, {marks[1]}"


def _signed(owner: str) -> Section:
    lines = tuple((who, name.format(owner=owner)) for who, name in words.SIGN_LINES)
    return _section("signed", signatures=lines)
