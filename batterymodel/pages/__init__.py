"""The pages, and what they share: the look of a paper job card, and text shown as it stands.

Everything but `keep_entries` returns HTML text made from results; nothing is computed here.
Outcomes differ by word, sign and the rule around the box, never by colour alone.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import streamlit as st

from batterymodel.basis.intervals import Interval
from batterymodel.rules.results import Assessment, Finding, Outcome
from batterymodel.rules.wording import (
    GENERIC_MARK,
    NICD_CAUTION,
    OUTCOME_SIGNS,
    OUTCOME_WORDS,
    RULE_WORDS,
    SEVERITY_SIGNS,
    SEVERITY_WORDS,
    SHORT_CAUTIONS,
    doubts,
    meaning_of,
    not_checked_words,
)
from batterymodel.say.attention import Remark
from batterymodel.say.connection import amount, limit_words, percent
from batterymodel.sheet.content import SheetContent, SheetFinding

KEPT = "kept."
"""Start of the keys of entries that stay when the user turns to another page and back."""

MEASURED_AGAIN = "Measured again, not one check told twice"
DETAILS = "Details"
"""Title of what only a few want to see: likelihoods, and currents over capacity."""

LAST_CASE = f"{KEPT}last_case"
SHEET_SOURCE = f"{KEPT}sheet.source"
CHARGE_RULE = "deep_discharge"
"""The rule of which a connection in progress shows the charge in place of the whole sentence."""

STYLE = f"<style>\n{Path(__file__).with_name('style.css').read_text(encoding='utf-8')}</style>"
"""The look of all pages, put at the top of each."""


def keep_entries() -> None:
    """Keep entries of pages that are not shown in this run (their state would be dropped)."""
    for key in list(st.session_state):
        if str(key).startswith(KEPT):
            st.session_state[key] = st.session_state[key]


def literal(text: str) -> str:
    """Text for a Streamlit markdown element that shows every character as it stands.

    Parameters
    ----------
    text : str
        As typed or read; runs of white space count as one space.

    Returns
    -------
    str
        Markdown with every sign escaped, and no emoji or arrow made of signs: an invisible
        character parts those, and is in no word with a hyphen, which people copy.

    >>> print(literal("a*b 5$"))
    a\\*b 5\\$
    """
    escaped = re.sub(r"([!-/:-@\[-`{-~])", r"\\\1", " ".join(text.split()))
    return re.sub(r"\\[:<>=~](?=[\w\\])|\\-(?=\\)", "\\g<0>\u2060", escaped)


def shown(text: str) -> str:
    """Text for HTML, escaped.

    Parameters
    ----------
    text : str
        As typed or read; may hold markup.

    Returns
    -------
    str
    """
    return html.escape(text)


def head(fields: Sequence[tuple[str, str]]) -> str:
    """The head of the job card: what was looked at.

    Parameters
    ----------
    fields : sequence of (str, str)
        Name and value of each, unescaped; a value over 16 characters gets a wide field.

    Returns
    -------
    str
        HTML.
    """
    cells = (
        f'<div class="jc-field{" jc-wide" * (len(value) > 16)}">'
        f'<span class="jc-name">{shown(name)}</span>{shown(value)}</div>'
        for name, value in fields
    )
    return f'<div class="jc jc-head">{"".join(cells)}</div>'


def outcome_box(assessment: Assessment, how_right: str | None = None) -> str:
    """The ruled box: outcome, why, what to do next, and the short cautions.

    Parameters
    ----------
    assessment : Assessment
    how_right : str, optional
        One line on how right such answers have been, unescaped.

    Returns
    -------
    str
        HTML, a section named Outcome.
    """
    outcome, words = assessment.outcome, OUTCOME_WORDS[assessment.outcome]
    reason = assessment.reason
    meaning = meaning_of(outcome, topped_off=assessment.is_topped_off)
    steps = "".join(f"<li>{shown(step)}</li>" for step in assessment.next_steps)
    been = f"<p>{shown(how_right)}</p>" if how_right else ""
    return (
        f'<section class="jc jc-box {outcome}" aria-label="Outcome">'
        f'<h2 class="jc-word">{boxed_sign(OUTCOME_SIGNS[outcome])}<span>{words}</span></h2>'
        f'<div class="jc-body"><p><b>{shown(reason[0].upper() + reason[1:])}</b></p>'
        f"<p>{meaning}</p><ol>{steps}</ol>{_doubts(assessment)}{been}</div>"
        f'<div class="jc-warn">{shown(" ".join(_short_cautions(assessment)))}</div></section>'
    )


def named(name: str) -> str:
    """The name of what the box below it speaks of.

    Parameters
    ----------
    name : str
        Of the battery, unescaped.

    Returns
    -------
    str
        HTML.
    """
    return f'<p class="jc jc-of">{shown(name)}</p>'


def pinned_outcome(name: str, assessment: Assessment) -> str:
    """Name and outcome in a word, with its cause or how sure it is, to stay in sight.

    Parameters
    ----------
    name : str
        Of the battery, unescaped.
    assessment : Assessment

    Returns
    -------
    str
        HTML, a section named Outcome so far.
    """
    outcome, words = assessment.outcome, _pinned_charge(assessment)
    if outcome is not Outcome.TOP_OFF and assessment.findings[0].rule != CHARGE_RULE:
        words = f"<b>{shown(assessment.reason[0].upper() + assessment.reason[1:])}</b>"
    return _pinned(
        outcome,
        name,
        f'<p class="jc-pin-word">{boxed_sign(OUTCOME_SIGNS[outcome])}'
        f"<span>{OUTCOME_WORDS[outcome]}</span></p><p>{words}</p>",
    )


def _pinned_charge(assessment: Assessment) -> str:
    value, spread = percent(assessment.state_of_charge.at_connection)
    words = f"Charge at connection {shown(value)} ({shown(spread)})."
    if assessment.outcome is not Outcome.TOP_OFF:
        return words
    return f"{words} {shown(not_checked_words(assessment.not_checked))}"


def pinned_waiting(name: str, readings_left: int, problem: str | None) -> str:
    """What stands where the outcome will be, before there is one.

    Parameters
    ----------
    name : str
        Of the battery, unescaped.
    readings_left : int
        Currents that are still needed.
    problem : str or None
        What stands in the way, unescaped.

    Returns
    -------
    str
        HTML, a section named Outcome so far.
    """
    more = f"{readings_left} more reading{'s' * (readings_left != 1)} of the meter"
    words = problem or f"The answer comes after {more}."
    return _pinned("waiting", name, f"<p>{shown(words)}</p>")


def _pinned(kind: str, name: str, inner: str) -> str:
    return (
        f'<section class="jc jc-pin {kind}" aria-label="Outcome so far" aria-live="polite">'
        f"<h1>{shown(name)}</h1>{inner}</section>"
    )


def standing(remark: Remark) -> str:
    """A ruled box with one remark: how a connection in progress stands.

    Parameters
    ----------
    remark : Remark

    Returns
    -------
    str
        HTML.
    """
    return (
        f'<div class="jc jc-row jc-standing {remark.severity}"><ul>{remark_item(remark)}</ul></div>'
    )


def warning(words: str) -> str:
    """A sentence that is read at once, ruled like the outcome.

    Parameters
    ----------
    words : str
        Unescaped.

    Returns
    -------
    str
        HTML.
    """
    return f'<p class="jc jc-warning" role="alert">{shown(words)}</p>'


def remark_item(remark: Remark) -> str:
    """One remark with its sign, as an item of a list.

    Parameters
    ----------
    remark : Remark

    Returns
    -------
    str
        HTML.
    """
    more = f" {shown(remark.more)}" if remark.more else ""
    return (
        f'<li class="jc-severity {remark.severity}">{boxed_sign(remark.sign)}'
        f"<span><b>{shown(remark.word)}</b>{more}</span></li>"
    )


def _doubts(assessment: Assessment) -> str:
    """What was not checked, and what else fits the readings, as paragraphs."""
    said = doubts(assessment.outcome, assessment.not_checked, assessment.conditions)
    return "".join(f"<p>{shown(words)}</p>" for words in said)


def verdict_box(kind: str, sign: str, word: str, reason: str, step: str) -> str:
    """A ruled box like that of the outcome, for the verdict of a capacity check.

    Parameters
    ----------
    kind : str
        Class of the style sheet that draws the rule.
    sign : str
        Not read aloud; put in unescaped.
    word : str
        The verdict.
    reason : str
        Not empty; its first letter is made a capital.
    step : str
        What to do next.

    Returns
    -------
    str
        HTML, a section named Verdict.
    """
    return (
        f'<section class="jc jc-box {kind}" aria-label="Verdict">'
        f'<h2 class="jc-word">{boxed_sign(sign)}<span>{shown(word)}</span></h2>'
        f'<div class="jc-body"><p><b>{shown(reason[0].upper() + reason[1:])}</b></p>'
        f"<p>{shown(step)}</p></div>"
        f'<div class="jc-warn">{shown(" ".join(SHORT_CAUTIONS))}</div></section>'
    )


def sheet_box(content: SheetContent) -> str:
    """The ruled box of the outcome as the owner's sheet has it.

    Parameters
    ----------
    content : SheetContent

    Returns
    -------
    str
        HTML, a section named Outcome.
    """
    return (
        f'<section class="jc jc-box {content.outcome}" aria-label="Outcome">'
        f'<h2 class="jc-word">{boxed_sign(content.sign)}<span>{shown(content.word)}</span></h2>'
        f'<div class="jc-body"><p><b>{shown(content.reason)}</b></p>'
        f"<p>{shown(content.meaning)}</p></div></section>"
    )


def sheet_findings(findings: Iterable[SheetFinding]) -> str:
    """Findings as the owner's sheet has them.

    Parameters
    ----------
    findings : iterable of SheetFinding
        In the order to show them.

    Returns
    -------
    str
        HTML.
    """
    items = (
        f'<li><span class="jc-severity {f.severity}">{boxed_sign(f.sign)}{shown(f.severity)}</span>'
        f'<div class="jc-text"><b>{shown(f.name)}.</b> {shown(f.text)}'
        f'<span class="jc-source">{shown(f.more)}</span></div></li>'
        for f in findings
    )
    return f'<ul class="jc jc-findings">{"".join(items)}</ul>'


def table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A ruled table that scrolls in its own place where the screen is narrow.

    Parameters
    ----------
    header : sequence of str
        Unescaped; empty for a table without one.
    rows : iterable of sequences of str
        Unescaped, each as long as the header where there is one.

    Returns
    -------
    str
        HTML.
    """
    names = "".join(f'<th scope="col">{shown(name)}</th>' for name in header)
    top = f"<thead><tr>{names}</tr></thead>" if header else ""
    lines = (f"<tr>{''.join(f'<td>{shown(cell)}</td>' for cell in row)}</tr>" for row in rows)
    return (
        '<div class="jc jc-scroll" tabindex="0"><table class="jc-table">'
        f"{top}<tbody>{''.join(lines)}</tbody></table></div>"
    )


