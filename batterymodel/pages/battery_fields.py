"""The entries of the battery form: how each is called, in which unit, and where it is kept."""

from __future__ import annotations

from dataclasses import dataclass

from batterymodel.inputs.entry_faults import Shown
from batterymodel.pages import KEPT

IN_HAND, ON_CARD, NEW = "battery", "card", "new"
"""The forms: the battery after connection, the limits card of one on record, one to be added."""


@dataclass(frozen=True)
class Field:
    """One entry of the form: record table ("" for the battery itself), name, title, kind."""

    table: str
    name: str
    title: str
    unit: str = ""
    kind: str = "number"
    step: float = 0.1
    order: str = ""

    @property
    def label(self) -> str:
        """What stands above the entry: its title with unit and order of values."""
        return f"{self.shown.title}{self.order and f', {self.order}'}"

    @property
    def shown(self) -> Shown:
        """How the entry's value is shown."""
        return Shown(self.title, self.unit, 100.0 if self.kind.startswith("percent") else 1.0)

    @property
    def path(self) -> str:
        """Its name in the record, with that of its table."""
        return f"{self.table}.{self.name}".lstrip(".")

    def key_in(self, form: str) -> str:
        """Where the entry lives in the session state.

        Parameters
        ----------
        form : str
            `IN_HAND`, `ON_CARD` or `NEW`.

        Returns
        -------
        str
        """
        return f"{KEPT}{form}.{self.table}.{self.name}"

    @property
    def key(self) -> str:
        """Where the entry of the battery after connection lives."""
        return self.key_in(IN_HAND)


PLATE = (
    Field("", "tail", "Label", kind="text"),
    Field("", "chemistry", "Chemistry", kind="chemistry"),
    Field("", "cells", "Cells", kind="whole"),
    Field("", "rated_capacity_ah", "Rated capacity", "Ah", step=1.0),
)
LIMITS = (
    Field("limits", "document", "Document, title and revision", kind="text"),
    Field("limits", "charge_voltage_min_v", "Lowest charging voltage", "V"),
    Field("limits", "charge_voltage_max_v", "Highest charging voltage", "V"),
    Field("limits", "charge_temp_min_c", "Lowest charging temperature", "°C", step=1.0),
    Field("limits", "charge_temp_max_c", "Highest charging temperature", "°C", step=1.0),
    Field("limits", "min_top_off_soc", "Least charge to top off in place", "%", "percent", 1.0),
    Field("limits", "min_capacity_fraction", "Least capacity", "% of rated", "percent", 1.0),
    Field("limits", "max_charge_current_a", "Highest charging current", "A", step=1.0),
    Field("limits", "end_voltage_v", "End voltage", "V"),
    Field("limits", "capacity_check_interval_days", "Days between capacity checks", kind="whole"),
)
DOCUMENT = LIMITS[0]
UP, _OF_25 = "rising", "% of that at 25 °C"
TABLES = (
    Field(
        "limits",
        "rest_voltage_soc",
        "Charge in the rest voltage table",
        "%",
        "percent row",
        order=UP,
    ),
    Field("limits", "rest_voltage_v", "Rest voltage at each charge", "V", "row", order=UP),
    Field("limits", "capacity_temp_c", "Temperature in the capacity table", "°C", "row", order=UP),
    Field("limits", "capacity_temp_factor", "Capacity at each temperature", _OF_25, "percent row"),
    Field("limits", "discharge_minutes", "Minutes in the discharge table", "", "row", order=UP),
    Field("limits", "discharge_current_a", "Current for each time", "A", "row", order="falling"),
)
RECORD = (
    Field("", "installed_on", "Day it was installed, new", kind="date"),
    Field("history", "charge_time_h", "Charge time from completed tapers", "h", step=0.01),
    Field("history", "charge_time_rel_sd", "Spread of the charge time", "%", "percent", 1.0),
    Field("history", "fast_share", "Fast share of the taper", "%", "percent", 1.0),
    Field("history", "fast_share_sd", "Spread of the fast share", "%", "percent", 1.0),
    Field("history", "on", "Day of the last completed taper", kind="date"),
    Field("capacity_check", "capacity_ah", "Capacity at the last check", "Ah", step=0.5),
    Field("capacity_check", "on", "Day of the last check", kind="date"),
    Field("last_known", "state_of_charge", "Last known state of charge", "%", "percent", 1.0),
    Field("last_known", "on", "Day the charge was known", kind="date"),
    Field("capacity_check", "capacity_sd_ah", "Error of the capacity", "Ah"),
    Field("last_known", "sd", "Error of the known charge", "%", "percent", 1.0),
)
FIELDS = (*PLATE, *LIMITS, *TABLES, *RECORD)
LABELS = {field.path: field.shown for field in FIELDS}
"""How the entries are shown, by their names in the record."""
