"""The upload of a readings file: its faults beside it, and the readings before it kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import streamlit as st

from batterymodel.errors import BatteryModelError
from batterymodel.inputs.column_map import ColumnMap
from batterymodel.inputs.entry_faults import EntryError, Shown, said_by_labels
from batterymodel.inputs.foreign import readings_from_foreign
from batterymodel.inputs.records import Readings
from batterymodel.pages import KEPT, literal, temperatures
from batterymodel.pages.file_columns import taken_columns

LABEL = "Readings file"
TYPES = ["csv", "txt", "tsv", "log", "xlsx"]
UPLOAD = "readings_file"
GIVEN, GOOD = f"{KEPT}readings.given", f"{KEPT}readings.good"
PUT_AWAY = "Put the file away"
TEMPLATE_CSV = """elapsed_s,supply_current_a,supply_voltage_v,battery_temp_c,event
0,18.4,28.0,18.0,
30,17.9,28.0,18.0,
60,17.5,28.0,18.0,
90,28.1,28.0,18.0,avionics on
120,27.7,28.0,18.1,
"""


@dataclass(frozen=True)
class GivenReadings:
    """Readings with the file they are from; ``instead_of`` names a later file without any."""

    readings: Readings
    content: bytes
    name: str
    column_map: ColumnMap | None = None
    instead_of: str | None = None


def given_readings() -> GivenReadings | None:
    """The readings of the uploaded file; those of the file before where it has none, or not yet.

    What is wrong with the file is said below its upload, all at once.
    """
    st.file_uploader(LABEL, type=TYPES, key=UPLOAD, on_change=_take)
    given = st.session_state.get(GIVEN)
    if given is not None:
        found = _read(*given)
        if found is not None:
            st.session_state[GOOD] = found
    st.download_button("Template CSV", TEMPLATE_CSV, "readings.csv", "text/csv")
    if given is None:
        return None
    if st.session_state.get(UPLOAD) is None:
        st.button(literal(f"{PUT_AWAY}: {given[1]}"), on_click=_put_away)
    good: GivenReadings | None = st.session_state.get(GOOD)
    return good if good is None or found is not None else replace(good, instead_of=given[1])


def awaited_name() -> str | None:
    """Name of the file that was given; None where none was."""
    given = st.session_state.get(GIVEN)
    return given[1] if given else None


def _take() -> None:
    """Take the file that was just chosen.

    A browser takes the file before it out first, so that its readings are not forgotten here.
    """
    upload = st.session_state[UPLOAD]
    st.session_state[GIVEN] = None if upload is None else (upload.getvalue(), upload.name)


def _put_away() -> None:
    st.session_state[GIVEN] = st.session_state[GOOD] = None


def _read(content: bytes, name: str) -> GivenReadings | None:
    try:
        column_map = taken_columns(content, name)
        if column_map is None:
            return None
        readings = readings_from_foreign(content, name, column_map)
    except BatteryModelError as error:
        show_faults(error)
        return None
    return GivenReadings(readings, content, name, None if column_map.own else column_map)


def show_faults(error: BatteryModelError, labels: Mapping[str, Shown] | None = None) -> None:
    """Show all that is wrong with a file or with an entry, one sentence each.

    Parameters
    ----------
    error : BatteryModelError
    labels : mapping, optional
        How entries are shown, by their names in the record.
    """
    show_sentences(sentences_of(error, labels or {}))


def sentences_of(error: BatteryModelError, labels: Mapping[str, Shown]) -> tuple[str, ...]:
    """All that an error says is wrong.

    Parameters
    ----------
    error : BatteryModelError
    labels : mapping
        How entries are shown, by their names in the record.

    Returns
    -------
    tuple of str
        Temperatures in °C.
    """
    if len(error.faults) > 1:
        return error.faults
    others = error.others if isinstance(error, EntryError) else ()
    return tuple(said_by_labels(one, labels) for one in (error, *others))


def show_sentences(sentences: Iterable[str]) -> None:
    """Show what is wrong, as a list where it is more than one thing.

    Parameters
    ----------
    sentences : iterable of str
        At least one; temperatures in °C.
    """
    said = [literal(temperatures.said(sentence)) for sentence in sentences]
    st.error("\n".join(f"- {fault}" for fault in said) if len(said) > 1 else said[0])
