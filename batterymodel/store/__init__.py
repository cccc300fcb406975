"""The record store: aircraft, batteries and what was seen of them, kept for years.

In: records of a fleet (`records`), connections with their readings. Out: entries, the battery as it
was on a day (`as_of`), and an aircraft's loads with what was learned (`learned_loads`). May import
the ground power budget and what is left of it; of the package only `say`, `sheet`, `samples`,
commands and pages use it.
"""

from batterymodel.store.entries import Deletion, Entry
from batterymodel.store.store import Store, open_store

__all__ = ["Deletion", "Entry", "Store", "open_store"]
