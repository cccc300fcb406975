"""The record store: aircraft, batteries and what was seen of them, kept for years.

Only pages and the command line use it; everything else works on plain records.
"""

from batterymodel.store.entries import Deletion, Entry
from batterymodel.store.store import Store, open_store

__all__ = ["Deletion", "Entry", "Store", "open_store"]