def key_figures(assessment: Assessment) -> str:
    """The figures to read first, each with its range.

    Parameters
    ----------
    assessment : Assessment

    Returns
    -------
    str
        HTML; the time until topped off only for `TOP_OFF` and `KEEP_WATCHING`.
    """
    soc = assessment.state_of_charge
    rows: list[tuple[str, tuple[str, str], Interval]] = [
        ("State of charge at connection", percent(soc.at_connection), soc.at_connection),
        ("State of charge now", percent(soc.now), soc.now),
        (
            "Charge to return",
            amount(assessment.charge_to_return_ah, "Ah"),
            assessment.charge_to_return_ah,
        ),
    ]
    if (minutes := assessment.minutes_shown) is not None:
        rows.append(("Time until topped off", amount(minutes, "min"), minutes))
    return figures(
        [
            (name, value, f"{100 * interval.level:.0f} % range: {spread}")
            for name, (value, spread), interval in rows
        ]
    )


def figures(cells: Iterable[tuple[str, str, str]]) -> str:
    """Figures to read first: name, value and what to know about it.

    Parameters
    ----------
    cells : iterable of (str, str, str)
        Name, value with its unit, and what stands below; unescaped.

    Returns
    -------
    str
        HTML.
    """
    told = (
        f'<div class="jc-figure"><span class="jc-name">{shown(name)}</span>'
        f'<span class="jc-value">{shown(value)}</span>'
        f'<span class="jc-range">{shown(more)}</span></div>'
        for name, value, more in cells
    )
    return f'<div class="jc jc-figures">{"".join(told)}</div>'


