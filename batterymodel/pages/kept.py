"""The record on the pages: the own one or the invented demo record, and a battery chosen of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import wraps
from pathlib import Path
from typing import Any, TypeVar

import streamlit as st

from batterymodel import pages
from batterymodel.charts.record import fade_chart, tapers_chart
from batterymodel.charts.style import spec_of
from batterymodel.errors import BatteryModelError, StoreError
from batterymodel.inputs.entry_faults import Shown, said_by_labels
from batterymodel.inputs.load_plan import AircraftLoads
from batterymodel.inputs.records import Chemistry, Supply
from batterymodel.inputs.temperature_unit import TemperatureUnit, spoken_in
from batterymodel.pages import KEPT, literal, places
from batterymodel.samples.demo import open_demo
from batterymodel.say.attention import AttentionRow, attention_row, worst_first
from batterymodel.say.ground_power import PowerView, power_view
from batterymodel.say.in_progress import LiveView, live_view
from batterymodel.say.record_view import RecordView, fleet_of, record_view
from batterymodel.say.track_record import standing_line as line_of
from batterymodel.store import Store, learned_loads, open_store, settings
from batterymodel.store.acts import InProgress
from batterymodel.store.engine import default_url, demo_url
from batterymodel.store.in_progress import is_begun
from batterymodel.store.records import BatteryPlate
from batterymodel.store.stamps import battery_stamps, record_stamp
from batterymodel.store.track_record import track_record as track_record_of
from batterymodel.store.track_record import widening as widening_on
from batterymodel.track.score import TrackRecord

T = TypeVar("T")
DONE, FAILED = "done", "failed"
TEMPERATURE_UNIT = f"{KEPT}temperature_unit"
SERIAL = f"{KEPT}serial"
NO_BATTERY = "No battery is in the record yet."
WAYS = {
    places.AIRCRAFT: "**At the aircraft**: begin with what stands on the battery's plate",
    places.BATTERY: "**Battery record**: add a battery with its serial and its aircraft",
}
"""Pages by which a battery comes into the record, with the words of their links."""

WAY_BY_COMMAND = (
    "At the command line 'record add battery' adds one, and 'record import' takes in a record that "
    "was exported."
)
LOOK_AT_DEMO = "Look at invented demo data"
BACK_TO_OWN = "To my own record"
DEMO_WORDS = "Invented demo record: nothing in it was measured."
SERIAL_LINKED = "serial_linked"
_ENTERED_IN_DEMO = "entered_in_demo"
SERIAL_IN_ADDRESS = "serial"
"""Query parameter by which a link names a battery."""


@st.cache_resource(show_spinner="Opening the record")
def _own(url: str) -> Store:
    return open_store(url)


@st.cache_resource(show_spinner="Preparing the invented demo record")
def _demo(_url: str) -> Store:
    return open_demo()


def record() -> Store | None:
    """The record shown; None, with the reason on the page, where it cannot be opened."""
    try:
        store = _demo(demo_url()) if places.is_demo() else _own(default_url())
    except BatteryModelError as error:
        st.error(literal(str(error)))
        return None
    if store.backup is not None:
        st.caption(literal(f"The record was brought up to date; as it was: {store.backup}"))
    return store


def saying_faults(page: Callable[[], None]) -> Callable[[], None]:
    """A page that ends in one sentence where the record cannot be read.

    Parameters
    ----------
    page : callable
        Shows the page; what it showed before the fault stays.

    Returns
    -------
    callable
    """

    @wraps(page)
    def shown() -> None:
        try:
            page()
        except StoreError as error:
            st.error(literal(str(error)))

    return shown


def settings_store() -> Store | None:
    """The own record, which keeps settings whichever record is shown; None if it cannot open."""
    try:
        return _own(default_url())
    except BatteryModelError:
        return None


def is_in_other_record(in_progress_id: str) -> bool:
    """Whether the record that is not shown, own or demo, has a connection under this id.

    Parameters
    ----------
    in_progress_id : str

    Returns
    -------
    bool
        True too where that cannot be told now.
    """
    try:
        if places.is_demo():
            return is_begun(_own(default_url()), in_progress_id)
        has_demo = Path(demo_url()).exists()
        return has_demo and is_begun(_demo(demo_url()), in_progress_id)
    except BatteryModelError:
        return True


def show_demo_mark() -> None:
    """Say, where it is so, that this is the demo record, with the way back."""
    if places.is_demo():
        with st.container(key="demo-mark"):
            st.html(pages.demo_mark(DEMO_WORDS))
            if st.button(BACK_TO_OWN):
                places.turn_to_record(demo=False)


def show_no_battery(*, adds_here: bool = False) -> None:
    """Say that the record is empty, how a battery comes into it, and offer the demo record.

    Parameters
    ----------
    adds_here : bool
        Whether the page itself is the one that adds a battery.
    """
    st.info(literal(NO_BATTERY))
    for number, (path, words) in enumerate(WAYS.items()):
        if not (adds_here and path == places.BATTERY):
            with st.container(key=f"more-{number}"):
                places.link(path, words)
    if adds_here:
        st.html(pages.note(WAY_BY_COMMAND))
    if not places.is_demo() and st.button(LOOK_AT_DEMO, width="stretch"):
        places.turn_to_record(demo=True)


def drop_entries_of_other_record() -> None:
    """Drop what was entered beside the other record: no entry goes from one to the other."""
    demo = places.is_demo()
    if st.session_state.setdefault(_ENTERED_IN_DEMO, demo) != demo:
        for key in [str(key) for key in st.session_state]:
            if key.startswith(KEPT):
                del st.session_state[key]
    st.session_state[_ENTERED_IN_DEMO] = demo


def opened(title: str) -> Store | None:
    """The record, below the title of a page that shows it, and what was written last.

    Parameters
    ----------
    title : str
        Put in as markdown.

    Returns
    -------
    Store or None
        None, with the reason on the page, where it cannot be opened.
    """
    st.html(pages.STYLE)
    st.title(title)
    store = record()
    show_done()
    return store


def choose_battery(store: Store, *, adds_here: bool = False) -> str | None:
    """Serial of the battery chosen on this or another page of the record.

    Parameters
    ----------
    store : Store
    adds_here : bool
        Whether the page itself is the one that adds a battery.

    Returns
    -------
    str or None
        None, with what to do on the page, where no battery is in the record.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    fleet = fleet_of(store)
    if not fleet:
        show_no_battery(adds_here=adds_here)
        return None
    linked = st.query_params.get(SERIAL_IN_ADDRESS)
    if linked in fleet and linked != st.session_state.get(SERIAL_LINKED):
        st.session_state[SERIAL] = linked
    st.session_state[SERIAL_LINKED] = linked
    if st.session_state.get(SERIAL) not in fleet:
        st.session_state[SERIAL] = next(iter(fleet))
    return st.selectbox("Battery", list(fleet), format_func=fleet.__getitem__, key=SERIAL)


