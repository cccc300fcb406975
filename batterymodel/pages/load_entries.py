"""Consumers and tasks of an aircraft, entered and altered one at a time."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import partial
from math import isclose
from typing import Any

import streamlit as st

from batterymodel.basis.text import one_line
from batterymodel.errors import BatteryModelError
from batterymodel.inputs import load_edits
from batterymodel.inputs.entry_faults import Shown
from batterymodel.inputs.load_plan import AircraftLoads
from batterymodel.pages import KEPT, kept, literal
from batterymodel.pages.choices import OWN, own_words
from batterymodel.pages.power_card import named_rows
from batterymodel.pages.readings_file import sentences_of, show_sentences
from batterymodel.say.load_list import consumer_words, task_words
from batterymodel.store import Store
from batterymodel.store.learned_loads import alter_loads

SOURCE = "source"
NEW_CONSUMER, NEW_TASK = "A new consumer", "A new task"
CONSUMER_LABELS = {
    "name": Shown("Name of the consumer"),
    "continuous_a": Shown("Current while it is on", "A"),
    "starting_a": Shown("Current at its start", "A"),
    "starting_s": Shown("Time of its start", "s"),
    "duty": Shown("Part of a task that it is on", "%", 100.0),
    "note": Shown("Source or remark"),
    "may_switch_off": Shown("Stays on, by the manual"),
    "needed_for": Shown("Needed for"),
    "useful_for": Shown("Useful for"),
}
TASK_LABELS = {
    "name": Shown("Name of the task"),
    "minutes": Shown("Length of the task", "min"),
    "needs": Shown("Must run"),
    "wants": Shown("Useful, the most important first"),
}
SOURCE_LABELS = {
    "document": Shown("Document that the currents are from"),
    "said_by": Shown("Who said so"),
    "bus_min_v": Shown("Lowest bus voltage", "V"),
    "bus_max_v": Shown("Highest bus voltage", "V"),
    "start_reserve_fraction": Shown("Charge to keep for the engine's start", "%", 100.0),
}
"""How the entries are shown, by their names in the record."""

LABELS_OF = {
    load_edits.CONSUMER: CONSUMER_LABELS,
    load_edits.TASK: TASK_LABELS,
    SOURCE: SOURCE_LABELS,
}
STEPS = {"continuous_a": 0.5, "starting_s": 0.1, "bus_min_v": 0.5, "bus_max_v": 0.5}
MOST_LETTERS = {"name": 60, "said_by": 60, "note": 300, "document": 300}
KEEP_SOURCE = "Keep source, bus and reserve"
TRIED, DONE, REFUSED, LAST = "tried", "done", "refused", "last"
CHOICES = ("needed_for", "useful_for", "needs", "wants")
Change = Callable[[AircraftLoads], AircraftLoads]


@dataclass(frozen=True)
class Form:
    """One thing that is altered: of which aircraft and kind, and the name it has on record.

    ``told`` is what is on record of it: an entry stands until that changes.
    """

    tail: str
    kind: str
    was: str | None
    told: Mapping[str, Any]

    @property
    def labels(self) -> Mapping[str, Shown]:
        """How its entries are shown."""
        return LABELS_OF[self.kind]

    def key(self, name: str) -> str:
        """Where an entry lives in the session state.

        Parameters
        ----------
        name : str
            Of the entry, or of what is kept beside the entries.

        Returns
        -------
        str
        """
        stamp = zlib.crc32(repr(self.told.get(name)).encode())
        return f"{KEPT}loads.{self.tail}.{self.kind}.{self.was or OWN}.{stamp}.{name}"

    def entered(self) -> dict[str, Any]:
        """What was entered, by the names of the record.

        Returns
        -------
        dict
            Nothing but spaces counts as no entry.
        """
        return {name: self._entered(name) for name in self.labels}

    def altered(self) -> dict[str, Any]:
        """What was entered and is not what the form was filled with.

        Returns
        -------
        dict
            All of it for what is new: what another page has altered meanwhile stays as it is.
        """
        entered = self.entered()
        if self.was is None and self.kind != SOURCE:
            return entered
        return {k: v for k, v in entered.items() if not _is_same(v, self.told.get(k))}

    def is_empty(self) -> bool:
        """Whether nothing was entered into a form of something new.

        Returns
        -------
        bool
        """
        entered = self.entered().items()
        return self.was is None and all(_is_same(v, self.told.get(k, _bare(v))) for k, v in entered)

    def _entered(self, name: str) -> Any:
        value, scale = st.session_state.get(self.key(name)), self.labels[name].scale
        if name == "may_switch_off":
            return not value
        if isinstance(value, str):
            return value.strip() or None
        if isinstance(value, list):
            return tuple(value)
        return value / scale if isinstance(value, int | float) and scale != 1.0 else value

    def fill(self) -> None:
        """Put in what is on record, where nothing was entered yet."""
        for name, shown in self.labels.items():
            value = self.told.get(name)
            if name in CHOICES:
                value = list(value or ())
            elif name == "may_switch_off":
                value = value is False
            elif isinstance(value, int | float):
                value = shown.scale * value
            st.session_state.setdefault(self.key(name), value)

    def forget(self) -> None:
        """Drop what was entered."""
        for name in (*self.labels, TRIED):
            st.session_state.pop(self.key(name), None)


def _bare(entered: Any) -> Any:
    """What an entry that is left alone has where nothing is on record of it."""
    return True if isinstance(entered, bool) else None


def _is_same(entered: Any, told: Any) -> bool:
    """Whether an entry is what is on record, through the unit in which it is shown."""
    if isinstance(entered, float | int) and isinstance(told, float | int):
        return isclose(entered, told, rel_tol=1e-9, abs_tol=1e-12)
    if isinstance(entered, tuple):
        return entered == tuple(told or ())
    return bool(entered == told)


def show_list(store: Store, tail: str) -> None:
    """The consumers and tasks on record, with the entries that add, alter and take away.

    Parameters
    ----------
    store : Store
    tail : str

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    loads = kept.loads_to_alter(store, tail)
    _show_consumer(store, loads)
    if loads.consumers:
        _show_task(store, loads)
        _show_source(store, loads)


