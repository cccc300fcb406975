"""What is wrong with one entry of a record: in the words of its file, or by the label on a page."""

from __future__ import annotations

import re
import types
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from batterymodel.errors import InputError

UNITS = {
    "_ah": "Ah",
    "_v": "V",
    "_a_per_c": "A/°C",
    "_a": "A",
    "_c": "°C",
    "_s": "s",
    "_h": "h",
    "_m": "m",
    "_mm2": "mm²",
    "_ohm": "ohm",
}
"""Unit by the ending of an entry's name."""

_LONGEST_GIVEN = 80
"""Characters of a value that a message repeats (own choice)."""


@dataclass(frozen=True)
class Shown:
    """How a person sees an entry: its label, and its number with unit and scale."""

    label: str
    unit: str = ""
    scale: float = 1.0

    @property
    def title(self) -> str:
        """The label with its unit, as it stands above a number."""
        return f"{self.label} ({self.unit})" if self.unit else self.label

    def number(self, value: float) -> str:
        """A number of the record as it is shown, with its unit.

        Parameters
        ----------
        value : float
            As the record holds it.

        Returns
        -------
        str
        """
        return f"{self.scale * value:.10g} {self.unit}".rstrip()


class EntryError(InputError):
    """One entry that cannot be right.

    Parameters
    ----------
    where : str
        What the entry stands in: a file name or a form; may be empty.
    key : str
        Its name in the record, with those of its tables before it; empty for a record as a whole.
    problem : callable
        From how the entry is shown to what is wrong with it and what would be right.
    beside : iterable of str
        Keys that a missing entry is needed for.
    name : str, optional
        What the entry is called where no page shows it; else its key.
    sentence : str, optional
        What is said where no page shows the entry; else it is made of the others.
    """

    def __init__(
        self,
        where: str,
        key: str,
        problem: Callable[[Shown], str],
        beside: Iterable[str] = (),
        name: str | None = None,
        sentence: str | None = None,
    ) -> None:
        """The error that names the entry as its file or the command line does."""
        self.key, self.problem, self.beside = key, problem, tuple(beside)
        self.others: tuple[InputError, ...] = ()
        bare = re.sub(r"\.\d+$", "", key)
        said = problem(Shown(bare, unit_of(bare)))
        whole = ": ".join(part for part in (where, name or bare, said) if part)
        super().__init__(sentence or whole)

    def said(self, labels: Mapping[str, Shown]) -> str:
        """The error by the labels of a page.

        Parameters
        ----------
        labels : mapping
            How the entries are shown, by their keys.

        Returns
        -------
        str
            As the error itself says it, where the page does not show that entry.
        """
        bare = re.sub(r"\.\d+$", "", self.key)
        shown = labels.get(bare)
        if shown is not None:
            return f"{shown.label}: {self._needed(labels) or self.problem(shown)}"
        names = _names_below(bare, labels)
        words = self.problem(Shown(bare, unit_of(bare)))
        if names and any(re.search(rf"\b{name}\b", words) for name in names):
            return _with_labels(words, names)
        return str(self)

    def _needed(self, labels: Mapping[str, Shown]) -> str:
        named = [labels[key].label for key in self.beside if key in labels]
        return f"needed beside '{named[0]}'" if named else ""


def said_by_labels(error: Exception, labels: Mapping[str, Shown]) -> str:
    """The sentence of an error as a page shows it.

    Parameters
    ----------
    error : Exception
    labels : mapping
        How the page shows its entries, by their keys.

    Returns
    -------
    str
    """
    return error.said(labels) if isinstance(error, EntryError) else str(error)


def outside(given: float, least: float, most: float) -> Callable[[Shown], str]:
    """What is wrong with a number that is out of its range.

    Parameters
    ----------
    given, least, most : float
        In the unit of the record.

    Returns
    -------
    callable
        As `EntryError` takes it.
    """

    def said(shown: Shown) -> str:
        low, high = f"{shown.scale * least:.10g}", shown.number(most)
        return f"{low} to {high} would be right (given: {shown.number(given)})"

    return said


def fixed(words: str) -> Callable[[Shown], str]:
    """What is wrong with an entry, the same wherever it is shown.

    Parameters
    ----------
    words : str

    Returns
    -------
    callable
        As `EntryError` takes it.
    """
    return lambda shown: words


def unit_of(key: str) -> str:
    """The unit that an entry's name states.

    Parameters
    ----------
    key : str

    Returns
    -------
    str
        Empty where it states none.
    """
    return next((unit for end, unit in UNITS.items() if key.endswith(end)), "")


def entry_error(error: ValidationError, kind: type[BaseModel], where: str) -> InputError:
    """The first thing that is wrong with a record, in words.

    Parameters
    ----------
    error : ValidationError
        Of that kind.
    kind : type of BaseModel
    where : str
        What the record came from: a file name or a form.

    Returns
    -------
    InputError
        Not yet raised; an `EntryError` has what else is wrong as its ``others``.
    """
    found, *others = (_error_of(one, kind, where) for one in error.errors())
    if isinstance(found, EntryError):
        found.others = tuple(others)
    return found


