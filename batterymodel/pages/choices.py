"""A page's own choice beside names of the record, whatever those names are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from batterymodel.basis.text import alike

OWN = "\n"
"""Value of a page's own choice: no name on record has a line break in it."""

_NO_NAME = ", not on record"


def own_words(words: str, names: Iterable[str]) -> str:
    """What a page's own choice is called beside names of the record.

    Parameters
    ----------
    words : str
        What it is called where no name is like it.
    names : iterable of str
        As they are shown beside it.

    Returns
    -------
    str
        Told apart from every one of them.

    >>> own_words("Entered here", ["Cart 1"]), own_words("Entered here", ["entered here"])
    ('Entered here', 'Entered here, not on record')
    """
    taken = {alike(name) for name in names}
    while alike(words) in taken:
        words += _NO_NAME
    return words


def told_apart(words: Mapping[str, str]) -> dict[str, str]:
    """The words of choices, a number behind those that are like some before them.

    Parameters
    ----------
    words : mapping
        Of each choice, by its value.

    Returns
    -------
    dict
        No two alike: a page takes a choice by its words.

    >>> told_apart({"A": "A, no loads yet", "A, no loads yet": "A, no loads yet"}).values()
    dict_values(['A, no loads yet', 'A, no loads yet (2)'])
    """
    found: dict[str, str] = {}
    for value, said in words.items():
        number, apart = 1, said
        while apart in found.values():
            number += 1
            apart = f"{said} ({number})"
        found[value] = apart
    return found
