"""Every sentence of the owner's findings sheet that is said nowhere else, as templates.

Sentences that the page and the terminal say too (headline, findings, next steps, cautions,
forecast) come from `rules.wording` and `capacity.wording`, so that no number is said twice in two
ways. What the owner is asked, and what follows, stands in `sheet.consequences`.
"""

from __future__ import annotations

LANGUAGE = "en"
TITLE = "Findings sheet"
DOCUMENT_TITLE = "Findings sheet, battery {battery}, {on}"
HEAD_LINE = "What ground power showed of this battery, for its owner"
FOOTER = "Battery {battery}, {on}. Advice only: the aircraft's manual and the maker govern."
PAGE = "Page {page} of {pages}"

HEAD = {
    "owner": "Owner",
    "battery": "Battery",
    "on": "Day",
    "kind": "Kind",
    "supply": "Ground supply",
}
NOT_GIVEN = "not given"
KIND = "{label}, {cells} cells, {rated:g} Ah on its plate"
SUPPLY = "{rated:g} A at {volts:g} V"

SECTIONS = {
    "seen": "What was seen",
    "why": "Why",
    "pictures": "In pictures",
    "measured": "What was measured",
    "maker": "What the maker asks",
    "next": "What to do next",
    "asked": "What you are asked to decide",
    "nothing": "What happens if nothing is done",
    "cautions": "Cautions",
    "signed": "Signed",
}

MAKER_TITLES = {
    "all": SECTIONS["maker"],
    "some": "What the maker asks, and usual limits",
    "none": "Usual limits for this kind of battery",
}
"""Titles of the table of limits, by how many of them are the maker's."""

SEEN = {
    "joined": "Ground power was switched on. The battery was joined to it by the bus, which is the "
    "wiring that feeds the aircraft.",
    "taper": "A battery takes less and less current as it fills. This fall is called the taper.",
    "no_taper": "A battery of this kind takes a steady current until it is nearly full.",
    "supply": "The meter on the supply was read {count} in {minutes}. It went "
    "from {first:.1f} A to {last:.1f} A (A is ampere, the measure of current).",
    "battery": "The meter on the battery was read {count} in {minutes}. It went "
    "from {first:.1f} A to {last:.1f} A (A is ampere, the measure of current).",
    "marked": "What changed in the aircraft on the way: {steps}.",
    "unmarked": "At {minutes} the current jumped, and nobody noted why.",
    "rise": "From {minutes} on it rose, where it should have gone on falling.",
    "bound": "The supply gave all it could, so this shows only the most that the battery can have "
    "held when it was joined: {high}.",
    "level": "From this, the charge of the battery when it was joined was {mean}. The true value "
    "should lie from {low} to {high} in nine cases of ten; with a sick battery it misses more "
    "often.",
}

AT = "{minutes:g} min"
STEP = "{text} (at {minutes})"

FINE = "Looked at and fine: {names}."
FINE_NAMES = {"capacity_check_overdue": "age of the capacity check"}
"""Names among what is fine of rules whose own name says what they warn of."""

MORE_FINDINGS = {
    1: "One more finding is in the full report.",
    2: "{count} more findings are in the full report.",
}
ALL_FINE = "Nothing in the readings speaks against topping off."

EXPLAINED = {
    "other_conditions": "Other things can make the same current; a second look tells them apart.",
    "clamp": "A clamp is a meter that is put round a wire.",
    "rest_voltage": "Rest voltage is read while nothing is joined to the battery.",
    "supply_at_limit": "A supply at its limit gives all the current it can.",
    "taper_missing": "The current of a good battery falls as it fills.",
    "current_rising": "Thermal runaway means that the battery heats itself up, more and more.",
    "set_voltage": "Too many volts overheat a battery; too few never fill it.",
    "floor_current": "A little current is left when the battery is full.",
    "capacity": "Capacity is the charge that a full battery can give.",
    "capacity_check_overdue": "A capacity check runs the full battery down on a bench, by the "
    "clock.",
    "contradiction": "Two ways to tell the charge should give the same answer.",
    "undeclared_load_step": "A load is anything in the aircraft that draws current.",
    "load_unknown": "The bus load is what the aircraft itself draws, without the battery.",
    "taper_shape": "The readings should lie close to a smooth line.",
    "wall_circuit": "The supply draws its power from a wall circuit with a breaker.",
}
"""Half a sentence for what an owner may not know, by rule."""

