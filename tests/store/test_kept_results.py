"""Results beside the record: taken for the same inputs and version only, one of a kind."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel.errors import StoreError
from batterymodel.store import kept_results as module
from batterymodel.store import open_store
from batterymodel.store.archive import export_zip
from batterymodel.store.kept_results import KeptResult, digest_of, keep_results, kept_results

TEXTS = st.lists(st.text(max_size=4), max_size=3)


def test_a_result_is_kept_and_the_next_takes_its_place(store):
    assert kept_results(store, "look", ["a"]) == {}
    assert keep_results(store, "look", {"a": KeptResult("1", "one"), "b": KeptResult("2", "two")})
    assert keep_results(store, "other", {"a": KeptResult("9", "of another kind")})
    assert keep_results(store, "look", {"a": KeptResult("3", "three")})
    found = kept_results(store, "look", ["a", "b", "c"])
    assert found == {"a": KeptResult("3", "three"), "b": KeptResult("2", "two")}
    assert kept_results(store, "other", ["a"]) == {"a": KeptResult("9", "of another kind")}
    assert kept_results(store, "look", []) == {}


def test_more_entries_than_one_statement_asks_for(store):
    many = {f"{k:04}": KeptResult("1", str(k)) for k in range(2 * module.AT_ONCE + 3)}
    keep_results(store, "look", many)
    assert kept_results(store, "look", many) == many


def test_a_result_kept_in_the_middle_of_a_look_is_there_afterwards(store):
    with store.reading():
        assert keep_results(store, "look", {"a": KeptResult("1", "one")})
    assert kept_results(store, "look", ["a"]) == {"a": KeptResult("1", "one")}


@given(TEXTS, TEXTS)
def test_only_equal_inputs_have_one_digest(one, other):
    assert (digest_of(*one, version="v") == digest_of(*other, version="v")) == (one == other)
    assert digest_of(*one, version="v") != digest_of(*one, version="w")


def test_the_version_that_runs_is_in_the_digest(monkeypatch):
    now = digest_of("readings")
    monkeypatch.setattr(module, "estimate_version", lambda: "another")
    assert digest_of("readings") != now
    assert digest_of("readings") == digest_of("readings", version="another")


def test_where_nothing_can_be_written_the_result_is_good_without_it(store, monkeypatch):
    def refused():
        raise StoreError("the record is read only")

    monkeypatch.setattr(store, "writing", refused)
    assert not keep_results(store, "look", {"a": KeptResult("1", "one")})


def test_kept_results_are_no_part_of_the_record(store, tmp_path):
    export_zip(store, tmp_path / "before.zip")
    keep_results(store, "look", {"a": KeptResult("1", "one")})
    export_zip(store, tmp_path / "after.zip")
    assert (tmp_path / "before.zip").read_bytes() == (tmp_path / "after.zip").read_bytes()
    assert store.is_empty()


@pytest.mark.parametrize("spoilt", ["", "no JSON", "{}"])
def test_it_keeps_what_it_is_given_and_judges_nothing(new_sqlite, spoilt):
    store = open_store(new_sqlite("one"))
    keep_results(store, "look", {"a": KeptResult("1", spoilt)})
    assert kept_results(store, "look", ["a"])["a"].value == spoilt