def _error_of(first: ErrorDetails, kind: type[BaseModel], where: str) -> InputError:
    key = ".".join(str(part) for part in first["loc"])
    if first["type"] == "extra_forbidden":
        known = ", ".join(_model_at(kind, first["loc"][:-1]).model_fields)
        return InputError(f"{where}: unknown key '{key}'; known keys are {known}")
    if first["type"] == "missing":
        return _missing(first, key, where)
    return EntryError(where, key, _problem(first))


def _missing(first: ErrorDetails, key: str, where: str) -> EntryError:
    table = key.rpartition(".")[0]
    given = [f"{table}.{name}" if table else name for name in first["input"] or ()]
    words = "is missing; it is required"
    return EntryError(where, key, fixed(words), given, sentence=f"{where}: key '{key}' {words}")


def _problem(first: ErrorDetails) -> Callable[[Shown], str]:
    words, given, index = _words(first), first["input"], first["loc"][-1:]
    element = f"value {int(index[0]) + 1}: " if index and isinstance(index[0], int) else ""

    def said(shown: Shown) -> str:
        right = words(shown)
        whole = isinstance(given, dict | BaseModel)
        repeated = "" if whole else f" (given: {_given(given, shown)})"
        return f"{element}{right}{repeated}"

    return said


_BOUNDS = {
    "greater_than_equal": ("ge", "at least"),
    "greater_than": ("gt", "more than"),
    "less_than_equal": ("le", "at most"),
    "less_than": ("lt", "less than"),
}
_PLAIN = {
    "finite_number": "a plain number is needed",
    "float_type": "a number is needed",
    "float_parsing": "a number is needed",
    "int_type": "a whole number is needed",
    "int_parsing": "a whole number is needed",
    "int_parsing_size": "a whole number with fewer digits is needed",
    "int_from_float": "a whole number is needed",
    "string_type": "text is needed",
    "bool_type": "true or false is needed",
    "bool_parsing": "true or false is needed",
    "tuple_type": "a list of values is needed",
    "model_type": "a table of entries is needed",
    "model_attributes_type": "a table of entries is needed",
    "dict_type": "a table of entries is needed",
}


def _words(first: ErrorDetails) -> Callable[[Shown], str]:
    """What would be right, without the words of the library that checked it."""
    kind, context = first["type"], first.get("ctx", {})
    if kind in _BOUNDS:
        name, words = _BOUNDS[kind]
        return lambda shown: f"{words} {shown.number(float(context[name]))}"
    plain = _PLAIN.get(kind)
    if kind in ("enum", "literal_error"):
        plain = f"one of {context['expected']} is needed"
    elif kind.endswith("too_long"):
        plain = f"at most {context['max_length']} {_counted(first['input'])}"
    elif kind == "string_pattern_mismatch":
        plain = f"does not have the form {context['pattern']}"
    elif kind.endswith("too_short") and context["min_length"] == 1:
        plain = "must not be empty"
    elif kind.endswith("too_short"):
        plain = f"at least {context['min_length']} {_counted(first['input'])}"
    elif kind.startswith("datetime") or kind == "timezone_aware":
        plain = "a day with time like 2024-05-31T10:05:00+00:00 is needed"
    elif kind.startswith("date"):
        plain = "a day like 2024-05-31 is needed"
    message = first["msg"].removeprefix("Value error, ")
    told = plain or f"{message[0].lower()}{message[1:]}"
    return lambda shown: told


def _counted(value: Any) -> str:
    return "letters and signs" if isinstance(value, str) else "values"


def _given(value: Any, shown: Shown) -> str:
    """A value as people wrote it, cut to what a message can hold."""
    if isinstance(value, float):
        return shown.number(value)
    try:
        said = str(value) if isinstance(value, date) else repr(value)
    except (ValueError, RecursionError):
        return "a number of very many digits" if isinstance(value, int) else "a list in a list"
    return said if len(said) <= _LONGEST_GIVEN else f"{said[:_LONGEST_GIVEN]}…"


def _names_below(table: str, labels: Mapping[str, Shown]) -> dict[str, Shown]:
    """Entries of one table under their bare names."""
    start = f"{table}." if table else ""
    return {
        key.removeprefix(start): shown
        for key, shown in labels.items()
        if key.startswith(start) and "." not in key.removeprefix(start)
    }


def _with_labels(words: str, names: Mapping[str, Shown]) -> str:
    pattern = "|".join(sorted(map(re.escape, names), key=len, reverse=True))
    return re.sub(rf"\b({pattern})\b", lambda found: f"'{names[found[1]].label}'", words)


def _model_at(kind: type[BaseModel], place: tuple[int | str, ...]) -> type[BaseModel]:
    """The table at a place in a record of a kind, as far as it is one."""
    for name in place:
        field = kind.model_fields.get(str(name))
        inner = None if field is None else _model_in(field.annotation)
        kind = kind if inner is None else inner
    return kind


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if get_origin(annotation) in (Union, types.UnionType, tuple):
        return next(filter(None, map(_model_in, get_args(annotation))), None)
    found = isinstance(annotation, type) and issubclass(annotation, BaseModel)
    return annotation if found else None
