"""The pages, and what they share: the look of a paper job card, and text shown as it stands.

Everything but `keep_entries` returns HTML text made from results; nothing is computed here.
Outcomes differ by word, sign and the rule around the box, never by colour alone.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterable, Sequence

import streamlit as st

from batterymodel.basis.intervals import Interval
from batterymodel.rules.results import Assessment, Finding, Outcome
from batterymodel.rules.wording import (
    GENERIC_MARK,
    NICD_CAUTION,
    OUTCOME_MEANING,
    OUTCOME_SIGNS,
    OUTCOME_WORDS,
    RULE_WORDS,
    SEVERITY_SIGNS,
    SEVERITY_WORDS,
    SHORT_CAUTIONS,
    conditions_words,
    not_checked_words,
)
from batterymodel.say.connection import amount, limit_words, percent
from batterymodel.sheet.content import SheetContent, SheetFinding

KEPT = "kept."
LAST_CASE = f"{KEPT}last_case"
"""Start of the keys of entries that stay when the user turns to another page and back."""

STYLE = """<style>
[data-testid="stMainBlockContainer"] { padding-top: 3rem; max-width: 1320px; }
[data-testid="stMainBlockContainer"] h1 { font-size: 2.1rem; padding: 0 0 .8rem; }
[data-testid="stMainBlockContainer"] h3 { font-size: 1.35rem; }
.jc { color: #1b2a33; line-height: 1.45; overflow-wrap: anywhere; }
.jc p { margin: 0 0 .5rem; }
.jc-note { font-size: .92rem; color: #47535b; margin: 0; }
.jc-head, .jc-figures { margin-top: .9rem; gap: 1px; background: #1b2a33;
  border: 1px solid #1b2a33; }
.jc-head { display: flex; flex-wrap: wrap; }
.jc-head .jc-field { flex: 1 1 20%; }
.jc-head .jc-wide { flex-basis: 42%; }
.jc-field, .jc-figure { background: #fffdf7; padding: .3rem .8rem .35rem; }
.jc-name { display: block; font-size: .8rem; color: #47535b; }
.jc-box { border: 4px solid #1b2a33; background: #fffdf7; }
.jc-box.keep_watching { border-style: dashed; }
.jc-box.service { border: 9px double #1b2a33; }
.jc-box.disconnect { border-width: 9px; }
.jc-word { display: flex; align-items: center; gap: .8rem; margin: 0; padding: .5rem 1rem;
  border-bottom: 1px solid #1b2a33; font-size: 2.1rem; font-weight: 700; line-height: 1.15; }
.disconnect .jc-word { background: #1b2a33; color: #fff; }
.jc-sign { flex: none; display: inline-flex; justify-content: center; align-items: center;
  width: 1.45em; height: 1.45em; border: 3px solid currentColor; }
.jc-body { padding: .7rem 1rem .3rem; font-size: 1.06rem; }
.jc-body ol { margin: .2rem 0 .6rem; padding-left: 1.5rem; }
.jc-body li { margin: 0 0 .25rem; }
.jc-warn { border-top: 1px solid #1b2a33; padding: .4rem 1rem; font-size: .92rem; }
.jc-figures { display: flex; flex-wrap: wrap; }
.jc-figure { flex: 1 1 145px; display: flex; flex-direction: column; }
.jc-figure .jc-name { flex: 1; }
.jc-value { display: block; font-size: 1.55rem; font-weight: 700; line-height: 1.25;
  font-variant-numeric: tabular-nums; }
.jc-range { display: block; font-size: .88rem; color: #47535b; }
ul.jc-findings { list-style: none; margin: 0 0 .6rem; padding: 0; border-top: 1px solid #1b2a33; }
ul.jc-findings li { display: flex; flex-wrap: wrap; gap: .15rem .9rem; margin: 0;
  padding: .5rem 0; border-bottom: 1px solid #c9ced1; }
.jc-severity { flex: 0 0 7.2rem; font-weight: 700; }
.jc-severity .jc-sign { width: 1.5em; height: 1.5em; border-width: 2px; margin-right: .45rem;
  font-size: .85rem; }
.jc-severity.disconnect .jc-sign, .jc-severity.service .jc-sign { background: #1b2a33;
  color: #fff; border-color: #1b2a33; }
.jc-text { flex: 1 1 16rem; }
.jc-source { display: block; font-size: .88rem; color: #47535b; margin-top: .15rem; }
.jc-generic { border: 1px solid #47535b; padding: 0 .35em; margin-left: .25em; font-weight: 600; }
.jc-scroll { overflow-x: auto; }
table.jc-table { border-collapse: collapse; width: 100%; margin: 0 0 .6rem; }
.jc-table th, .jc-table td { border: 1px solid #c9ced1; padding: .25rem .6rem; text-align: left; }
.jc-table th, .jc-table td { overflow-wrap: normal; }
.jc-table td:nth-child(2) { min-width: 6rem; font-weight: 600; overflow-wrap: anywhere; }
.jc-table th { font-size: .85rem; color: #47535b; border-bottom: 1px solid #1b2a33; }
ul.jc-plain { margin: 0 0 .6rem; padding-left: 1.3rem; }
ul.jc-plain li { margin-left: 0; }
@media (max-width: 640px) {
  [data-testid="stMainBlockContainer"] { padding: 3.6rem 1rem 3rem; }
  [data-testid="stMainBlockContainer"] h1 { font-size: 1.6rem; padding: 0 0 .2rem; }
  [data-testid="stMainBlockContainer"] [data-testid="stVerticalBlock"] { gap: .7rem; }
  [data-testid="stMainBlockContainer"] [data-testid="stHorizontalBlock"] { gap: .9rem; }
  .jc-head .jc-field { flex-basis: 40%; }
  .jc-head .jc-wide { flex-basis: 90%; }
  .jc-word { font-size: 1.7rem; padding: .45rem .7rem; }
  .jc-body, .jc-warn { padding-left: .7rem; padding-right: .7rem; }
  .jc-figure { flex-basis: 40%; }
  .jc-severity { flex-basis: 100%; }
}
</style>"""


def keep_entries() -> None:
    """Keep entries of pages that are not shown in this run (their state would be dropped)."""
    for key in list(st.session_state):
        if str(key).startswith(KEPT):
            st.session_state[key] = st.session_state[key]


def literal(text: str) -> str:
    """Text for a Streamlit markdown element that shows every character as it stands.

    >>> print(literal("a*b 5$"))
    a\\*b 5\\$
    """
    escaped = re.sub(r"([!-/:-@\[-`{-~])", r"\\\1", " ".join(text.split()))
    return re.sub(r"(\\[:<>=~-])(?=[\w\\+-])", "\\1\u2060", escaped)


def shown(text: str) -> str:
    """Text for HTML, escaped."""
    return html.escape(text)


def head(fields: Sequence[tuple[str, str]]) -> str:
    """The head of the job card: what was looked at."""
    cells = (
        f'<div class="jc-field{" jc-wide" * (len(value) > 16)}">'
        f'<span class="jc-name">{shown(name)}</span>{shown(value)}</div>'
        for name, value in fields
    )
    return f'<div class="jc jc-head">{"".join(cells)}</div>'


def outcome_box(assessment: Assessment) -> str:
    """The ruled box: outcome, why, what to do next, and the short cautions."""
    outcome, words = assessment.outcome, OUTCOME_WORDS[assessment.outcome]
    reason = assessment.headline.removeprefix(f"{words}: ")
    steps = "".join(f"<li>{shown(step)}</li>" for step in assessment.next_steps)
    return (
        f'<section class="jc jc-box {outcome}" aria-label="Outcome">'
        f'<h2 class="jc-word">{_sign(OUTCOME_SIGNS[outcome])}<span>{words}</span></h2>'
        f'<div class="jc-body"><p><b>{shown(reason[0].upper() + reason[1:])}</b></p>'
        f"<p>{OUTCOME_MEANING[outcome]}</p>{_doubts(assessment)}<ol>{steps}</ol></div>"
        f'<div class="jc-warn">{shown(" ".join(_short_cautions(assessment)))}</div></section>'
    )


def _doubts(assessment: Assessment) -> str:
    """What was not checked, and what else fits the readings, as paragraphs."""
    said = (not_checked_words(assessment.not_checked), conditions_words(assessment.conditions))
    return "".join(f"<p>{shown(words)}</p>" for words in said if words)


def verdict_box(kind: str, sign: str, word: str, reason: str, step: str) -> str:
    """A ruled box like that of the outcome, for the verdict of a capacity check."""
    said = reason.removeprefix(f"{word}: ")
    return (
        f'<section class="jc jc-box {kind}" aria-label="Verdict">'
        f'<h2 class="jc-word">{_sign(sign)}<span>{shown(word)}</span></h2>'
        f'<div class="jc-body"><p><b>{shown(said[0].upper() + said[1:])}</b></p>'
        f"<p>{shown(step)}</p></div>"
        f'<div class="jc-warn">{shown(" ".join(SHORT_CAUTIONS))}</div></section>'
    )


def sheet_box(content: SheetContent) -> str:
    """The ruled box of the outcome as the owner's sheet has it."""
    return (
        f'<section class="jc jc-box {content.outcome}" aria-label="Outcome">'
        f'<h2 class="jc-word">{_sign(content.sign)}<span>{shown(content.word)}</span></h2>'
        f'<div class="jc-body"><p><b>{shown(content.reason)}</b></p>'
        f"<p>{shown(content.meaning)}</p></div></section>"
    )


def sheet_findings(findings: Iterable[SheetFinding]) -> str:
    """Findings as the owner's sheet has them."""
    items = (
        f'<li><span class="jc-severity {f.severity}">{_sign(f.sign)}{shown(f.severity)}</span>'
        f'<div class="jc-text"><b>{shown(f.name)}.</b> {shown(f.text)}'
        f'<span class="jc-source">{shown(f.more)}</span></div></li>'
        for f in findings
    )
    return f'<ul class="jc jc-findings">{"".join(items)}</ul>'


def table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A ruled table that scrolls in its own place where the screen is narrow."""
    names = "".join(f'<th scope="col">{shown(name)}</th>' for name in header)
    top = f"<thead><tr>{names}</tr></thead>" if header else ""
    lines = (f"<tr>{''.join(f'<td>{shown(cell)}</td>' for cell in row)}</tr>" for row in rows)
    return (
        '<div class="jc jc-scroll" tabindex="0"><table class="jc-table">'
        f"{top}<tbody>{''.join(lines)}</tbody></table></div>"
    )


def key_figures(assessment: Assessment) -> str:
    """The figures to read first, each with its range."""
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
    if assessment.outcome in (Outcome.TOP_OFF, Outcome.KEEP_WATCHING):
        minutes = assessment.minutes_to_top_off
        rows.append(("Time until topped off", amount(minutes, "min"), minutes))
    return figures(
        [
            (name, value, f"{100 * interval.level:.0f} % range: {spread}")
            for name, (value, spread), interval in rows
        ]
    )


def figures(cells: Iterable[tuple[str, str, str]]) -> str:
    """Figures to read first: name, value and what to know about it."""
    told = (
        f'<div class="jc-figure"><span class="jc-name">{shown(name)}</span>'
        f'<span class="jc-value">{shown(value)}</span>'
        f'<span class="jc-range">{shown(more)}</span></div>'
        for name, value, more in cells
    )
    return f'<div class="jc jc-figures">{"".join(told)}</div>'


def findings_list(findings: Iterable[Finding]) -> str:
    """Findings as a list that wraps: sign and word, rule, text, limit and where it comes from."""
    return f'<ul class="jc jc-findings">{"".join(map(_finding, findings))}</ul>'


def note(text: str) -> str:
    """A small explaining paragraph, as under a chart."""
    return f'<p class="jc jc-note">{shown(text)}</p>'


def plain_list(items: Iterable[str]) -> str:
    """Sentences as a bulleted list."""
    return f'<ul class="jc jc-plain">{"".join(f"<li>{shown(item)}</li>" for item in items)}</ul>'


def _finding(finding: Finding) -> str:
    severity = finding.severity
    return (
        f'<li><span class="jc-severity {severity}">{_sign(SEVERITY_SIGNS[severity])}'
        f"{SEVERITY_WORDS[severity]}</span>"
        f'<div class="jc-text"><b>{RULE_WORDS[finding.rule]}.</b> {shown(finding.text)}'
        f"{_source(finding)}</div></li>"
    )


def _source(finding: Finding) -> str:
    limit, source = limit_words(finding), finding.source
    parts = [f"Limit {shown(limit)}"] if limit else []
    if finding.generic:
        source = (source or "").removeprefix(f"{GENERIC_MARK} ")
        parts.append(f'<span class="jc-generic">{GENERIC_MARK}</span> {shown(source)}')
    elif source:
        parts.append(f"from {shown(source)}")
    return f'<span class="jc-source">{" ".join(parts)}</span>' if parts else ""


def _short_cautions(assessment: Assessment) -> tuple[str, ...]:
    nicd = (NICD_CAUTION,) if NICD_CAUTION in assessment.cautions else ()
    return nicd + SHORT_CAUTIONS


def _sign(sign: str) -> str:
    return f'<span class="jc-sign" aria-hidden="true">{sign}</span>'
