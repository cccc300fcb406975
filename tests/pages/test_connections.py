"""The press that begins a connection: once, whatever ends the run that it began in."""

from __future__ import annotations

import pytest
import streamlit as st

from batterymodel.pages import connections, kept
from batterymodel.store import open_store
from batterymodel.store.in_progress import connections_in_progress


class EndedRunError(Exception):
    """Another press came, and the page runs anew."""


@pytest.fixture
def store(empty_sqlite, tmp_path, monkeypatch):
    """An empty record, and a session that has pressed nothing yet."""
    path = tmp_path / "record.sqlite"
    path.write_bytes(empty_sqlite.read_bytes())
    monkeypatch.setattr(st, "session_state", {})
    return open_store(path)


def test_a_second_press_finds_the_connection_though_the_first_run_was_ended(store, monkeypatch):
    whole = kept.attempt

    def ended(write, words, labels=None):
        whole(write, words, labels)
        raise EndedRunError

    monkeypatch.setattr(kept, "attempt", ended)
    with pytest.raises(EndedRunError):
        connections.begin_now(store)
    monkeypatch.setattr(kept, "attempt", whole)
    found = connections.begin_now(store)
    assert [one.id for one in connections_in_progress(store)] == [found]


def test_a_press_after_the_button_was_shown_anew_begins_another(store, monkeypatch):
    first = connections.begin_now(store)
    connections.offer_anew(store)
    assert connections.begin_now(store) == first
    monkeypatch.setattr(connections, "DOUBLE_PRESS", -connections.DOUBLE_PRESS)
    assert connections.begin_now(store) == first
    connections.offer_anew(store)
    second = connections.begin_now(store)
    assert {one.id for one in connections_in_progress(store)} == {first, second}
    assert first != second


def test_a_press_long_after_a_button_that_was_shown_anew_at_once_begins_another(store, monkeypatch):
    """Put aside within three seconds, and pressed when ground power comes on minutes later."""
    first = connections.begin_now(store)
    connections.offer_anew(store)
    monkeypatch.setattr(connections, "DOUBLE_PRESS", -connections.DOUBLE_PRESS)
    second = connections.begin_now(store)
    assert {one.id for one in connections_in_progress(store)} == {first, second}
    assert first != second
