"""The meter pad: clock and number pad in the browser, which keeps each entry until it is stored.

Every entry gets its id and its moment in the browser and stays in the browser's storage until the
page says that the record has it; it is sent again every few seconds until then. A reload, a lost
network or a server that was killed lose none, and the id keeps the record from taking one twice.
What the record refuses stays listed with the reason until a person takes it away. Moments are those
of the record's clock, told by a clock of the browser that nobody can set; where the device slept or
its clock jumped since, the record's clock is asked for first.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import streamlit as st

from batterymodel.pages import temperatures
from batterymodel.say.pad_units import entry_in_c, pad_in

_HERE = Path(__file__)


def _text(suffix: str) -> str:
    return _HERE.with_name(f"meter_pad.{suffix}").read_text(encoding="utf-8")


_MOUNT = st.components.v2.component(
    "meter_pad", html=_text("html"), css=_text("css"), js=_text("js")
)


def meter_pad(data: dict[str, Any], key: str, on_sent: Callable[[], None]) -> None:
    """Show the pad of one connection, or an unseen one that sends what waits of any.

    Parameters
    ----------
    data : dict
        Of `batterymodel.say.pad`, and ``refused`` (reason by the id of each entry that was not
        taken), ``unknown`` (ids of entries whose connection no record has) and ``unknown_words``
        (what is said of those).
    key : str
        Under which `sent_entries` finds what was sent.
    on_sent : callable without arguments
        Called in the rerun that brings entries, before the page is drawn.
    """
    _MOUNT(key=key, data=pad_in(data, temperatures.unit()), on_sent_change=on_sent)


def sent_entries(key: str) -> list[dict[str, Any]]:
    """Entries that the browser sent in this rerun; the same ones again until they are confirmed.

    Parameters
    ----------
    key : str
        That of `meter_pad`.

    Returns
    -------
    list of dict
        ``connection``, ``id``, ``at_ms``, ``kind`` and, by kind, ``quantity``, ``value``, ``text``
        or ``target``.
    """
    sent = getattr(st.session_state.get(key), "sent", None)
    return [entry_in_c(entry) for entry in sent["items"]] if sent else []