def is_altered(tail: str) -> bool:
    """Whether loads of an aircraft were altered here since the page was opened.

    Parameters
    ----------
    tail : str

    Returns
    -------
    bool
    """
    return f"{KEPT}loads.{tail}.altered" in st.session_state


def _show_consumer(store: Store, loads: AircraftLoads) -> None:
    rows = [(one.name, consumer_words(one, loads)) for one in loads.consumers]
    was = _chosen(loads.tail, load_edits.CONSUMER, NEW_CONSUMER, rows)
    form = Form(loads.tail, load_edits.CONSUMER, was, _told_of(was, loads))
    form.fill()
    _text(form, "name")
    for pair in (("continuous_a", "duty"), ("starting_a", "starting_s")):
        for place, name in zip(st.columns(2, vertical_alignment="bottom"), pair, strict=True):
            with place:
                _number(form, name)
    st.checkbox(CONSUMER_LABELS["may_switch_off"].title, key=form.key("may_switch_off"))
    if loads.tasks:
        for name in ("needed_for", "useful_for"):
            _choices(form, name, [task.name for task in loads.tasks])
    _text(form, "note")
    _show_buttons(store, loads, form)


def _told_of(was: str | None, loads: AircraftLoads) -> dict[str, Any]:
    """What is on record of a consumer, with the tasks that it runs for."""
    if was is None:
        return {"duty": 1.0}
    return loads.consumer(was).model_dump() | {
        "needed_for": [task.name for task in loads.tasks if was in task.needs],
        "useful_for": [task.name for task in loads.tasks if was in task.wants],
    }


def _show_task(store: Store, loads: AircraftLoads) -> None:
    rows = [(one.name, task_words(one)) for one in loads.tasks]
    was = _chosen(loads.tail, load_edits.TASK, NEW_TASK, rows)
    told = {} if was is None else loads.task(was).model_dump()
    form = Form(loads.tail, load_edits.TASK, was, told)
    form.fill()
    _text(form, "name")
    _number(form, "minutes")
    for name in ("needs", "wants"):
        _choices(form, name, [one.name for one in loads.consumers])
    _show_buttons(store, loads, form)


def _show_source(store: Store, loads: AircraftLoads) -> None:
    st.header("Source, bus and reserve")
    told = {name: getattr(loads, name) for name in SOURCE_LABELS}
    form = Form(loads.tail, SOURCE, None, told)
    form.fill()
    for name in ("document", "said_by"):
        _text(form, name)
    for name in ("bus_min_v", "bus_max_v", "start_reserve_fraction"):
        _number(form, name)
    _show_buttons(store, loads, form)