def findings_list(findings: Iterable[Finding], names: Mapping[str, str] = RULE_WORDS) -> str:
    """Findings as a list that wraps: sign and word, rule, text, limit and where it comes from.

    Parameters
    ----------
    findings : iterable of Finding
        In the order to show them.
    names : mapping
        Words of each rule.

    Returns
    -------
    str
        HTML.
    """
    items = (_finding(finding, names[finding.rule]) for finding in findings)
    return f'<ul class="jc jc-findings">{"".join(items)}</ul>'


def note(text: str) -> str:
    """A small explaining paragraph, as under a chart.

    Parameters
    ----------
    text : str
        Unescaped.

    Returns
    -------
    str
        HTML.
    """
    return f'<p class="jc jc-note">{shown(text)}</p>'


def hidden_words(text: str) -> str:
    """Words for whoever hears the page and does not see it.

    Parameters
    ----------
    text : str
        Unescaped.

    Returns
    -------
    str
        HTML.
    """
    return f'<p class="jc-hidden">{shown(text)}</p>'


def demo_mark(text: str) -> str:
    """The mark on top of every page of the demo record.

    Parameters
    ----------
    text : str
        Unescaped.

    Returns
    -------
    str
        HTML.
    """
    return f'<p class="jc jc-demo" role="note">{shown(text)}</p>'


