"""The places: a bar of four on every page, what lies below the last, and the way to each."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import streamlit as st

from batterymodel import pages

HOME, AIRCRAFT, READINGS, MORE = "", "at-the-aircraft", "after-connection", "more"
BATTERY, POWER, SCORE = "battery-record", "ground-power", "how-right"
BAR = {HOME: "Batteries", AIRCRAFT: "At the aircraft", READINGS: "Readings file", MORE: "More"}
"""Label of each place of the bar by the path of its page."""

BELOW_MORE = {
    BATTERY: ("Battery record", "one battery over the years: capacity, tapers, all on record"),
    POWER: ("Ground power", "whether a task fits on a supply, and what to leave off"),
    SCORE: ("How right has it been here", "answers held against what turned out later"),
    "capacity-check": ("Capacity check", "a timed bench discharge as percent of rated"),
    "limits-card": ("Limits card", "the maker's numbers, with title and revision"),
    "findings-sheet": ("Findings sheet", "one or two pages for the owner, as a PDF"),
    "in-plain-words": ("In plain words", "how it works, with figures that move"),
}
"""Title of each page below `MORE` by its path, and what it is for."""

RECORD, DEMO_RECORD = "record", "demo"
"""Query parameter by which an address names the demo record, so that a reload stays in it."""

_PAGES = "pages_by_path"


def register(all_pages: Iterable[Any]) -> None:
    """Tell where the pages are; without it links and ways lead nowhere.

    Parameters
    ----------
    all_pages : iterable of st.Page
        Those given to ``st.navigation``.
    """
    st.session_state[_PAGES] = {page.url_path: page for page in all_pages}


def show_bar(path: str) -> None:
    """The bar, with the place marked that a page belongs to.

    Parameters
    ----------
    path : str
        Of the page shown.
    """
    place = path if path in BAR else MORE
    with st.container(key="places"):
        st.html(pages.hidden_words(f"Places. This is {BAR[place]}."))
        for number, (to, label) in enumerate(BAR.items()):
            here = to == place
            with st.container(key=f"place-{number}{'-here' * here}"):
                link(to, f"**{label}**" if here else label)


def link(path: str, label: str, **named: str) -> None:
    """A link to a page, in the record that is shown.

    Parameters
    ----------
    path : str
    label : str
        Markdown.
    **named : str
        Query parameters.
    """
    page = st.session_state.get(_PAGES, {}).get(path)
    if page is not None:
        st.page_link(page, label=label, width="stretch", query_params=_address() | named)


def go_to(path: str, **named: str) -> None:
    """Turn to a page; where pages run alone, run the same one again.

    Parameters
    ----------
    path : str
    **named : str
        Query parameters.
    """
    page = st.session_state.get(_PAGES, {}).get(path)
    if page is None:
        st.rerun()
    st.switch_page(page, query_params=_address() | named)


def turn_to_record(demo: bool) -> None:
    """Turn to the first page of the demo record, or of the own one.

    Parameters
    ----------
    demo : bool
    """
    named = {RECORD: DEMO_RECORD} if demo else {}
    page = st.session_state.get(_PAGES, {}).get(HOME)
    if page is None:
        st.query_params.from_dict(named)
        st.rerun()
    st.switch_page(page, query_params=named)


def is_demo() -> bool:
    """Whether the pages show the invented demo record: what the address says holds."""
    return st.query_params.get(RECORD) == DEMO_RECORD


def _address() -> dict[str, str]:
    return {RECORD: DEMO_RECORD} if is_demo() else {}
