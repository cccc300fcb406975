"""The first page: which battery needs attention, and the way to the aircraft."""

from __future__ import annotations

from base64 import b64encode
from datetime import UTC, datetime

import streamlit as st

from batterymodel import pages
from batterymodel.errors import BatteryModelError
from batterymodel.pages import KEPT, kept, literal, places
from batterymodel.pages.at_the_aircraft import CONNECTION
from batterymodel.say.attention import AttentionRow, Remark, Trend, matching
from batterymodel.say.in_progress import begun_words
from batterymodel.store import Store
from batterymodel.store.in_progress import connections_in_progress

JUST_CONNECTED = "I just connected"


def page() -> None:
    """Show the page."""
    store = kept.opened(places.BAR[places.HOME])
    if store is None:
        return
    st.session_state.pop(kept.SERIAL_LINKED, None)
    try:
        _show_in_progress(store)
        with st.container(key="just-connected"):
            if st.button(JUST_CONNECTED, type="primary", width="stretch"):
                places.go_to(places.AIRCRAFT)
        _show_batteries(kept.attention(store))
    except BatteryModelError as error:
        st.error(literal(str(error)))


def _show_in_progress(store: Store) -> None:
    going_on = connections_in_progress(store)
    if going_on:
        st.header("In progress")
    for connection in going_on:
        words = begun_words(connection, datetime.now(UTC))
        if st.button(f"Go on with {literal(words)}", key=f"on.{connection.id}", width="stretch"):
            places.go_to(places.AIRCRAFT, **{CONNECTION: connection.id})


def _show_batteries(rows: list[AttentionRow]) -> None:
    if not rows:
        kept.show_no_battery()
        return
    st.header("Needs attention")
    key = f"{KEPT}attention.wanted.{places.is_demo()}"
    wanted = st.text_input("Find a battery", placeholder="Serial or aircraft", key=key)
    found = matching(rows, wanted)
    if not found:
        st.info(literal(f"No battery on record has '{wanted.strip()}' in serial or aircraft."))
    for number, row in enumerate(found):
        with st.container(key=f"attention-{number}"):
            places.link(places.BATTERY, f"**{literal(row.label)}**", serial=row.serial)
            st.html(row_html(row))


def row_html(row: AttentionRow) -> str:
    """Remarks of one battery with their signs, and its trend beside them.

    Parameters
    ----------
    row : AttentionRow

    Returns
    -------
    str
        HTML.
    """
    remarks = "".join(map(_remark_html, row.remarks))
    trend = "" if row.trend is None else _picture(row.trend)
    return f'<div class="jc jc-row {row.worst}"><ul>{remarks}</ul>{trend}</div>'


def _remark_html(remark: Remark) -> str:
    more = f" {pages.shown(remark.more)}" if remark.more else ""
    return (
        f'<li class="jc-severity {remark.severity}">{pages.boxed_sign(remark.sign)}'
        f"<span><b>{pages.shown(remark.word)}</b>{more}</span></li>"
    )


def _picture(trend: Trend) -> str:
    """The trend as a picture in the page itself, its words in place of it where it is not seen."""
    data = b64encode(trend.svg.encode()).decode()
    return f'<img src="data:image/svg+xml;base64,{data}" alt="{pages.shown(trend.words)}">'
