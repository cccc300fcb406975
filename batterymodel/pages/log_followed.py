"""A log on this computer that is followed on the page while a logger keeps appending to it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import streamlit as st

from batterymodel import pages
from batterymodel.basis.text import counted
from batterymodel.errors import BatteryModelError, InputError
from batterymodel.inputs.column_map import ColumnMap
from batterymodel.inputs.log_columns import ColumnsInDoubtError
from batterymodel.inputs.records import Readings
from batterymodel.pages import KEPT, file_columns, literal
from batterymodel.rules.results import Assessment
from batterymodel.say.followed import EVERY_S, Answer, FollowedLog, News
from batterymodel.say.following import answer_line, last_time

PATH = f"{KEPT}followed.path"
FOLLOWED = f"{KEPT}followed.log"
LABEL = "Path of the file on this computer"
STOP = "Stop following"
OLD_ANSWER = "Old: from the readings up to {up_to}; the file cannot be used now: {trouble}."
"""Stands above an answer that is not of what the log holds now."""

MOST_LINES = 200
LINES_SHOWN = 5
_LOCAL_HOSTS = ("localhost", "127.0.0.1", "[::1]")
_OF_PROXIES = ("X-Forwarded-For", "X-Real-Ip", "Forwarded")


@dataclass
class Followed:
    """A log that is followed, what it was assessed with, and the lines that were said of it."""

    log: FollowedLog
    assessed_with: object
    lines: list[str] = field(default_factory=list)
    in_doubt: bool = False
    begun: bool = False


def is_offered() -> bool:
    """Whether a path may be given: only to a browser on the computer that runs the page.

    Anybody who may name a path can read of it, so that an address that a proxy passed on or a name
    of the network does not count.
    """
    address, headers = _asked_from()
    host = headers.get("Host", "").rsplit(":", 1)[0].lower()
    return address is None and host in _LOCAL_HOSTS and not any(map(headers.get, _OF_PROXIES))


def _asked_from() -> tuple[str | None, Mapping[str, str]]:
    """Address of the browser, None where it is this computer, and the headers it sent."""
    return st.context.ip_address, st.context.headers


def path_input() -> str | None:
    """The path of the log; None while none is given."""
    path = st.text_input(LABEL, placeholder="folder/log.csv", key=PATH)
    st.html(
        pages.note(
            f"It is looked at every {EVERY_S:g} s, and read only. As 'python -m batterymodel "
            "follow' at the command line."
        )
    )
    bare = (path or "").strip().strip('"')
    return str(Path(bare).expanduser()) if bare else None


@st.fragment(run_every=EVERY_S)
def show(
    path: str,
    assessed: Callable[[Readings], Assessment],
    assessed_with: object,
    show_answer: Callable[[Readings, Assessment, bytes, ColumnMap], Any],
) -> None:
    """Look at the log every `EVERY_S` and show what is new with the last whole answer.

    Parameters
    ----------
    path : str
    assessed : callable
        From readings to their assessment.
    assessed_with : object
        Battery, supply and what else the assessment takes; another one answers anew.
    show_answer : callable
        Shows an assessment of readings, with the whole lines of the log and their columns.
    """
    followed = _followed(path, assessed, assessed_with)
    try:
        _take(followed, _look(followed))
    except ColumnsInDoubtError as error:
        _ask(followed, error)
        return
    except InputError as error:
        st.error(literal(str(error)))
        return
    _show_lines(followed.lines)
    log = followed.log
    if log.last is not None and log.column_map is not None:
        if log.trouble is not None:
            up_to = last_time(log.last[0])
            st.html(pages.warning(OLD_ANSWER.format(up_to=up_to, trouble=log.trouble)))
        show_answer(*log.last, log.last_content, log.column_map)


def _followed(
    path: str, assessed: Callable[[Readings], Assessment], assessed_with: object
) -> Followed:
    """What is followed in this session; another path begins anew."""
    there: Followed | None = st.session_state.get(FOLLOWED)
    if there is None or there.log.path != path:
        there = Followed(FollowedLog(path, _columns(path), assessed), assessed_with)
        st.session_state[FOLLOWED] = there
    there.log.assessed = assessed
    if there.assessed_with != assessed_with:
        there.assessed_with, there.in_doubt = assessed_with, there.begun
    return there


def _columns(path: str) -> Callable[[bytes], ColumnMap]:
    def settled(content: bytes) -> ColumnMap:
        guess = file_columns.settled_columns(content, path)
        if not guess.is_sure:
            raise InputError("; ".join(guess.doubts))
        return guess.column_map

    return settled


def _look(followed: Followed) -> News:
    """Look at the file, and answer anew where columns or battery are others than before."""
    again, followed.in_doubt = followed.in_doubt, False
    news = followed.log.look(first=not followed.begun)
    followed.begun = True
    return followed.log.again() if again and not news.said else news


def _take(followed: Followed, news: News) -> None:
    for said in news.said:
        if isinstance(said, Answer):
            followed.lines.append(answer_line(said.readings, said.result))
        else:
            followed.lines.append(said)
    del followed.lines[:-MOST_LINES]


def _ask(followed: Followed, error: ColumnsInDoubtError) -> None:
    followed.begun = followed.in_doubt = True
    try:
        file_columns.taken_columns(followed.log.content, followed.log.path)
    except BatteryModelError:
        st.error(literal(str(error)))


def _show_lines(lines: list[str]) -> None:
    """The newest lines first; the earlier ones out of the way."""
    newest = lines[::-1]
    if newest:
        st.html(pages.plain_list(newest[:LINES_SHOWN]))
    if newest[LINES_SHOWN:]:
        with st.expander(counted(len(newest[LINES_SHOWN:]), "earlier line")):
            st.html(pages.plain_list(newest[LINES_SHOWN:]))