def attempt(
    write: Callable[[], T],
    words: str | Callable[[T], str],
    labels: Mapping[str, Shown] | None = None,
) -> T | None:
    """What a write returns, its words shown by `show_done`; None, with the reason, if it fails.

    Parameters
    ----------
    write : callable without arguments
        May raise a `BatteryModelError`; anything else passes through.
    words : str or callable
        Said when it is done, or made from what was written.
    labels : mapping, optional
        How the page shows the entries that are written, by their names in the record.

    Returns
    -------
    object or None
    """
    try:
        result = write()
    except BatteryModelError as error:
        st.session_state[FAILED] = said_by_labels(error, labels or {})
        return None
    st.session_state[DONE] = words if isinstance(words, str) else words(result)
    return result


def show_done() -> None:
    """What was written last, or why it was not, said once."""
    if words := st.session_state.pop(DONE, None):
        st.success(literal(spoken_in(words, temperature_unit())))
    if reason := st.session_state.pop(FAILED, None):
        st.error(literal(spoken_in(reason, temperature_unit())))


def temperature_unit() -> TemperatureUnit:
    """The unit of temperatures that was chosen: in this session, else in the own record."""
    if TEMPERATURE_UNIT not in st.session_state:
        st.session_state[TEMPERATURE_UNIT] = _unit_on_record()
    return TemperatureUnit(st.session_state[TEMPERATURE_UNIT])


def _unit_on_record() -> TemperatureUnit:
    store = settings_store()
    try:
        return TemperatureUnit.CELSIUS if store is None else settings.temperature_unit(store)
    except BatteryModelError:
        return TemperatureUnit.CELSIUS


@dataclass(frozen=True)
class RecordPage:
    """A battery's record as its page shows it, its charts as specifications."""

    view: RecordView
    fade_spec: dict[str, Any] | None
    tapers_spec: dict[str, Any] | None


def record_page(store: Store, serial: str) -> RecordPage:
    """A battery's record for its page, made anew only when its record or the day changes.

    Parameters
    ----------
    store : Store
    serial : str

    Returns
    -------
    RecordPage
        As of today.

    Raises
    ------
    InputError
        No such battery.
    StoreError
        The record cannot be read.
    """
    with store.reading():
        plate_id, today = store.plate(serial).id, date.today()
        stamp = (store.where, plate_id, battery_stamps(store)[plate_id])
        return _record_page(store, serial, today, temperature_unit(), stamp)


@st.cache_data(show_spinner="Looking at the record", max_entries=100)
def _record_page(
    _store: Store, serial: str, today: date, unit: TemperatureUnit, stamp: object
) -> RecordPage:
    view = record_view(_store, serial, today)
    return RecordPage(
        view=view,
        fade_spec=spec_of(fade_chart(view.forecast)) if view.forecast else None,
        tapers_spec=spec_of(tapers_chart(view.tapers, unit)) if view.tapers else None,
    )


