"""The web page of the tool: ``python -m streamlit run app.py`` from the checkout."""

from __future__ import annotations

import streamlit as st

from batterymodel.pages import after_connection, keep_entries


def main() -> None:
    """Assemble the pages and run the chosen one."""
    st.set_page_config(page_title="Battery on ground power", layout="wide")
    keep_entries()
    pages = [st.Page(after_connection.page, title="After connection", default=True)]
    st.navigation(pages).run()


main()
