"""What the owner's findings sheet says, before it is laid out: sections of plain sentences.

Everything comes from an assessment, a forecast and the battery by templates of `sheetwording`;
numbers are rounded by the helpers of `textreport`. Nothing is estimated here.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from batterymodel.basis.text import one_line
from batterymodel.charts.connection import taper_chart
from batterymodel.charts.normal import NormalTaper, normal_taper
from batterymodel.charts.record import fade_chart
from batterymodel.errors import InputError
from batterymodel.fade.forecast import FadeForecast
from batterymodel.inputs.records import Battery, Supply
from batterymodel.reference.chemistry import data_for
from batterymodel.reference.limits import limit_for
from batterymodel.rules.results import RISING, Assessment, Curves, Finding, Outcome, Severity
from batterymodel.rules.wording import (
    GENERIC_MARK,
    OUTCOME_MEANING,
    OUTCOME_SIGNS,
    OUTCOME_WORDS,
    RULE_WORDS,
    SEVERITY_SIGNS,
    SEVERITY_WORDS,
    doubts,
)
from batterymodel.say.capacity import loss_words, moment_words
from batterymodel.say.connection import amount, fitted, limit_text, limit_words, percent
from batterymodel.sheet import wording as words
from batterymodel.sheet.content import Picture, Section, SheetContent, SheetFinding, Table

MOST_FINDINGS = 6
"""Findings shown in full; the rest are in the full report, and the sheet says how many."""

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
        Capacity over time; without it the sheet says that no checks are on file.
    owner : str, optional
        Name of the owner, at most 60 characters.
    name : str, optional
        What the battery is called on the sheet; else its `tail`.
    remarks : tuple of str
        Sentences that stand above everything else.

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
    return SheetContent(
        title=words.DOCUMENT_TITLE.format(**named),
        footer=words.FOOTER.format(**named),
        remarks=remarks,
        head=_head(battery, supply, {"owner": owner or words.NOT_GIVEN, **named}),
        outcome=assessment.outcome,
        sign=OUTCOME_SIGNS[assessment.outcome],
        word=word,
        reason=reason[0].upper() + reason[1:],
        meaning=" ".join((OUTCOME_MEANING[assessment.outcome], *_doubts(assessment))),
        sections=(
            _seen(assessment, battery),
            _why(assessment.findings),
            _pictures(assessment, battery, forecast),
            _measured(assessment, forecast),
            _maker(battery),
            _section("next", assessment.next_steps),
            _asked(assessment.outcome),
            _nothing(assessment, battery, forecast),
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
    return Section(key=key, title=words.SECTIONS[key], sentences=sentences, **parts)


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
                count=curves.time_s.size,
                minutes=curves.time_s[-1] / 60.0,
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


def _why(findings: tuple[Finding, ...]) -> Section:
    """Open findings in full, the gravest first; the fine ones by name."""
    told = [f for f in findings if f.severity is not Severity.OK]
    fine = [RULE_WORDS[f.rule].lower() for f in findings if f.severity is Severity.OK]
    sentences = [] if told else [words.ALL_FINE]
    if len(told) > MOST_FINDINGS:
        sentences.append(words.plural(words.MORE_FINDINGS, len(told) - MOST_FINDINGS))
    if fine:
        sentences.append(words.FINE.format(names=", ".join(fine)))
    shown = tuple(_sheet_finding(f) for f in told[:MOST_FINDINGS])
    return _section("why", tuple(sentences), findings=shown)


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


def _pictures(assessment: Assessment, battery: Battery, forecast: FadeForecast | None) -> Section:
    normal = normal_taper(assessment, battery)
    pictures = [
        Picture(
            title=words.TAPER_PICTURE,
            words=_taper_caption(assessment, battery, normal),
            spec=_spec(taper_chart(assessment, normal)),
        )
    ]
    if forecast is None:
        known = "none" if assessment.capacity_ah is None else "one"
        none = (words.CAPACITY[known], words.CAPACITY["none_next"])
        return _section("pictures", none, pictures=tuple(pictures))
    said = [words.CAPTIONS["fade"], forecast.headline]
    if forecast.slope_change is not None:
        said.append(words.CAPACITY["bend"])
    check = forecast.next_check
    when = "next" if check.due_since is None else "due"
    said.append(words.CAPACITY[when].format(on=check.due_since or check.on))
    said += forecast.notes
    pictures.append(
        Picture(
            title=words.CAPACITY_PICTURE, words=" ".join(said), spec=_spec(fade_chart(forecast))
        )
    )
    return _section("pictures", pictures=tuple(pictures))


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


def _measured(assessment: Assessment, forecast: FadeForecast | None) -> Section:
    soc = assessment.state_of_charge
    rows = [
        _row("at_connection", *percent(soc.at_connection)),
        _row("now", *percent(soc.now)),
        _row("to_return", *amount(assessment.charge_to_return_ah, "Ah")),
    ]
    if assessment.outcome in (Outcome.TOP_OFF, Outcome.KEEP_WATCHING):
        rows.append(_row("minutes", *amount(assessment.minutes_to_top_off, "min")))
    rows.append(_row("amplitude", *fitted(assessment, "amplitude_a", "A")))
    rows += [_read_row(f) for f in assessment.findings if f.rule in _READ and f.value is not None]
    if assessment.capacity_ah is not None:
        rows.append(_row("capacity", *amount(assessment.capacity_ah, "Ah")))
    rows += _forecast_rows(forecast)
    if (found := assessment.supply) is not None:
        rows.append(_row("drawn", f"{found.continuous_a:.0f} A", words.AS_READ))
        rows.append(_row("most", f"{found.limit_a:.0f} A", "", limited_by=found.limited_by))
    header = tuple(h.format(level=100 * soc.now.level) for h in words.MEASURED_HEAD)
    table = Table(header=header, rows=tuple(rows))
    return _section("measured", (words.MEASURED_NOTE,), table=table)


_READ = {"battery_temperature": ("temperature", "°C", 0), "rest_voltage": ("rest_voltage", "V", 2)}


def _read_row(finding: Finding) -> tuple[str, ...]:
    key, unit, digits = _READ[finding.rule]
    return _row(key, f"{finding.value:.{digits}f} {unit}", words.AS_READ)


def _forecast_rows(forecast: FadeForecast | None) -> list[tuple[str, ...]]:
    if forecast is None:
        return []
    crossing = forecast.crossing
    template = words.FROM_ON if crossing.high is None else words.FROM_TO
    ends = template.format(low=crossing.low, high=crossing.high)
    loss = [f"{text} %" for text in loss_words(forecast.fade_percent)]
    rows = [
        _row("trend", *amount(forecast.capacity_ah, "Ah")),
        _row("loss", *loss, per=words.CHECKS_UNIT[forecast.unit]),
    ]
    if crossing.low is not None:
        best, level = moment_words(crossing.best), 100 * crossing.level
        rows.append(_row("crossing", best, ends, level=level))
    return rows


def _row(key: str, value: str, spread: str, **more: object) -> tuple[str, ...]:
    name, plain = (text.format(**more) for text in words.MEASURED[key])
    return name, value, spread, plain


def _maker(battery: Battery) -> Section:
    rows = tuple(_limit_row(battery, name, fields) for name, fields in words.LIMIT_ROWS)
    generic = [row[2] != words.FROM_CARD for row in rows]
    if battery.limits.document is not None:
        said = [words.MAKER["document"].format(document=battery.limits.document)]
    else:
        said = [words.MAKER["none" if all(generic) else "unnamed"]]
    if any(generic) and said != [words.MAKER["none"]]:
        said.append(words.MAKER["some"])
    return _section("maker", tuple(said), table=Table(header=words.MAKER_HEAD, rows=rows))


def _limit_row(battery: Battery, name: str, fields: tuple[str, ...]) -> tuple[str, str, str]:
    limits = [limit_for(battery, field) for field in fields]
    ends = [limit_text(limit.value, limit.unit) for limit in limits]
    value = ends[0] if len(ends) == 1 else f"{ends[0].split(' ')[0]} to {ends[1]}"
    marks = [GENERIC_MARK if limit.generic else words.FROM_CARD for limit in limits]
    return name, value, marks[0] if len(set(marks)) == 1 else f"{marks[0]}, {marks[1]}"


def _asked(outcome: Outcome) -> Section:
    return _section("asked", (words.ASKED[outcome],), choices=words.CHOICES[outcome])


def _nothing(assessment: Assessment, battery: Battery, forecast: FadeForecast | None) -> Section:
    now = percent(assessment.state_of_charge.now)[0]
    said = [sentence.format(now=now) for sentence in words.NOTHING[assessment.outcome]]
    if battery.chemistry in words.LEAD_ACID and assessment.outcome is not Outcome.DISCONNECT:
        said.append(words.LEAD_ACID_WAIT)
    return _section("nothing", tuple(said))


def _signed(owner: str) -> Section:
    lines = tuple((who, name.format(owner=owner)) for who, name in words.SIGN_LINES)
    return _section("signed", signatures=lines)
