"""The battery as a form: plate, limits card and record; filled by hand, sample or TOML file.

The form is the one place the battery comes from. Its entries live in the session state under
`battery_form.key`; a percentage in the form is a fraction in the record.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from functools import partial
from typing import Any

import streamlit as st

from batterymodel.errors import InputError
from batterymodel.inputs.entry_faults import EntryError, said_by_labels
from batterymodel.inputs.records import Battery, Chemistry, record_from, record_toml, toml_data
from batterymodel.pages import KEPT, literal, temperatures
from batterymodel.pages.battery_fields import (
    DOCUMENT,
    FIELDS,
    IN_HAND,
    LABELS,
    LIMITS,
    NEW,
    PLATE,
    RECORD,
    TABLES,
    Field,
)
from batterymodel.reference.chemistry import data_for
from batterymodel.reference.limits import limit_for
from batterymodel.rules.wording import GENERIC_MARK
from batterymodel.samples.connections import Sample

WHERE = "battery form"
NO_LABEL = "no label"
DAYS = date(1900, 1, 1), date(2099, 12, 31)
"""First and last day offered: left out, Streamlit offers the last ten years and takes no other."""
SOURCE_WANTED = "{title} was changed: name the document it comes from, with title and revision."
SAME_DOCUMENT = "The same document as before"
_TABLE_EXAMPLES = {
    "rest_voltage_soc": "50, 75, 100",
    "rest_voltage_v": "24.4, 25.0, 25.8",
    "capacity_temp_c": "-10, 10, 25",
    "capacity_temp_factor": "70, 90, 100",
    "discharge_minutes": "30, 60, 180",
    "discharge_current_a": "68, 40, 16",
}
TEMPERATURES, TEMPERATURE_ROW = ("charge_temp_min_c", "charge_temp_max_c"), "capacity_temp_c"
_REQUIRED = ("chemistry", "cells", "rated_capacity_ah")


def fill(battery: Battery | None, form: str = IN_HAND) -> None:
    """Put a battery into the form; None empties it.

    Parameters
    ----------
    battery : Battery, optional
    form : str
        `IN_HAND`, `ON_CARD` or `NEW`.
    """
    data = {} if battery is None else battery.model_dump()
    for field in FIELDS:
        table = data if not field.table else data.get(field.table) or {}
        st.session_state[field.key_in(form)] = _to_entry(table.get(field.name), field)
    st.session_state[_old_source_key(form)] = st.session_state[DOCUMENT.key_in(form)]
    st.session_state[_changed_key(form)] = None


def forget_file() -> None:
    """Empty the file uploader, so that no file name stands over a form filled otherwise."""
    st.session_state["battery_file_round"] = st.session_state.get("battery_file_round", 0) + 1


def entered(form: str = IN_HAND) -> tuple[Battery | None, tuple[str, ...]]:
    """The battery in the form, or None with the labels of what is still missing.

    Parameters
    ----------
    form : str
        `IN_HAND`, `ON_CARD` or `NEW`.

    Returns
    -------
    battery : Battery or None
    missing : tuple of str
        Empty where there is a battery.

    Raises
    ------
    InputError
        An entry that cannot be right; names it.
    """
    data = _entered_data(form)
    missing = tuple(f.label for f in PLATE if f.name in _REQUIRED and f.name not in data)
    if missing:
        return None, missing
    try:
        return record_from({"tail": NO_LABEL, **data}, Battery, WHERE), ()
    except InputError as error:
        raise InputError(said_by_labels(error, LABELS)) from None


def faults(form: str) -> tuple[str, ...]:
    """All that is wrong in the form, one sentence each by the labels of the page.

    Parameters
    ----------
    form : str
        `IN_HAND`, `ON_CARD` or `NEW`.

    Returns
    -------
    tuple of str
        Temperatures in °C.
    """
    found, data = [], dict[str, Any]()
    for field in FIELDS:
        try:
            _put(data, field, form)
        except InputError as error:
            found.append(str(error))
    if found:
        return tuple(found)
    try:
        record_from({"tail": NO_LABEL, **data}, Battery, WHERE)
    except InputError as error:
        others = error.others if isinstance(error, EntryError) else ()
        return tuple(said_by_labels(one, LABELS) for one in (error, *others))
    return ()


def battery_from_bytes(data: bytes, source: str) -> Battery:
    """Battery from the bytes of a TOML file, as an upload gives them.

    Parameters
    ----------
    data : bytes
        UTF-8 text, with or without byte order mark.
    source : str
        Name of the file, for messages.

    Returns
    -------
    Battery

    Raises
    ------
    InputError
        Not text, not TOML, or a key or value that cannot be right; names file and key.
    """
    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        raise InputError(f"{source}: is not a text file; give a battery as TOML text") from None
    try:
        return record_from(toml_data(text, source), Battery, source)
    except EntryError as error:
        raise InputError(str(error)) from None


def show_plate(samples: Sequence[Sample], offer_samples: bool) -> None:
    """The tab with the plate, and the ways to fill the form.

    Parameters
    ----------
    samples : sequence of Sample
        To choose a battery from.
    offer_samples : bool
        Whether that choice is shown; the upload of a file always is.

    Raises
    ------
    InputError
        The uploaded file is no battery; raised once the tab is drawn.
    """
    problem = None
    if offer_samples:
        _show_sample_choice(samples)
    try:
        _take_file()
    except InputError as error:
        problem = error
    _show(PLATE[:2], columns=1)
    _show(PLATE[2:])
    if problem is not None:
        raise problem


def show_new_plate() -> None:
    """Chemistry, cells and rated capacity of a battery to be added to the record."""
    _show(PLATE[1:2], columns=1, form=NEW)
    _show(PLATE[2:], form=NEW)


def show_limits(form: str = IN_HAND) -> None:
    """The tab with the limits card; a blank shows the generic value it stands for.

    Parameters
    ----------
    form : str
        `IN_HAND`, `ON_CARD` or `NEW`.
    """
    st.caption(
        f"From the maker's instructions. A blank counts as the {GENERIC_MARK} value shown in it. "
        "The tables at the end show examples; left blank, what is usual for the kind counts."
    )
    _show(LIMITS[:1], columns=1, form=form)
    _ask_for_source(form)
    _show(LIMITS[1:], _generic_values(form), form=form)
    _show(TABLES, _TABLE_EXAMPLES, form=form)


def source_is_open(form: str) -> bool:
    """Whether a limit was changed whose document is not named yet.

    Parameters
    ----------
    form : str
        `IN_HAND`, `ON_CARD` or `NEW`.

    Returns
    -------
    bool
    """
    named = (st.session_state.get(DOCUMENT.key_in(form)) or "").strip()
    return not named and st.session_state.get(_changed_key(form)) is not None


def _ask_for_source(form: str) -> None:
    """Ask which document a changed limit comes from; the old one is one press away."""
    if not source_is_open(form):
        return
    old = st.session_state.get(_old_source_key(form))
    st.warning(literal(SOURCE_WANTED.format(title=st.session_state[_changed_key(form)])))
    if old:
        st.caption(literal(f"The values before came from: {old}"))
        st.button(SAME_DOCUMENT, key=f"{form}.same_document", on_click=_keep_source, args=(form,))


def _limit_changed(form: str, field: Field) -> None:
    """No source stays beside a value that did not come from it; a blank needs none."""
    if st.session_state.get(field.key_in(form)) in (None, ""):
        return
    key, old = DOCUMENT.key_in(form), st.session_state.get(_old_source_key(form))
    st.session_state[_changed_key(form)] = field.title
    if old and (st.session_state.get(key) or "").strip() == old.strip():
        st.session_state[key] = ""


def _keep_source(form: str) -> None:
    """The document named before holds the changed values too."""
    st.session_state[DOCUMENT.key_in(form)] = st.session_state[_old_source_key(form)]
    st.session_state[_old_source_key(form)] = None


def _old_source_key(form: str) -> str:
    return f"{KEPT}{form}.old_source"


def _changed_key(form: str) -> str:
    return f"{KEPT}{form}.changed_limit"


def show_record() -> None:
    """The tab with installation, history, last capacity check and last known state."""
    st.caption("All optional. Charge time is charge to return over the current at connection.")
    _show(RECORD[:1], columns=1)
    _show(RECORD[1:])


def show_download(battery: Battery | None) -> None:
    """Offer the battery in the form as a TOML file.

    Parameters
    ----------
    battery : Battery, optional
        None while the form is incomplete: nothing is offered then.
    """
    if battery is not None:
        st.download_button(
            "Battery as TOML", record_toml(battery), "battery.toml", "application/toml"
        )


def _show_sample_choice(samples: Sequence[Sample]) -> None:
    by_key = {sample.key: sample for sample in samples}
    key = f"{KEPT}sample_battery"

    def take() -> None:
        chosen = st.session_state[key]
        if chosen is not None:
            fill(by_key[chosen].battery)
            forget_file()

    st.selectbox(
        "Start from an invented battery",
        list(by_key),
        index=None,
        format_func=lambda k: by_key[k].title,
        placeholder="Choose, or enter below",
        key=key,
        on_change=take,
    )


def _take_file() -> None:
    """Fill the form from an uploaded file, once for each upload."""
    key = f"battery_file_{st.session_state.get('battery_file_round', 0)}"
    upload = st.file_uploader("Battery TOML file", type=["toml"], key=key)
    if upload is None:
        return
    battery = battery_from_bytes(upload.getvalue(), upload.name)
    if st.session_state.get("battery_file_taken") != upload.file_id:
        st.session_state["battery_file_taken"] = upload.file_id
        fill(battery)


def _show(
    fields: Sequence[Field],
    placeholders: dict[str, str] | None = None,
    columns: int = 2,
    form: str = IN_HAND,
) -> None:
    """The entries row by row, so that they keep their order where columns are stacked."""
    for start in range(0, len(fields), columns):
        places = st.columns(columns, vertical_alignment="bottom")
        for place, field in zip(places, fields[start : start + columns], strict=False):
            with place:
                _widget(field, form, (placeholders or {}).get(field.name))


def _widget(field: Field, form: str, placeholder: str | None) -> None:
    key = field.key_in(form)
    told: dict[str, Any] = {"placeholder": placeholder or "", "key": key}
    if field.table == "limits" and field is not DOCUMENT:
        told["on_change"] = partial(_limit_changed, form, field)
    if field.name == TEMPERATURE_ROW:
        temperatures.row_input(field.label, **told)
    elif field.name in TEMPERATURES:
        temperatures.number_input(st, field.label, **told)
    elif field.kind in ("text", "row", "percent row"):
        st.text_input(temperatures.said(field.label), **told)
    elif field.kind == "date":
        _day_widget(field, key)
    elif field.kind == "chemistry":
        options = [chemistry.value for chemistry in Chemistry]
        st.selectbox(
            field.label,
            options,
            index=None,
            format_func=lambda c: data_for(Chemistry(c)).label,
            key=key,
        )
    elif field.kind == "whole":
        st.number_input(field.label, value=None, step=1, **told)
    else:
        st.number_input(field.label, value=None, step=field.step, format="%g", **told)


def _day_widget(field: Field, key: str) -> None:
    """A day in a wide range, which holds the one that is there already."""
    there = st.session_state.get(key)
    first, last = (min(DAYS[0], there), max(DAYS[1], there)) if there else DAYS
    st.date_input(field.label, value=None, min_value=first, max_value=last, key=key)


def _generic_values(form: str) -> dict[str, str]:
    """Generic value by limit name, for the chemistry, cells and capacity entered so far."""
    plate = {f.name: st.session_state.get(f.key_in(form)) for f in PLATE if f.name in _REQUIRED}
    try:
        bare = record_from({"tail": NO_LABEL, **plate}, Battery, WHERE)
    except InputError:
        return {}
    values = {}
    for field in LIMITS[1:]:
        value = limit_for(bare, field.name).value
        shown = f"{_to_entry(value, field):g}"
        if field.name in TEMPERATURES:
            shown = temperatures.shown(value)
        values[field.name] = f"{shown} {GENERIC_MARK}"
    return values


def _entered_data(form: str) -> dict[str, Any]:
    data: dict[str, Any] = {}
    for field in FIELDS:
        _put(data, field, form)
    return data


def _put(data: dict[str, Any], field: Field, form: str) -> None:
    """Add what is entered in a field, if anything, to the data of the battery."""
    value = _to_record(st.session_state.get(field.key_in(form)), field)
    if value is None or value == "":
        return
    table = data.setdefault(field.table, {}) if field.table else data
    table[field.name] = value


def _to_entry(value: Any, field: Field) -> Any:
    if field.kind in ("text", "row", "percent row"):
        scale = 100.0 if field.kind == "percent row" else 1.0
        is_text = field.kind == "text" or value is None
        return (value or "") if is_text else ", ".join(f"{scale * v:.10g}" for v in value)
    if value is None:
        return None
    if field.kind == "chemistry":
        return Chemistry(value).value
    if field.kind == "percent":
        return round(100.0 * value, 9)
    return float(value) if field.kind == "number" else value


def _to_record(value: Any, field: Field) -> Any:
    if value is None:
        return None
    if field.kind == "text":
        return value.strip()
    if field.kind in ("row", "percent row"):
        return _numbers(value, field) or None
    return value / 100.0 if field.kind == "percent" else value


def _numbers(text: str, field: Field) -> tuple[float, ...]:
    scale = 100.0 if field.kind == "percent row" else 1.0
    try:
        return tuple(float(number) / scale for number in text.replace(",", " ").split())
    except ValueError:
        raise InputError(
            f"{field.title}: numbers like 24.4, 25.0, 25.8 would be right (given: {text!r})"
        ) from None
