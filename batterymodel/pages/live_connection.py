"""A connection while it goes on: the pad, the answer so far, and its end."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import streamlit as st

from batterymodel import pages
from batterymodel.charts import connection as charts
from batterymodel.pages import KEPT, kept, literal, temperatures
from batterymodel.pages.battery_choice import show_choice, supply_words
from batterymodel.pages.connections import CONNECTION
from batterymodel.pages.meter_pad import meter_pad, sent_entries
from batterymodel.say.in_progress import (
    NO_NAME,
    LiveView,
    ended_words,
    is_battery_told,
    too_late_words,
)
from batterymodel.say.pad import FULL_LABELS, NOT_IN_RECORD, closed_pad, pad_of
from batterymodel.say.record_view import fleet_of
from batterymodel.store import Store
from batterymodel.store.acts import MOST_LABEL, InProgress, State
from batterymodel.store.finishing import finish, keep_with_battery
from batterymodel.store.in_progress import leave, take_up
from batterymodel.store.noted_readings import file_name_of, readings_bytes
from batterymodel.store.pressed import take_entries

PAD = "pad"
KEPT_WITH = "It was kept with this outcome:"
LEAVE = "Leave it unfinished"
_STORED, _REFUSED, _LATE, _LEAVING = "pad_stored", "pad_refused", "pad_late", "leaving"
_UNKNOWN = "pad_unknown"


def show_live(store: Store, connection: InProgress) -> None:
    """Show a connection that is in progress.

    Parameters
    ----------
    store : Store
    connection : InProgress
    """
    view = kept.live(store, connection)
    name = view.battery.tail if view.battery else connection.told.tail or NO_NAME
    if view.assessment is not None:
        temperatures.show_html(pages.pinned_outcome(name, view.assessment))
    else:
        temperatures.show_html(pages.pinned_waiting(name, view.readings_left, view.problem))
    kept.show_done()
    is_told, has_choice = is_battery_told(connection), bool(fleet_of(store))
    if not is_told and has_choice:
        show_choice(store, connection)
    show_pad(store, pad_of(view, datetime.now(UTC)))
    if not is_told and not has_choice:
        show_choice(store, connection)
    if view.assessment is not None:
        _show_answer(view)
    if is_told:
        with st.expander(supply_words(connection)):
            show_choice(store, connection)
    _show_end(store, connection)


def show_ended(store: Store, connection: InProgress) -> None:
    """What became of a connection; presses that a device still holds are taken in.

    Parameters
    ----------
    store : Store
    connection : InProgress
    """
    st.title(literal(connection.told.serial or connection.told.tail or NO_NAME))
    kept.show_done()
    for words in _late_words().get(connection.id, {}).values():
        st.html(pages.warning(words))
    for words in ended_words(connection):
        st.markdown(literal(temperatures.said(words)))
    _show_answer_kept(store, connection)
    show_pad(store, closed_pad(connection, datetime.now(UTC)))
    if connection.state is State.LEFT:
        st.button("Take it up again", on_click=_take_up, args=(store, connection), width="stretch")
    st.button("Back to the start", on_click=_put_aside, width="stretch")


def show_pad(store: Store, shown: dict[str, Any]) -> None:
    """The pad; with that of no connection, what waits is sent, and only what no record has is seen.

    Parameters
    ----------
    store : Store
    shown : dict
        Of `batterymodel.say.pad`.
    """
    stored = [*shown["stored"], *st.session_state.get(_STORED, [])]
    answers = {
        "stored": stored,
        "refused": st.session_state.get(_REFUSED, {}),
        "unknown": st.session_state.get(_UNKNOWN, []),
        "unknown_words": NOT_IN_RECORD,
    }
    meter_pad({**shown, **answers}, PAD, lambda: _take_sent(store))


def show_late_elsewhere() -> None:
    """Say on the start what came too late of connections that are not shown now."""
    for words in [w for late in _late_words().values() for w in late.values()]:
        st.html(pages.warning(words))
    _late_words().clear()


def _late_words() -> dict[str, dict[str, str]]:
    """What is to be said of presses that came too late: by connection, then by press."""
    found: dict[str, dict[str, str]] = st.session_state.setdefault(_LATE, {})
    return found


def _take_sent(store: Store) -> None:
    """Take what the pad sent; it hears what is stored, and what is refused with the reason."""
    sent = sent_entries(PAD)
    reply = take_entries(store, sent, FULL_LABELS)
    typed = [value for entry in sent if isinstance(value := entry.get("value"), int | float)]
    refused = st.session_state.setdefault(_REFUSED, {})
    for key, connection in reply.connections.items():
        refused.pop(key, None)
        if words := too_late_words(connection, key):
            _late_words().setdefault(connection.id, {})[key] = words
    refused.update({key: temperatures.said(why, typed) for key, why in reply.refused.items()})
    st.session_state.setdefault(_STORED, []).extend(reply.connections)
    elsewhere = {c: kept.is_in_other_record(c) for c in set(reply.unknown.values())}
    st.session_state[_UNKNOWN] = [key for key, c in reply.unknown.items() if not elsewhere[c]]
    if reply.waiting:
        st.session_state[kept.FAILED] = f"Not stored yet, sent again by itself: {reply.waiting}"


def _show_answer_kept(store: Store, connection: InProgress) -> None:
    """The outcome of a connection that is in the record, from what was noted before it ended."""
    if connection.state is not State.FINISHED:
        return
    view = kept.live(store, connection)
    if view.assessment is not None:
        st.markdown(KEPT_WITH)
        _show_answer(view)
    elif view.problem is not None:
        st.markdown(literal(temperatures.said(view.problem)))


def _show_answer(view: LiveView) -> None:
    assessment, battery = view.assessment, view.battery
    if assessment is None or battery is None:
        return
    how_right = kept.standing_line(battery.chemistry)
    temperatures.show_html(pages.outcome_box(assessment, how_right))
    with st.expander(pages.DETAILS):
        temperatures.show_html(pages.key_figures(assessment))
        st.altair_chart(charts.taper_chart(assessment), theme=None)
        temperatures.show_html(pages.findings_list(assessment.findings))


def _show_end(store: Store, connection: InProgress) -> None:
    st.subheader("When it is over")
    if connection.told.serial is not None:
        st.button(
            f"Keep in the record of {literal(connection.told.serial)}",
            on_click=_finish,
            args=(store, connection),
            width="stretch",
        )
    elif is_battery_told(connection) and connection.readings:
        _show_keep_with_battery(store, connection)
    if connection.readings:
        st.download_button(
            "Readings as CSV",
            readings_bytes(connection),
            file_name_of(connection),
            "text/csv",
            width="stretch",
        )
    st.button("Put aside, go on later", on_click=_put_aside, width="stretch")
    _show_leave(store, connection)


def _show_keep_with_battery(store: Store, connection: InProgress) -> None:
    """A battery that is known by its plate alone is offered to be put on record too."""
    st.markdown("This battery is not on record. To keep it with this connection, name it:")
    entered = [
        st.text_input(label, max_chars=MOST_LABEL, key=f"{KEPT}live.{connection.id}.{name}").strip()
        for name, label in (("serial", "Serial of the battery"), ("aircraft", "Aircraft"))
    ]
    st.button(
        "Keep battery and connection",
        disabled="" in entered,
        on_click=_keep_with_battery,
        args=(store, connection, *entered),
        width="stretch",
    )


def _show_leave(store: Store, connection: InProgress) -> None:
    """Leaving, asked once."""
    if st.session_state.get(_LEAVING) != connection.id:
        st.button(LEAVE, on_click=_ask_leaving, args=(connection.id,), width="stretch")
        return
    st.markdown("Leave it? Nothing is erased; it is listed for a week and can be taken up again.")
    st.button("Yes, leave it", on_click=_leave, args=(store, connection), width="stretch")
    st.button("No, go on with it", on_click=_ask_leaving, args=(None,), width="stretch")


def _ask_leaving(connection_id: str | None) -> None:
    st.session_state[_LEAVING] = connection_id


def _finish(store: Store, connection: InProgress) -> None:
    kept.attempt(lambda: finish(store, connection.id, f"finish-{connection.id}"), "")


def _keep_with_battery(store: Store, connection: InProgress, serial: str, tail: str) -> None:
    key = f"keep-{uuid4().hex}"
    kept.attempt(
        lambda: keep_with_battery(store, connection.id, key, serial, tail),
        f"Battery {serial} is in the record.",
    )


def _leave(store: Store, connection: InProgress) -> None:
    key = f"leave-{uuid4().hex}"
    _ask_leaving(None)
    kept.attempt(lambda: leave(store, connection.id, key, "left on the page"), "")


def _take_up(store: Store, connection: InProgress) -> None:
    _late_words().pop(connection.id, None)
    kept.attempt(lambda: take_up(store, connection.id, f"take-up-{uuid4().hex}"), "")


def _put_aside() -> None:
    """Back to the start; the connection is offered there while it is in progress."""
    st.query_params.pop(CONNECTION, None)
