"""Days and years."""

from __future__ import annotations

DAYS_PER_YEAR = 365.25
"""Days of a Julian year (definition)."""