def _chosen(tail: str, kind: str, new: str, rows: list[tuple[str, str]]) -> str | None:
    """The list of one kind, and the name that is chosen of it; None for a new one."""
    st.header(f"{kind.capitalize()}s on record" if rows else f"{kind.capitalize()}s to enter")
    if rows:
        st.html(named_rows(rows))
    names = [name for name, _ in rows]
    words = {OWN: own_words(new, names)} | {name: name for name in names}
    key = f"{KEPT}loads.{tail}.{kind}"
    if st.session_state.get(key) not in words:
        st.session_state[key] = OWN
    chosen = st.selectbox(
        f"{kind.capitalize()} to add or alter", list(words), format_func=words.__getitem__, key=key
    )
    return None if chosen == OWN else str(chosen)


def _text(form: Form, name: str) -> None:
    st.text_input(form.labels[name].title, max_chars=MOST_LETTERS[name], key=form.key(name))


def _number(form: Form, name: str) -> None:
    st.number_input(
        form.labels[name].title,
        value=None,
        step=STEPS.get(name, 1.0),
        format="%g",
        key=form.key(name),
    )


def _choices(form: Form, name: str, options: list[str]) -> None:
    key = form.key(name)
    st.session_state[key] = [one for one in st.session_state[key] if one in options]
    st.multiselect(form.labels[name].title, options, key=key, placeholder="None")


def _show_buttons(store: Store, loads: AircraftLoads, form: Form) -> None:
    """What keeps the entries and takes the thing away, with what came of it."""
    refused = st.session_state.pop(_said(form, REFUSED), ())
    wrong = _faults(loads, form) if st.session_state.get(form.key(TRIED)) else ()
    if faults := wrong or refused:
        show_sentences(faults)
    if words := st.session_state.pop(_said(form, DONE), None):
        st.success(literal(words))
    what = f"{'Keep' if form.was else 'Add'} this {form.kind}"
    whole: dict[str, Any] = {"width": "stretch", "args": (store, form)}
    st.button(
        KEEP_SOURCE if form.kind == SOURCE else what,
        type="primary",
        key=f"keep.{form.kind}",
        on_click=_keep,
        **whole,
    )
    if form.was is not None:
        words = literal(f"Take {form.was} away")
        st.button(words, key=f"away.{form.kind}", on_click=_take_away, **whole)


def _said(form: Form, what: str) -> str:
    """Where it is kept what came of the last press of a kind, whichever form is shown by then."""
    return f"loads_said.{form.tail}.{form.kind}.{what}"


def _faults(loads: AircraftLoads, form: Form) -> tuple[str, ...]:
    try:
        _change(form)(loads)
    except BatteryModelError as error:
        return sentences_of(error, form.labels)
    return ()


def _change(form: Form) -> Change:
    """What is entered, as a change of the loads."""
    told = form.altered()
    if form.kind == load_edits.CONSUMER:
        tasks: dict[str, Any] = {
            name: (told.pop(name) or ()) if name in told else None
            for name in ("needed_for", "useful_for")
        }
        if "duty" in told:
            told["duty"] = 1.0 if told["duty"] is None else told["duty"]
        return partial(load_edits.with_consumer, told=told, was=form.was, **tasks)
    if form.kind == load_edits.TASK:
        return partial(load_edits.with_task, told=told, was=form.was)
    return partial(load_edits.with_source, told=told)


def _keep(store: Store, form: Form) -> None:
    if form.is_empty() and (words := st.session_state.get(_said(form, LAST))):
        st.session_state[_said(form, DONE)] = words
        return
    name = one_line(form.entered().get("name") or "")
    what = f"{form.kind} {name}" if name else "source, bus and reserve"
    st.session_state[form.key(TRIED)] = True
    done = _alter(store, form, _change(form), f"In the record: {what} of {form.tail}")
    if done and form.was is not None:
        st.session_state[f"{KEPT}loads.{form.tail}.{form.kind}"] = name


def _take_away(store: Store, form: Form) -> None:
    assert form.was is not None  # nothing else has this button
    is_task = form.kind == load_edits.TASK
    without = load_edits.without_task if is_task else load_edits.without_consumer
    words = f"Taken away: {form.kind} {form.was} of {form.tail}; the lists before it stay on record"
    _alter(store, form, partial(without, name=form.was), words)


def _alter(store: Store, form: Form, change: Change, words: str) -> bool:
    """Whether a change is in the record; what came of it is shown by the buttons of its kind."""
    try:
        was_there = alter_loads(store, form.tail, change, date.today())[1]
    except BatteryModelError as error:
        st.session_state[_said(form, REFUSED)] = sentences_of(error, form.labels)
        return False
    form.forget()
    already = " already; nothing was added" if was_there else ""
    st.session_state[_said(form, DONE)] = f"{words}{already}."
    st.session_state[_said(form, LAST)] = f"{words}{already}."
    st.session_state[f"{KEPT}loads.{form.tail}.altered"] = True
    return True
