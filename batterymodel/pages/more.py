"""The page of the pages that are needed less often."""

from __future__ import annotations

import streamlit as st

from batterymodel import pages
from batterymodel.pages import places, temperatures


def page() -> None:
    """Show the page."""
    st.html(pages.STYLE)
    st.title("More")
    for number, (path, (title, words)) in enumerate(places.BELOW_MORE.items()):
        with st.container(key=f"more-{number}"):
            places.link(path, f"**{title}**: {words}")
    temperatures.show_choice()
