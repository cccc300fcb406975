"""The list of mutations fits the code: each text stands once, each named test file exists."""

import pytest

from tests.mutation_list import MUTATIONS
from tests.mutations import ROOT, times_found


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda m: m.name)
def test_text_to_replace_is_found_exactly_once(mutation):
    assert times_found(mutation) == 1
    assert mutation.before != mutation.after
    assert all((ROOT / test).is_file() for test in mutation.tests)


def test_names_are_unique():
    assert len({m.name for m in MUTATIONS}) == len(MUTATIONS)
