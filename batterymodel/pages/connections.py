"""Connections on the pages: begun by one press, offered while in progress, and when left."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import streamlit as st

from batterymodel import pages
from batterymodel.errors import BatteryModelError
from batterymodel.pages import kept, literal
from batterymodel.say.attention import worst_of
from batterymodel.say.in_progress import answer_remark, begun_words, recently_left
from batterymodel.store import Store
from batterymodel.store.acts import InProgress, State
from batterymodel.store.in_progress import begin, connections_in_progress, load, take_up

CONNECTION = "connection"
"""Query parameter that holds the connection in progress, so that a reload comes back to it."""

JUST_CONNECTED = "I just connected"
CLOCK_STARTS = "Press when ground power comes on: the clock starts then. The battery is told after."
DOUBLE_PRESS = timedelta(seconds=3)
"""Two presses so close begin one connection, and so do two of a button not shown anew between them
(own choice)."""

_BEGUN, _OFFERED = "begun_last", "begin_offered"


def begin_now(store: Store) -> str | None:
    """Begin a connection at this moment; a second press at once finds the one just begun.

    Parameters
    ----------
    store : Store

    Returns
    -------
    str or None
        Its id; None where it cannot be stored, with the reason for `kept.show_done`.
    """
    last, is_offered = _begun_last(store), st.session_state.pop(_OFFERED, False)
    if last is not None and not (is_offered and _is_past(last)):
        return last.id
    now = datetime.now().astimezone()
    # Noted before it is stored: another press may end this run at any moment after that.
    key = st.session_state[_BEGUN] = uuid4().hex
    connection = kept.attempt(lambda: begin(store, key, now), "")
    return None if connection is None else connection.id


def offer_anew(store: Store) -> None:
    """The button is shown and not pressed: its next press begins another connection.

    Parameters
    ----------
    store : Store
    """
    last = _begun_last(store)
    if last is None or _is_past(last):
        st.session_state.pop(_BEGUN, None)
    else:
        st.session_state[_OFFERED] = True


def _is_past(begun: InProgress) -> bool:
    """Whether it began so long ago that another press is no double press."""
    return datetime.now(UTC) - begun.started_at >= DOUBLE_PRESS


def _begun_last(store: Store) -> InProgress | None:
    try:
        connection = load(store, st.session_state[_BEGUN])
    except (KeyError, BatteryModelError):
        return None
    return connection if connection.state is State.IN_PROGRESS and not connection.noted else None


def show_in_progress(store: Store, go_on: Callable[[str], None]) -> None:
    """Every connection in progress with its answer so far, the gravest first.

    Parameters
    ----------
    store : Store
    go_on : callable
        Called with the id of the one that is chosen.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    going_on = [kept.live(store, c) for c in connections_in_progress(store)]
    if going_on:
        st.header("In progress")
    for view in sorted(going_on, key=lambda view: worst_of([answer_remark(view)])):
        words = begun_words(view.connection, datetime.now(UTC))
        with st.container(key=f"going-on-{view.connection.id}"):
            st.html(pages.standing(answer_remark(view)))
            st.button(
                f"Go on with {literal(words)}",
                key=f"on.{view.connection.id}",
                on_click=go_on,
                args=(view.connection.id,),
                width="stretch",
            )


def show_left(store: Store, go_on: Callable[[str], None]) -> None:
    """Connections left in the last days, to be taken up again.

    Parameters
    ----------
    store : Store
    go_on : callable
        Called with the id of the one that is taken up.

    Raises
    ------
    StoreError
        The record cannot be read.
    """

    def take(connection_id: str) -> None:
        if kept.attempt(lambda: take_up(store, connection_id, f"take-up-{uuid4().hex}"), ""):
            go_on(connection_id)

    left = recently_left(store, datetime.now(UTC))
    if left:
        st.header("Left unfinished")
    for connection in left:
        words = begun_words(connection, datetime.now(UTC))
        st.button(
            f"Take up again: {literal(words)}",
            key=f"left.{connection.id}",
            on_click=take,
            args=(connection.id,),
            width="stretch",
        )
