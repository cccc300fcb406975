"""Files of other loggers on the page: how their columns are taken, asked where that is not sure."""

from __future__ import annotations

import streamlit as st

from batterymodel import pages
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.column_choice import (
    ColumnQuestion,
    answered_guess,
    column_words,
    preview_table,
    questions_of,
    settled_guess,
)
from batterymodel.inputs.column_map import Column, ColumnMap
from batterymodel.inputs.foreign import ForeignGuess, guess_columns
from batterymodel.pages import KEPT, kept, literal, temperatures
from batterymodel.store.settings import remember_columns, remembered_columns

CONFIRMED = f"{KEPT}columns.confirmed."
ASKING = f"{KEPT}columns.asking"
"""Fingerprint of the header whose columns are to be taken otherwise."""

CONFIRM, OTHERWISE = "Take the columns so", "Take the columns otherwise"
MARKS = {"a point: 12.5": ".", "a comma: 12,5": ","}


def taken_columns(content: bytes, name: str) -> ColumnMap | None:
    """How a file's columns are taken, with the ways to confirm or change that.

    Parameters
    ----------
    content : bytes
    name : str
        Name of the file, for messages.

    Returns
    -------
    ColumnMap or None
        None while a person is asked.

    Raises
    ------
    InputError
        Not a table that can be read.
    """
    settled, is_remembered = _settled(content, name)
    if settled.column_map.own:
        return settled.column_map
    fingerprint = settled.fingerprint
    if not settled.is_sure or st.session_state.get(ASKING) == fingerprint:
        _ask(content, name, settled)
        return None
    _show_taken(settled, is_remembered)
    return settled.column_map


def settled_columns(content: bytes, name: str) -> ForeignGuess:
    """How a file's columns are to be taken, as confirmed before or by the headers alone.

    Parameters
    ----------
    content : bytes
    name : str
        Name of the file, for messages.

    Returns
    -------
    ForeignGuess
        Not sure where a person must be asked.

    Raises
    ------
    InputError
        Not a table that can be read.
    """
    return _settled(content, name)[0]


def _settled(content: bytes, name: str) -> tuple[ForeignGuess, bool]:
    return settled_guess(content, name, _guess(content, name), _confirmed)


@st.cache_data(show_spinner="Looking at the columns", max_entries=8)
def _guess(content: bytes, name: str) -> ForeignGuess:
    return guess_columns(content, name)


def _confirmed(fingerprint: str) -> ColumnMap | None:
    """Columns that were confirmed for a header: in this session, else by the own record."""
    key, store = CONFIRMED + fingerprint, kept.settings_store()
    if key not in st.session_state and store is not None:
        try:
            st.session_state[key] = remembered_columns(store, fingerprint)
        except BatteryModelError:
            st.session_state[key] = None
    return st.session_state.get(key)


def _show_taken(guess: ForeignGuess, is_remembered: bool) -> None:
    by = "As confirmed before for this header" if is_remembered else "Taken by the headers"
    with st.expander(literal(f"Columns of the file: {len(guess.columns)}")):
        st.html(pages.note(f"{by}: {guess.column_map.words}."))
        _show_preview(guess)
        fingerprint = guess.fingerprint
        st.button(OTHERWISE, on_click=_begin_asking, args=(fingerprint,), width="stretch")


def _begin_asking(fingerprint: str) -> None:
    st.session_state[ASKING] = fingerprint


def _show_preview(guess: ForeignGuess) -> None:
    st.html(pages.note(f"The first {len(guess.preview)} of {guess.rows} rows, as they are read:"))
    st.html(pages.table(*preview_table(guess, temperatures.unit())))


def _ask(content: bytes, name: str, guess: ForeignGuess) -> None:
    """Ask for what is not sure, show the rows as they would be read, and let that be confirmed."""
    questions = questions_of(guess)
    asked = [question for question in questions if question.is_asked]
    others = [question for question in questions if not question.is_asked]
    with st.container(border=True):
        st.html(pages.note(_asked_words(name, len(asked), guess)))
        answers = {q.guess.header: _answer(q, guess) for q in asked}
        mark = guess.column_map.decimal_mark if guess.decimal_sure else _mark(guess)
        is_open = not asked or bool(guess.column_map.missing)
        with st.expander(f"All other columns: {len(others)}", expanded=is_open):
            answers |= {q.guess.header: _answer(q, guess) for q in others}
        columns = [answers[column.header] for column in guess.column_map.columns]
        _show_answered(content, name, columns, mark)


def _asked_words(name: str, asked: int, guess: ForeignGuess) -> str:
    if asked:
        what = f"{asked} column{'s' * (asked > 1)} not sure"
    else:
        what = "no column is in doubt" if guess.column_map.missing == () else "a column is missing"
    return f"{name} is of another logger, {what}. Choose, look at the rows below, and confirm."


def _answer(question: ColumnQuestion, guess: ForeignGuess) -> Column:
    """The column as it is chosen; it begins as it was guessed."""
    by_words = {column_words(option): option for option in question.options}
    header, names = question.guess.header, [g.header for g in guess.column_map.columns]
    why = f": {question.why}" if question.is_asked else ""
    st.html(pages.note(f"'{header}'{why}"))
    chosen = st.selectbox(
        f"Column {names.index(header) + 1}",
        list(by_words),
        label_visibility="collapsed",
        key=f"{KEPT}column.{guess.fingerprint}.{header}",
    )
    return by_words[chosen]


def _mark(guess: ForeignGuess) -> str:
    marks = list(MARKS)
    chosen = st.radio(
        "Decimals stand behind",
        marks,
        index=list(MARKS.values()).index(guess.column_map.decimal_mark),
        horizontal=True,
        key=f"{KEPT}column.{guess.fingerprint}.decimal mark",
    )
    return MARKS[chosen or marks[0]]


def _show_answered(content: bytes, name: str, columns: list[Column], mark: str) -> None:
    try:
        answered = answered_guess(content, name, columns, mark)
    except BatteryModelError as error:
        st.error(literal(str(error)))
        return
    _show_preview(answered)
    st.button(CONFIRM, type="primary", width="stretch", on_click=_confirm, args=(answered,))


def _confirm(answered: ForeignGuess) -> None:
    fingerprint, column_map = answered.fingerprint, answered.column_map
    st.session_state[CONFIRMED + fingerprint] = column_map
    st.session_state[ASKING] = None
    store = kept.settings_store()
    if store is not None:
        kept.attempt(lambda: remember_columns(store, fingerprint, column_map), "")