TAPER_PICTURE = "The current, and what is normal"
CAPACITY_PICTURE = "Capacity over the years"
CAPTIONS = {
    "taper": "The marks are meter readings. The line through them is the taper, dashed where it is "
    "carried on.",
    "supply": "The grey area is current that does not go into the battery.",
    "normal": "The dash-dot line is normal for this battery: its own past taper, from the same "
    "charge.",
    "rough": "It is rough here, because the current is high.",
    "no_history": "No normal line is drawn: no earlier taper of this battery, watched to its end, "
    "is on file.",
    "no_taper": "No normal line is drawn: this kind of battery has no such taper.",
    "fade": "The line is the trend, dashed where it is carried on. The level line is the least "
    "that is asked.",
    "fade_usual": "The dashed line is what is usual for this kind of battery, not a trend of its "
    "own. The level line is the least that is asked.",
    "crossing": "In eight cases of ten the trend falls below it in the brown area.",
}
CHECKS_UNIT = {"year": "a year", "cycle": "a cycle"}
CAPACITY = {
    "told_one": "This sheet was made from one capacity check alone, and one alone shows no trend.",
    "told_none": "No capacity checks were given for this sheet.",
    "none": "No capacity checks are on file. One check a year would show the trend in time.",
    "no_trend": "The capacity checks on file show no trend: each was stopped early, or is not of "
    "this battery.",
    "what": "Capacity is the charge that a full battery can give, and it shrinks with age.",
    "bend": "Lately it falls faster than before.",
    "next": "Next capacity check: {on}.",
    "due": "The next capacity check has been due since {on}.",
}
"""What is said of capacity: told ones where no record was asked."""

MEASURED_HEAD = ("What", "Best value", "{level:.0f} % range", "In plain words")
MEASURED_NOTE = (
    "A range of 90 % should hold the true value in nine cases of ten; with a sick battery it "
    "misses more often."
)
MEASURED = {
    "at_connection": ("Charge when joined", "100 % is full"),
    "now": ("Charge at the last reading", "100 % is full"),
    "to_return": ("Charge still to come", "Ah is current times hours"),
    "minutes": ("Time until full", "if the supply stays on"),
    "amplitude": ("Current when joined", "what the battery would take"),
    "temperature": ("Battery temperature", "among the readings"),
    "temperature_told": ("Battery temperature", "told, of battery or air"),
    "rest_voltage": ("Rest voltage", "with nothing joined to it"),
    "capacity": ("Capacity, measured", "check of {on}"),
    "trend": ("Capacity, by its trend", "on {on}"),
    "loss": ("Loss of capacity {per}", "of the capacity on its plate"),
    "loss_usual": ("Usual loss of capacity {per}", "of batteries of its kind"),
    "crossing": ("Below its limit from", "by its trend"),
    "drawn": ("Current drawn of the supply", "at the end of the readings"),
    "most": ("Most the supply can give", "{limited_by}"),
}
AS_READ, AS_TOLD = "as read", "as told"
CYCLE = "cycle {cycle}"
IN_AIRCRAFT = "{serial}, in {tail}"

MAKER = {
    "document": "The maker's limits come from: {document}.",
    "unnamed": "The maker's limits come from its instructions. Their title is not on file.",
    "none": "None of these limits is on file from the maker: all are generic, which means usual "
    "for this kind of battery.",
    "some": "Where it says generic, the maker's value is not on file and a usual one is used.",
}
MAKER_HEAD = ("Limit", "Value", "From")
FROM_CARD = "maker"
LIMIT_ROWS = (
    ("Least charge to top off in place", ("min_top_off_soc",)),
    ("Voltage of the supply, at 25 °C", ("charge_voltage_min_v", "charge_voltage_max_v")),
    ("Battery temperature", ("charge_temp_min_c", "charge_temp_max_c")),
    ("Most current into the battery", ("max_charge_current_a",)),
    ("Least capacity, share of its plate", ("min_capacity_fraction",)),
    ("Time between capacity checks", ("capacity_check_interval_days",)),
)

SIGN_LINES = (("Owner", "{owner}"), ("Licensed maintenance staff", ""))
SIGN_PARTS = ("Name", "Date", "Signature")

AND_MORE = " and more"
SUBSTITUTE = "\N{REPLACEMENT CHARACTER}"
LACKING = "The fonts of this sheet lack {letters}. Each is shown as {sign}: {codes}."
LETTERS = {1: "one letter", 2: "{count} letters"}
MOST_CODES = 6
NOT_CLAIMED = "This file has tags for screen readers, but it may not meet all of their standard."
INVENTED = "Invented demo data: nothing on this sheet was measured."
LATER_CHECKS = "Later capacity checks are on record; this sheet speaks of its own day."
FAULTY_CELL = (
    "Servicing found a bad cell on {on}. Whether it was put right is not on record, and was not "
    "checked."
)
CHANGED = (
    "The record has changed since this connection was assessed. Then the answer was: {before}."
)


def plural(words: dict[int, str], count: int) -> str:
    """The words for one, or those for more with the count filled in.

    Parameters
    ----------
    words : dict of int to str
        Under 1 the words for one; under 2 those for any other count, with ``{count}`` in them.
    count : int

    Returns
    -------
    str
    """
    return words[1] if count == 1 else words[2].format(count=count)
