"""The page of the owner's findings sheet: what it will say, and the PDF."""

from __future__ import annotations

import streamlit as st

from batterymodel import pages
from batterymodel.errors import BatteryModelError
from batterymodel.pages import KEPT, LAST_CASE, SHEET_SOURCE, kept, literal, temperatures
from batterymodel.say.record import outcome_words
from batterymodel.say.record_view import fleet_of
from batterymodel.sheet import wording as words
from batterymodel.sheet.case import SheetCase, connections_of, recorded_case, with_record
from batterymodel.sheet.content import Section, SheetContent
from batterymodel.sheet.pdf import PAPERS

LAST, RECORD = "The one last assessed", "One of the record"
NOTHING_YET = (
    "No connection has been assessed in this session yet. Open the page Readings file and give "
    "it readings, or take a connection of the record."
)
ON_PAGE = {"width": "container", "height": 360}
"""Size of a picture on the page, in place of that on paper [px]."""

PAPER_WORDS = {"a4": "A4", "letter": "Letter"}


@kept.saying_faults
def page() -> None:
    """Show the page."""
    st.html(pages.STYLE)
    st.title("Findings sheet")
    st.html(pages.note("One or two pages for the owner, in plain words, to read and to sign."))
    try:
        _begin_where_something_is()
        source = st.radio("Connection", (LAST, RECORD), horizontal=True, key=SHEET_SOURCE)
        case = _last_case() if source == LAST else _recorded_case()
        if case is not None:
            _show_case(case)
    except BatteryModelError as error:
        st.error(literal(temperatures.said(str(error))))


def _begin_where_something_is() -> None:
    """Without a connection assessed in this session, begin with those of the record, if any."""
    if SHEET_SOURCE not in st.session_state:
        store, nothing_yet = kept.record(), LAST_CASE not in st.session_state
        begin = RECORD if nothing_yet and store is not None and fleet_of(store) else LAST
        st.session_state[SHEET_SOURCE] = begin


def _last_case() -> SheetCase | None:
    case = st.session_state.get(LAST_CASE)
    if not isinstance(case, SheetCase):
        st.info(NOTHING_YET)
        return None
    store = kept.record()
    return case if store is None else with_record(store, case)


def _recorded_case() -> SheetCase | None:
    store = kept.record()
    serial = kept.choose_battery(store) if store else None
    if store is None or serial is None:
        return None
    found = {entry.id: entry.record for entry in connections_of(store, serial)}
    if not found:
        st.info(literal(f"No assessed connection of {serial} is on record yet."))
        return None
    chosen = st.selectbox(
        "Connection on record",
        list(found),
        format_func=lambda key: f"{found[key].day}: {outcome_words(found[key])}",
    )
    return recorded_case(store, serial, chosen)


def _show_case(case: SheetCase) -> None:
    left, right = st.columns([3, 1], vertical_alignment="bottom")
    owner = left.text_input("Name of the owner", key=f"{KEPT}sheet.owner")
    paper = right.selectbox(
        "Paper", tuple(PAPERS), format_func=PAPER_WORDS.__getitem__, key=f"{KEPT}sheet.paper"
    )
    content = case.content(owner)
    st.download_button(
        "Findings sheet as PDF",
        case.pdf(owner, paper),
        f"findings-{case.on}.pdf",
        "application/pdf",
    )
    _show(content, case.name or case.battery.tail)


def _show(content: SheetContent, name: str) -> None:
    """The same content as on paper, the outcome first."""
    st.html(pages.named(name) + pages.sheet_box(content) + pages.table((), content.head))
    for remark in content.remarks:
        st.html(pages.note(remark))
    for section in content.sections:
        if section.key != "signed":
            _show_section(section)


def _show_section(section: Section) -> None:
    st.header(section.title)
    if section.findings:
        st.html(pages.sheet_findings(section.findings))
    if section.pictures:
        places = st.columns(2, gap="large")
        for place, picture in zip(places, section.pictures, strict=False):
            with place:
                st.markdown(f"**{literal(picture.title)}**")
                st.vega_lite_chart({**picture.spec, **ON_PAGE}, theme=None)
                st.html(pages.note(picture.words))
        with places[-1]:
            if section.sentences:
                st.markdown(f"**{literal(words.CAPACITY_PICTURE)}**")
                st.markdown(literal(" ".join(section.sentences)))
    elif section.key in ("next", "cautions"):
        st.html(pages.plain_list(section.sentences))
    elif section.sentences:
        st.markdown(literal(" ".join(section.sentences)))
    if section.table is not None:
        st.html(pages.table(section.table.header, section.table.rows))
    if section.choices:
        st.html(pages.plain_list(section.choices))
