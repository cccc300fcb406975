"""The box for readings from the meter: lines in, what was read of them below it."""

from __future__ import annotations

import streamlit as st

from batterymodel.errors import BatteryModelError
from batterymodel.inputs.typed_lines import typed_lines
from batterymodel.pages import KEPT, literal, readings_file
from batterymodel.pages.readings_file import GivenReadings

LABEL = "One reading a line: time in s (or m:ss), current in A, then an event if there was one"
EXAMPLE = """0 18.4
15 18.1
30 17.9
60 27.5 bus load on
1:30 27.1"""
WHEN = (
    "The lines are read when you leave the box or press Ctrl+Enter. Columns of a spreadsheet can "
    "be pasted."
)
LINES = f"{KEPT}readings.lines"
NAME = "typed-readings.csv"
AWAITED = "the box"
HEIGHT_PX = 220


def given_readings() -> GivenReadings | None:
    """The readings of the box; what is wrong with its lines is said below it, all at once."""
    text = st.text_area(LABEL, key=LINES, height=HEIGHT_PX, placeholder=EXAMPLE)
    st.caption(WHEN)
    try:
        found = typed_lines(text)
    except BatteryModelError as error:
        readings_file.show_faults(error)
        return None
    if found.words:
        st.markdown(literal(f"Read: {found.words}."))
    if found.readings is None:
        return None
    return GivenReadings(found.readings, found.csv.encode(), NAME)


def awaited_name() -> str | None:
    """What the page calls the box; None while nothing stands in it."""
    return AWAITED if st.session_state.get(LINES, "").strip() else None