def attention(store: Store) -> list[AttentionRow]:
    """The batteries by how much they need attention, each read anew only when its record changes.

    Parameters
    ----------
    store : Store

    Returns
    -------
    list of AttentionRow
        As of today, worst first.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    with store.reading():
        stamps, today = battery_stamps(store), date.today()
        return worst_first(
            _attention(store, plate.record.serial, today, (store.where, plate.id, stamps[plate.id]))
            for plate in store.entries(BatteryPlate)
        )


@st.cache_data(show_spinner=False, max_entries=1000)
def _attention(_store: Store, serial: str, today: date, stamp: object) -> AttentionRow:
    return attention_row(_store, serial, today)


def track_record(store: Store) -> TrackRecord:
    """How right the answers on record turned out, counted anew only when the record changes.

    Parameters
    ----------
    store : Store

    Returns
    -------
    TrackRecord

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    with store.reading():
        return _track_record(store, (store.where, record_stamp(store)))


@st.cache_data(show_spinner="Looking at how answers turned out", max_entries=10)
def _track_record(_store: Store, stamp: object) -> TrackRecord:
    return track_record_of(_store)


def standing_line(chemistry: Chemistry) -> str | None:
    """One line for the box of an outcome: how right ranges of a chemistry have been here.

    Parameters
    ----------
    chemistry : Chemistry

    Returns
    -------
    str or None
        None while there are too few cases, or where the record cannot be read.
    """
    try:
        return line_of(track_record(_shown_record()), chemistry)
    except BatteryModelError:
        return None


def widening(chemistry: Chemistry, on: date) -> float:
    """Factor of the ranges of an answer that is not on record yet.

    Parameters
    ----------
    chemistry : Chemistry
    on : date
        Day of the connection.

    Returns
    -------
    float
        [-]; 1 where the record cannot be read.
    """
    try:
        store = _shown_record()
        return _widening(store, chemistry, on, (store.where, record_stamp(store)))
    except BatteryModelError:
        return 1.0


@st.cache_data(show_spinner=False, max_entries=100)
def _widening(_store: Store, chemistry: Chemistry, on: date, stamp: object) -> float:
    return widening_on(_store, chemistry, on)


def _shown_record() -> Store:
    """The record shown, as `record` opens it, with nothing said where that fails."""
    return _demo(demo_url()) if places.is_demo() else _own(default_url())


def live(store: Store, connection: InProgress) -> LiveView:
    """A connection in progress with its answer, computed anew when it or its record changes.

    Parameters
    ----------
    store : Store
    connection : InProgress

    Returns
    -------
    LiveView

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    with store.reading():
        return _live(store, connection, (store.where, battery_stamps(store), repr(connection)))


@st.cache_data(show_spinner=False, max_entries=200)
def _live(_store: Store, _connection: InProgress, state: object) -> LiveView:
    return live_view(_store, _connection)


def power(
    store: Store, tail: str, task: str, supply: Supply, now: datetime, supply_temp_c: float | None
) -> PowerView:
    """The budget of a task, computed anew when what it rests on or the day changes.

    Parameters
    ----------
    store : Store
    tail : str
    task : str
    supply : Supply
    now : datetime
        With its UTC offset; only its day counts.
    supply_temp_c : float or None
        Air at the supply [degC].

    Returns
    -------
    PowerView

    Raises
    ------
    InputError
        An aircraft that is not on record or has no load plan, no such task, or a value that
        cannot be right.
    StoreError
        The record cannot be read.
    """
    state = (store.where, record_stamp(store), now.date(), repr(supply))
    return _power(store, tail, task, supply, now, supply_temp_c, state)


@st.cache_data(show_spinner="Working out the budget", max_entries=200)
def _power(
    _store: Store,
    tail: str,
    task: str,
    _supply: Supply,
    _now: datetime,
    supply_temp_c: float | None,
    state: object,
) -> PowerView:
    return power_view(_store, tail, task, _supply, _now, supply_temp_c)


def loads_to_alter(store: Store, tail: str) -> AircraftLoads:
    """An aircraft's loads as they are altered, read anew only when the record or the day changes.

    Parameters
    ----------
    store : Store
    tail : str

    Returns
    -------
    AircraftLoads

    Raises
    ------
    InputError
        An aircraft that is not on record.
    StoreError
        The record cannot be read.
    """
    return _loads_to_alter(store, tail, date.today(), (store.where, record_stamp(store)))


@st.cache_data(show_spinner=False, max_entries=50)
def _loads_to_alter(_store: Store, tail: str, today: date, state: object) -> AircraftLoads:
    return learned_loads.loads_to_alter(_store, tail, today)
