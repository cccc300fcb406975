"""The page at the aircraft: from connecting ground power to an answer, one reading at a time."""

from __future__ import annotations

from datetime import UTC, datetime

import streamlit as st

from batterymodel import pages
from batterymodel.errors import BatteryModelError
from batterymodel.pages import kept, literal, temperatures
from batterymodel.pages.connections import (
    CLOCK_STARTS,
    CONNECTION,
    JUST_CONNECTED,
    begin_now,
    offer_anew,
    show_in_progress,
    show_left,
)
from batterymodel.pages.live_connection import show_ended, show_late_elsewhere, show_live, show_pad
from batterymodel.say.pad import closed_pad
from batterymodel.store import Store
from batterymodel.store.acts import InProgress, State
from batterymodel.store.in_progress import load


@kept.saying_faults
def page() -> None:
    """Show the page."""
    st.html(pages.STYLE)
    store = kept.record()
    if store is None:
        return
    try:
        _show(store, _current(store))
    except BatteryModelError as error:
        st.error(literal(temperatures.said(str(error))))


def _show(store: Store, connection: InProgress | None) -> None:
    if connection is None:
        _show_start(store)
    elif connection.state is State.IN_PROGRESS:
        show_live(store, connection)
    else:
        show_ended(store, connection)


def _current(store: Store) -> InProgress | None:
    """The connection that the address names."""
    wanted = st.query_params.get(CONNECTION)
    try:
        return None if wanted is None else load(store, wanted)
    except BatteryModelError as error:
        st.error(literal(temperatures.said(str(error))))
        del st.query_params[CONNECTION]
        return None


def _show_start(store: Store) -> None:
    st.title("At the aircraft")
    kept.show_done()
    show_late_elsewhere()
    with st.container(key="just-connected"):
        st.button(JUST_CONNECTED, type="primary", width="stretch", on_click=_begin, args=(store,))
    offer_anew(store)
    st.caption(CLOCK_STARTS)
    show_in_progress(store, _go_on)
    show_left(store, _go_on)
    show_pad(store, closed_pad(None, datetime.now(UTC)))


def _begin(store: Store) -> None:
    begun = begin_now(store)
    if begun is not None:
        _go_on(begun)


def _go_on(connection_id: str) -> None:
    st.query_params[CONNECTION] = connection_id
