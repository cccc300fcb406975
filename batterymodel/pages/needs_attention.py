"""The first page: which battery needs attention, and the way to the aircraft."""

from __future__ import annotations

from base64 import b64encode

import streamlit as st

from batterymodel import pages
from batterymodel.errors import BatteryModelError
from batterymodel.pages import KEPT, kept, literal, places, temperatures
from batterymodel.pages.connections import (
    CONNECTION,
    JUST_CONNECTED,
    begin_now,
    offer_anew,
    show_in_progress,
)
from batterymodel.say.attention import AttentionRow, Trend, matching
from batterymodel.store import Store

_CHOSEN = "connection_chosen"


@kept.saying_faults
def page() -> None:
    """Show the page."""
    store = kept.opened(places.BAR[places.HOME])
    if store is None:
        return
    st.session_state.pop(kept.SERIAL_LINKED, None)
    try:
        _go_on_where_chosen()
        show_in_progress(store, _choose)
        _show_just_connected(store)
        _show_batteries(kept.attention(store))
    except BatteryModelError as error:
        st.error(literal(temperatures.said(str(error))))


def _show_just_connected(store: Store) -> None:
    """One press begins a connection: its clock runs from then on."""
    with st.container(key="just-connected"):
        pressed = st.button(JUST_CONNECTED, type="primary", width="stretch")
    if not pressed:
        offer_anew(store)
    elif (begun := begin_now(store)) is not None:
        places.go_to(places.AIRCRAFT, **{CONNECTION: begun})
    else:
        kept.show_done()


def _choose(connection_id: str) -> None:
    st.session_state[_CHOSEN] = connection_id


def _go_on_where_chosen() -> None:
    """Turn to the connection that was chosen in this run."""
    chosen = st.session_state.pop(_CHOSEN, None)
    if chosen is not None:
        places.go_to(places.AIRCRAFT, **{CONNECTION: chosen})


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
    remarks = "".join(map(pages.remark_item, row.remarks))
    trend = "" if row.trend is None else _picture(row.trend)
    return f'<div class="jc jc-row {row.worst}"><ul>{remarks}</ul>{trend}</div>'


def _picture(trend: Trend) -> str:
    """The trend as a picture in the page itself, its words in place of it where it is not seen."""
    data = b64encode(trend.svg.encode()).decode()
    return f'<img src="data:image/svg+xml;base64,{data}" alt="{pages.shown(trend.words)}">'