def plain_list(items: Iterable[str]) -> str:
    """Sentences as a bulleted list.

    Parameters
    ----------
    items : iterable of str
        Unescaped.

    Returns
    -------
    str
        HTML.
    """
    return f'<ul class="jc jc-plain">{"".join(f"<li>{shown(item)}</li>" for item in items)}</ul>'


def _finding(finding: Finding, name: str) -> str:
    severity = finding.severity
    return (
        f'<li><span class="jc-severity {severity}">{boxed_sign(SEVERITY_SIGNS[severity])}'
        f"{SEVERITY_WORDS[severity]}</span>"
        f'<div class="jc-text"><b>{name}.</b> {shown(finding.text)}'
        f"{_source(finding)}</div></li>"
    )


def _source(finding: Finding) -> str:
    limit, source = limit_words(finding), finding.source
    parts = [f"Limit {shown(limit)}"] if limit else []
    if finding.generic:
        parts.append(f'<span class="jc-generic">{GENERIC_MARK}</span> {shown(source or "")}')
    elif source:
        parts.append(f"from {shown(source)}")
    return f'<span class="jc-source">{" ".join(parts)}</span>' if parts else ""


def _short_cautions(assessment: Assessment) -> tuple[str, ...]:
    nicd = (NICD_CAUTION,) if NICD_CAUTION in assessment.cautions else ()
    return nicd + SHORT_CAUTIONS


def boxed_sign(sign: str) -> str:
    """A sign in its box, not read aloud.

    Parameters
    ----------
    sign : str
        Put in unescaped.

    Returns
    -------
    str
        HTML.
    """
    return f'<span class="jc-sign" aria-hidden="true">{sign}</span>'
