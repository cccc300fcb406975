"""An assessment as readable text for the terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from batterymodel.basis.intervals import LEVEL_SD, Interval
from batterymodel.inputs.column_map import ColumnMap
from batterymodel.inputs.records import record_toml
from batterymodel.rules.results import Assessment, Finding
from batterymodel.rules.wording import (
    RULE_WORDS,
    SEVERITY_WORDS,
    doubts,
    meaning_of,
    source_words,
)

WIDTH = 92


def text_report(assessment: Assessment) -> str:
    """The whole assessment: outcome, a short table, findings, next steps, cautions.

    Parameters
    ----------
    assessment : Assessment

    Returns
    -------
    str
        Several lines of `WIDTH`.
    """
    parts = [
        wrapped(assessment.headline),
        wrapped(meaning_of(assessment.outcome, topped_off=assessment.is_topped_off)),
        *_doubts(assessment),
        "",
        *_table(assessment),
        "",
        "Findings",
        *(line for finding in assessment.findings for line in _finding_lines(finding)),
        "",
        "What to do next",
        *(wrapped(step, f"  {i}. ") for i, step in enumerate(assessment.next_steps, 1)),
    ]
    if assessment.notes:
        parts += ["", "About the readings", *(wrapped(note, "  - ") for note in assessment.notes)]
    if assessment.learned_history is not None:
        history = assessment.learned_history
        parts += [
            "",
            "Learned from this completed taper (put it into the battery's TOML)",
            "  [history]",
            *(f"  {line}" for line in record_toml(history).splitlines()),
        ]
    parts += ["", "Cautions", *(wrapped(caution, "  ! ") for caution in assessment.cautions)]
    return "\n".join(parts)


def temperatures_of(findings: Iterable[Finding]) -> tuple[float, ...]:
    """Temperatures that findings speak of, unrounded.

    Parameters
    ----------
    findings : iterable of Finding

    Returns
    -------
    tuple of float
        [degC]
    """
    told = [(f.value, f.limit) for f in findings if f.unit == "°C"]
    return tuple(value for pair in told for value in pair if value is not None)


def columns_taken(column_map: ColumnMap) -> str:
    """How the columns of another logger's file were taken.

    Parameters
    ----------
    column_map : ColumnMap

    Returns
    -------
    str
        Lines of `WIDTH`.
    """
    return wrapped(f"Columns taken: {column_map.words}.")


def _doubts(assessment: Assessment) -> list[str]:
    """What was not checked, and what else fits the readings."""
    said = doubts(assessment.outcome, assessment.not_checked, assessment.conditions)
    return [wrapped(words) for words in said]


def percent(interval: Interval) -> tuple[str, str]:
    """Mean and range of a fraction in whole percent.

    Parameters
    ----------
    interval : Interval
        Of a fraction [0..1].

    Returns
    -------
    best, spread : str
    """
    return (
        f"{100 * interval.mean:.0f} %",
        f"{100 * interval.low:.0f} to {100 * interval.high:.0f} %",
    )


def amount(interval: Interval, unit: str) -> tuple[str, str]:
    """Mean and range of a quantity, rounded to what its interval supports.

    Parameters
    ----------
    interval : Interval
    unit : str
        The one the interval is in; minutes are always whole.

    Returns
    -------
    best, spread : str
        With the unit; one decimal where the interval is narrower than 10.
    """
    digits = 1 if interval.high - interval.low < 10.0 and unit != "min" else 0
    return (
        f"{interval.mean:.{digits}f} {unit}",
        f"{interval.low:.{digits}f} to {interval.high:.{digits}f} {unit}",
    )


def fitted(assessment: Assessment, name: str, unit: str) -> tuple[str, str]:
    """Value and range of a parameter of the taper, named as in `TaperSummary`.

    Parameters
    ----------
    assessment : Assessment
    name : str
        ``amplitude_a`` or another name in `TaperSummary.standard_errors`.
    unit : str
        The one that parameter is in; seconds are always whole.

    Returns
    -------
    best, spread : str
        With the unit; the range is at `LEVEL`, not below zero.
    """
    value = getattr(assessment.taper, name)
    half = LEVEL_SD * assessment.taper.standard_errors[name]
    digits = 0 if unit == "s" or half > 5.0 else 1
    low, high = max(value - half, 0.0), value + half
    return f"{value:.{digits}f} {unit}", f"{low:.{digits}f} to {high:.{digits}f} {unit}"


def limit_words(finding: Finding) -> str:
    """The limit of a finding with its unit, as read; empty where it has none, or no unit.

    Parameters
    ----------
    finding : Finding

    Returns
    -------
    str
    """
    if finding.limit is None or finding.unit in (None, "", "-"):
        return ""
    return limit_text(finding.limit, finding.unit)


def limit_text(value: float, unit: str) -> str:
    """A limit with its unit; a fraction in whole percent.

    Parameters
    ----------
    value : float
    unit : str
        ``fraction`` for one that is shown in percent; empty or ``-`` for a bare number.

    Returns
    -------
    str
        Four digits at most; two decimals of what is read from a meter.
    """
    if unit == "fraction":
        return f"{100 * value:.0f} %"
    metered = unit in ("A", "V") and abs(value) >= 0.1
    number = f"{round(value, 2) if metered else value:.4g}"
    return f"{number} {unit}".removesuffix(" -").strip()


def _table(assessment: Assessment) -> list[str]:
    soc, taper = assessment.state_of_charge, assessment.taper
    rows = [
        ("State of charge at connection", *percent(soc.at_connection)),
        ("State of charge now", *percent(soc.now)),
        ("Charge to return", *amount(assessment.charge_to_return_ah, "Ah")),
        ("Battery current at connection", *fitted(assessment, "amplitude_a", "A")),
        ("Time constant of the taper", *fitted(assessment, "time_constant_s", "s")),
    ]
    if (minutes := assessment.minutes_shown) is not None:
        rows.insert(3, ("Time until topped off", *amount(minutes, "min")))
    if assessment.capacity_ah is not None:
        rows.append(("Capacity (last check)", *amount(assessment.capacity_ah, "Ah")))
    if assessment.supply is not None:
        supply = assessment.supply
        rows.append(
            (
                "Supply: drawn now, can give",
                f"{supply.continuous_a:.0f} A",
                f"{supply.limit_a:.0f} A ({supply.limited_by})",
            )
        )
    level = f"{100 * soc.now.level:.0f} % range"
    header = f"  {'':32}{'best value':>12}   {level}"
    window = f"  Taper read from {taper.window_s[0]:.0f} to {taper.window_s[1]:.0f} s."
    return [header, *(f"  {name:32}{value:>12}   {spread}" for name, value, spread in rows), window]


def _finding_lines(finding: Finding) -> list[str]:
    mark = SEVERITY_WORDS[finding.severity]
    lines = [wrapped(f"{RULE_WORDS[finding.rule]}: {finding.text}", f"  {mark:>10}  ")]
    if finding.source:
        source = source_words(finding.source, finding.generic)
        lines.append(wrapped(f"limit from {source}", " " * 14))
    return lines


def wrapped(text: str, lead: str = "") -> str:
    """The text in lines of `WIDTH`, behind a lead that the later lines leave blank.

    Parameters
    ----------
    text : str
    lead : str
        Of any width below `WIDTH`; counts in the first line.

    Returns
    -------
    str
    """
    later = " " * len(lead)
    return textwrap.fill(
        text, WIDTH, initial_indent=lead, subsequent_indent=later, break_on_hyphens=False
    )
