"""The page of the track record: how right answers turned out, and what follows for the next."""

from __future__ import annotations

import streamlit as st

from batterymodel import pages
from batterymodel.charts.track_record import coverage_chart, coverage_words
from batterymodel.errors import BatteryModelError
from batterymodel.pages import kept, literal, places
from batterymodel.say import track_record as said
from batterymodel.track.score import TrackRecord, over_time, tallies

TITLE = "How right has it been here"


@kept.saying_faults
def page() -> None:
    """Show the page."""
    store = kept.opened(TITLE)
    if store is None:
        return
    try:
        record = kept.track_record(store)
    except BatteryModelError as error:
        st.error(literal(str(error)))
        return
    st.html(pages.note(said.headline(record)))
    _show_over_time(record)
    _show_widening(record)
    _show_outcomes(record)
    _show_groups(record)
    with st.container(key="more-0"):
        places.link(places.BATTERY, "**Battery record**: note what servicing found")


def _show_over_time(record: TrackRecord) -> None:
    moments = over_time(record.present)
    if moments:
        st.header("Over time")
        st.altair_chart(coverage_chart(moments), theme=None)
        st.html(pages.note(coverage_words(moments)))


def _show_widening(record: TrackRecord) -> None:
    lines = (*said.widening_sentences(record), *said.about_sentences(record))
    if lines:
        st.header("What follows for the next answers")
        st.html(pages.plain_list(lines))


def _show_outcomes(record: TrackRecord) -> None:
    st.header("Outcomes against what was found")
    found = said.outcome_sentences(record)
    st.html(pages.note(" ".join(found) or said.NOTHING_FOUND))
    if found:
        with st.expander("Each of them"):
            st.html(pages.plain_list(said.outcome_lines(record)))


def _show_groups(record: TrackRecord) -> None:
    if record.present:
        with st.expander(pages.DETAILS):
            for title, name_of in said.GROUPINGS.items():
                st.subheader(title)
                lines = [said.tally_words(tally) for tally in tallies(record.present, name_of)]
                st.html(pages.plain_list(lines))
