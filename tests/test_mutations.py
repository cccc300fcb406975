"""The list of mutations fits the code: each text stands once, each named test file exists."""

import argparse

import pytest

from tests.mutation_list import MUTATIONS
from tests.mutations import ROOT, part, times_found


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda m: m.name)
def test_text_to_replace_is_found_exactly_once(mutation):
    assert times_found(mutation) == 1
    assert mutation.before != mutation.after
    assert all((ROOT / test).is_file() for test in mutation.tests)


def test_names_are_unique():
    assert len({m.name for m in MUTATIONS}) == len(MUTATIONS)


def test_the_parts_are_all_of_them_once():
    parts = [part(f"{k}/3") for k in (1, 2, 3)]
    found = [m.name for number, of in parts for m in MUTATIONS[number - 1 :: of]]
    assert sorted(found) == sorted(m.name for m in MUTATIONS)


@pytest.mark.parametrize("text", ["0/3", "4/3", "3", "a/b", "1/0"])
def test_what_is_no_part_is_refused(text):
    with pytest.raises(argparse.ArgumentTypeError):
        part(text)
