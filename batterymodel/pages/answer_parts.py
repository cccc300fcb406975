"""Parts of an answer on a page: its charts and its findings."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from batterymodel import pages
from batterymodel.charts import connection as charts
from batterymodel.pages import temperatures
from batterymodel.rules.results import Assessment, Finding, Severity
from batterymodel.say.connection import temperatures_of


def show_charts(result: Assessment) -> None:
    """Show the taper, and folded the evidence for the state of charge.

    Parameters
    ----------
    result : Assessment
    """
    st.header("Taper")
    st.altair_chart(charts.taper_chart(result), theme=None)
    temperatures.show_html(pages.note(charts.taper_words(result)))
    with st.expander(pages.DETAILS):
        st.subheader("State of charge at connection")
        st.altair_chart(charts.evidence_chart(result), theme=None)
        remarks = [f"{name}: {remark}." for name, remark in result.curves.remarks.items()]
        temperatures.show_html(pages.note(" ".join([charts.evidence_words(result), *remarks])))


def show_findings(findings: Sequence[Finding]) -> None:
    """Show open findings in full, and fine ones folded.

    Parameters
    ----------
    findings : sequence of Finding
    """
    fine = [finding for finding in findings if finding.severity is Severity.OK]
    known_c = temperatures_of(findings)
    open_ones = [finding for finding in findings if finding.severity is not Severity.OK]
    st.header("Findings")
    if open_ones:
        temperatures.show_html(pages.findings_list(open_ones), known_c)
    if fine:
        with st.expander(
            f"{len(fine)} findings are fine" if len(fine) > 1 else "1 finding is fine",
            expanded=not open_ones,
        ):
            temperatures.show_html(pages.findings_list(fine), known_c)
