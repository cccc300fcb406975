"""The page at the aircraft: from connecting ground power to an answer, one reading at a time."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import streamlit as st

from batterymodel import pages
from batterymodel.charts import connection as charts
from batterymodel.errors import BatteryModelError, InputError, StoreError
from batterymodel.inputs.records import Chemistry, Supply, record_from
from batterymodel.pages import KEPT, kept, literal, temperatures
from batterymodel.pages.meter_pad import meter_pad, sent_entries
from batterymodel.reference.chemistry import data_for
from batterymodel.say.in_progress import Question, begun_words, ended_words, live_view
from batterymodel.say.record_view import fleet_of
from batterymodel.store import Store
from batterymodel.store.acts import InProgress, Quantity, State
from batterymodel.store.finishing import finish
from batterymodel.store.in_progress import begin, connections_in_progress, leave, load, take_up
from batterymodel.store.noted_readings import file_name_of, readings_bytes
from batterymodel.store.pressed import take_entry

CONNECTION = "connection"
"""Query parameter that holds the connection in progress, so that a reload comes back to it."""

PAD, STORED, SUPPLY = "pad", "stored_entries", f"{KEPT}live.supply_a"
KINDS = (
    (Quantity.SUPPLY_CURRENT, "Meter", "A"),
    (Quantity.BATTERY_CURRENT, "Clamp", "A"),
    (Quantity.SUPPLY_VOLTAGE, "Volts", "V"),
    (Quantity.BATTERY_TEMP, "Temp.", "°C"),
)
MARKS = ("Switched on", "Switched off")
OTHER = "Another battery"
LAST_SHOWN = 3
USUAL_SUPPLY_A = 60.0


def page() -> None:
    """Show the page."""
    st.html(pages.STYLE)
    store = kept.record()
    if store is None:
        return
    connection = _current(store)
    if connection is None:
        _show_start(store)
    elif connection.state is State.IN_PROGRESS:
        _show_live(store, connection)
    else:
        _show_ended(store, connection)


def _current(store: Store) -> InProgress | None:
    """The connection that the address names."""
    wanted = st.query_params.get(CONNECTION)
    try:
        return None if wanted is None else load(store, wanted)
    except BatteryModelError as error:
        st.error(literal(str(error)))
        del st.query_params[CONNECTION]
        return None


def _show_start(store: Store) -> None:
    st.title("At the aircraft")
    kept.show_done()
    for connection in connections_in_progress(store):
        words = begun_words(connection, datetime.now(UTC))
        st.button(
            f"Go on with {literal(words)}",
            key=f"go_on.{connection.id}",
            on_click=_go_on,
            args=(connection.id,),
            width="stretch",
        )
    fleet = fleet_of(store)
    serial = st.selectbox(
        "Battery",
        [*fleet, OTHER],
        index=None if fleet else 0,
        format_func=lambda key: fleet.get(key, OTHER),
        placeholder="Choose the battery",
        key=f"{KEPT}live.battery",
    )
    told: dict[str, Any] = {"serial": serial}
    if serial == OTHER:
        told = _plate_input()
    st.session_state.setdefault(SUPPLY, USUAL_SUPPLY_A)
    supply_a = st.number_input(
        "Rated current of the supply (A)", 1.0, 1000.0, step=5.0, format="%g", key=SUPPLY
    )
    st.button(
        "I just connected",
        type="primary",
        width="stretch",
        disabled=serial is None or None in told.values(),
        on_click=_begin,
        args=(store, told, supply_a),
    )
    st.caption("Press when ground power comes on: the clock starts then.")


def _plate_input() -> dict[str, Any]:
    """The plate of a battery that is not on record, in three fields and a name."""
    chemistry = st.selectbox(
        "Kind",
        list(Chemistry),
        index=None,
        format_func=lambda kind: data_for(kind).label,
        placeholder="Choose the kind",
        key=f"{KEPT}live.chemistry",
    )
    cells, rated = st.columns(2)
    return {
        "tail": st.text_input("Name of it", key=f"{KEPT}live.tail").strip() or "unnamed",
        "chemistry": chemistry,
        "cells": cells.number_input("Cells", 1, 40, value=None, key=f"{KEPT}live.cells"),
        "rated_capacity_ah": rated.number_input(
            "Rated capacity (Ah)", 0.5, 500.0, value=None, format="%g", key=f"{KEPT}live.rated"
        ),
    }


def _begin(store: Store, told: dict[str, Any], supply_a: float) -> None:
    now = datetime.now().astimezone()

    def write() -> InProgress:
        supply = record_from({"rated_current_a": supply_a}, Supply, "supply")
        return begin(store, uuid4().hex, now, supply=supply, **told)

    connection = kept.attempt(write, "")
    if connection is not None:
        _go_on(connection.id)


def _go_on(connection_id: str) -> None:
    st.query_params[CONNECTION] = connection_id
    st.session_state[STORED] = []


def _show_live(store: Store, connection: InProgress) -> None:
    view = live_view(store, connection)
    name = view.battery.tail if view.battery else connection.told.tail or "battery"
    if view.assessment is not None:
        temperatures.show_html(pages.pinned_outcome(name, view.assessment))
    else:
        temperatures.show_html(pages.pinned_waiting(name, view.readings_left, view.problem))
    kept.show_done()
    pad = _pad_data(connection, view.question, view.due_s)
    meter_pad(pad, PAD, lambda: _take_sent(store, connection.id))
    if view.assessment is not None:
        temperatures.show_html(pages.outcome_box(view.assessment))
        with st.expander("Details"):
            temperatures.show_html(pages.key_figures(view.assessment))
            st.altair_chart(charts.taper_chart(view.assessment), theme=None)
            temperatures.show_html(pages.findings_list(view.assessment.findings))
    _show_end(store, connection)


def _show_ended(store: Store, connection: InProgress) -> None:
    """What became of a connection; presses that a device still holds are taken in."""
    st.title(connection.told.serial or connection.told.tail or "Battery")
    kept.show_done()
    for words in ended_words(connection):
        st.markdown(literal(words))
    meter_pad(_pad_data(connection), PAD, lambda: _take_sent(store, connection.id))
    if connection.state is State.LEFT:
        st.button("Take it up again", on_click=_take_up, args=(store, connection), width="stretch")
    st.button("Back to the start", on_click=_put_aside, width="stretch")


def _take_up(store: Store, connection: InProgress) -> None:
    kept.attempt(lambda: take_up(store, connection.id, f"take-up-{uuid4().hex}"), "")


def _pad_data(
    connection: InProgress, question: Question | None = None, due_s: float | None = None
) -> dict[str, object]:
    """What the pad shows; closed, so that nothing more is pressed, without a next reading."""
    started_ms = 1000.0 * connection.started_at.timestamp()
    last = [
        {"id": key, "quantity": r.quantity, "value": r.value, "elapsed_s": r.elapsed_s}
        for key, r in reversed(connection.readings[-LAST_SHOWN:])
    ]
    return {
        "connection": connection.id,
        "started_ms": started_ms,
        "now_ms": 1000.0 * datetime.now(UTC).timestamp(),
        "closed": due_s is None,
        "due_ms": None if due_s is None else started_ms + 1000.0 * due_s,
        "kinds": [{"name": name, "label": label, "unit": unit} for name, label, unit in KINDS],
        "marks": list(MARKS),
        "question": None
        if question is None
        else {"name": question.name, "text": question.text, "unit": question.unit},
        "last": last,
        "confirmed": [*(n.key for n in connection.noted), *st.session_state.get(STORED, [])],
    }


def _take_sent(store: Store, connection_id: str) -> None:
    """Take what the pad sent; what cannot be right is said and not sent again."""
    for entry in sent_entries(PAD):
        try:
            take_entry(store, connection_id, entry)
        except StoreError as error:
            st.session_state[kept.FAILED] = f"Not stored yet, sent again by itself: {error}"
            return
        except InputError as error:
            st.session_state[kept.FAILED] = str(error)
        st.session_state.setdefault(STORED, []).append(str(entry.get("id")))


def _show_end(store: Store, connection: InProgress) -> None:
    st.subheader("When it is over")
    if connection.told.serial is not None:
        st.button(
            f"Keep in the record of {literal(connection.told.serial)}",
            on_click=_finish,
            args=(store, connection),
            width="stretch",
        )
    if connection.readings:
        st.download_button(
            "Readings as CSV",
            readings_bytes(connection),
            file_name_of(connection),
            "text/csv",
            width="stretch",
        )
    st.button("Put aside", on_click=_put_aside, width="stretch")
    st.button(
        "Leave it unfinished",
        on_click=_leave,
        args=(store, connection),
        width="stretch",
        help="It is offered no more; nothing of it is erased.",
    )


def _finish(store: Store, connection: InProgress) -> None:
    kept.attempt(lambda: finish(store, connection.id, f"finish-{connection.id}"), "")


def _leave(store: Store, connection: InProgress) -> None:
    key = f"leave-{uuid4().hex}"
    kept.attempt(lambda: leave(store, connection.id, key, "left on the page"), "")


def _put_aside() -> None:
    """Back to the start; the connection is offered there while it is in progress."""
    st.query_params.pop(CONNECTION, None)
