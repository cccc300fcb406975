"""The web page of the tool: ``python -m streamlit run app.py`` from the checkout."""

from __future__ import annotations

import streamlit as st

from batterymodel.pages import (
    STYLE,
    after_connection,
    at_the_aircraft,
    battery_record,
    capacity_check,
    findings_sheet,
    ground_power,
    keep_entries,
    kept,
    limits_card,
    more,
    needs_attention,
    places,
    plain_words,
    track_record,
)


def main() -> None:
    """Assemble the pages below their bar of places and run the chosen one."""
    st.set_page_config(page_title="Battery on ground power", layout="wide")
    kept.drop_entries_of_other_record()
    keep_entries()
    pages = [
        st.Page(needs_attention.page, title="Batteries", default=True),
        st.Page(at_the_aircraft.page, title="At the aircraft", url_path="at-the-aircraft"),
        st.Page(after_connection.page, title="Readings file", url_path="after-connection"),
        st.Page(more.page, title="More", url_path="more"),
        st.Page(battery_record.page, title="Battery record", url_path="battery-record"),
        st.Page(ground_power.page, title="Ground power", url_path="ground-power"),
        st.Page(track_record.page, title="How right has it been here", url_path="how-right"),
        st.Page(capacity_check.page, title="Capacity check", url_path="capacity-check"),
        st.Page(limits_card.page, title="Limits card", url_path="limits-card"),
        st.Page(findings_sheet.page, title="Findings sheet", url_path="findings-sheet"),
        st.Page(plain_words.page, title="In plain words", url_path="in-plain-words"),
    ]
    shown = st.navigation(pages, position="hidden")
    places.register(pages)
    st.html(STYLE)
    places.show_bar(shown.url_path)
    kept.show_demo_mark()
    shown.run()


main()
