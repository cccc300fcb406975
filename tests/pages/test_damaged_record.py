"""Pages over a record that was spoilt after it was opened: a sentence, never an exception."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing

import pytest
from streamlit.testing.v1 import AppTest

from batterymodel.store.engine import URL_VARIABLE

PAGES = (
    "needs_attention", "at_the_aircraft", "after_connection", "battery_record", "ground_power",
    "track_record", "capacity_check", "limits_card", "findings_sheet", "more",
)  # fmt: skip
SPOILT = {
    "connection": "UPDATE connections SET recorded_at = '2026-11-2x 10:00:00.000000'",
    "check": "UPDATE capacity_checks SET \"on\" = '2026-13-01'",
    "battery": "UPDATE batteries SET serial = x'fffe' WHERE rowid = 2",
}


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("name", SPOILT)
def test_a_page_says_what_is_damaged(demo_sqlite, tmp_path, monkeypatch, page, name):
    path = tmp_path / "record.sqlite"
    shutil.copy(demo_sqlite, path)
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute(SPOILT[name]).rowcount > 0
        connection.commit()
    monkeypatch.setenv(URL_VARIABLE, str(path))
    script = f"from batterymodel.pages import {page}\n{page}.page()"
    at = AppTest.from_string(script, default_timeout=90).run()
    assert not at.exception, at.exception[0]
    if page in ("needs_attention", "battery_record") and name == "battery":
        assert any("damaged" in error.value for error in at.error)
