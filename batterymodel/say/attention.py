"""The batteries on record by how much they need attention, made ready to be shown."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from batterymodel.basis.calendar import days_words
from batterymodel.basis.text import one_line
from batterymodel.charts.sparkline import sparkline_svg, sparkline_words
from batterymodel.inputs.records import Battery
from batterymodel.reference.limits import Limit, limit_for
from batterymodel.rules.battery_rules import capacity_severity
from batterymodel.rules.results import OUTCOME_OF_SEVERITY, SEVERITY_ORDER, Outcome, Severity
from batterymodel.rules.wording import GENERIC_MARK, OUTCOME_SIGNS, SEVERITY_SIGNS
from batterymodel.say.battery_since import faulty_before
from batterymodel.say.record import SERVICING_WORDS, outcome_words
from batterymodel.store import Entry, Store
from batterymodel.store.as_of import latest
from batterymodel.store.records import BenchCheck, Connection, Servicing, ServicingFound
from batterymodel.store.told_twice import each_once

SEVERITY_OF_OUTCOME = {outcome: severity for severity, outcome in OUTCOME_OF_SEVERITY.items()} | {
    Outcome.TOP_OFF: Severity.OK
}
NO_CONNECTION = "No connection on record"
AT_LAST_CHECK = " at the last check"
NO_CHECK = "No capacity check on record"
SERVICED, FAULTY_CELL = "Serviced since", "Servicing found a faulty cell"
NO_REPAIR = "whether it was repaired is not on record"
FAULTY_CELL_BEFORE = "servicing found a faulty cell on {day}, " + NO_REPAIR


@dataclass(frozen=True)
class Remark:
    """One thing to know of a battery: how grave it is, its sign, and its words.

    ``word`` is what stands out, ``more`` what follows it.
    """

    severity: Severity
    sign: str
    word: str
    more: str = ""


@dataclass(frozen=True)
class Trend:
    """Capacity from check to check as a small picture (SVG), and in words."""

    svg: str
    words: str


@dataclass(frozen=True)
class AttentionRow:
    """One battery of the list.

    ``capacity_share`` is that of the last check, over rated capacity; None without one.
    ``overdue_days`` is 0 where no check is overdue, ``trend`` None with fewer than two checks.
    """

    serial: str
    aircraft: str | None
    invented: bool
    outcome: Remark
    capacity: Remark
    check: Remark | None
    capacity_share: float | None
    overdue_days: int
    trend: Trend | None

    @property
    def remarks(self) -> tuple[Remark, ...]:
        """Outcome, capacity, and the check where it asks for attention."""
        return (self.outcome, self.capacity, *((self.check,) if self.check else ()))

    @property
    def worst(self) -> Severity:
        """The gravest of its remarks."""
        return max((r.severity for r in self.remarks), key=SEVERITY_ORDER.index)

    @property
    def label(self) -> str:
        """Serial and where the battery is, in one line."""
        where = f"in {self.aircraft}" if self.aircraft else "off aircraft"
        return f"{self.serial}, {where}{', invented' * self.invented}"


def attention_row(store: Store, serial: str, today: date) -> AttentionRow:
    """What is to know of one battery, from its record as it stands.

    Parameters
    ----------
    store : Store
    serial : str
    today : date
        Day by which a check is overdue.

    Returns
    -------
    AttentionRow

    Raises
    ------
    InputError
        No such battery.
    StoreError
        The record cannot be read.
    """
    with store.reading():
        plate, aircraft = store.plate(serial), store.aircraft_of(serial)
        battery = store.battery(serial)
        last = latest(store.entries(Connection, battery_id=plate.id), None)
        told = each_once(store.entries(BenchCheck, battery_id=plate.id))
    checks = [entry.record for entry in told]
    measured = [check for check in checks if not check.is_lower_bound]
    rated, check = battery.rated_capacity_ah, battery.capacity_check
    overdue = _overdue_days(battery, today)
    return AttentionRow(
        serial=serial,
        aircraft=aircraft.record.tail if aircraft else None,
        invented=plate.record.invented,
        outcome=since_servicing(
            store, plate.id, last, outcome_remark(last.record if last else None)
        ),
        capacity=capacity_remark(battery, checks, is_overdue=overdue > 0),
        check=_overdue_remark(battery, overdue) if overdue else None,
        capacity_share=check.capacity_ah / rated if check else None,
        overdue_days=overdue,
        trend=_trend(measured, rated, limit_for(battery, "min_capacity_fraction").value),
    )


def worst_first(rows: Iterable[AttentionRow]) -> list[AttentionRow]:
    """The rows in the order of their gravest remarks.

    Where these are alike, the next gravest decide, then the days a check is overdue, then the lower
    capacity, then the serial.

    Parameters
    ----------
    rows : iterable of AttentionRow

    Returns
    -------
    list of AttentionRow
    """

    def order(row: AttentionRow) -> tuple[object, ...]:
        ranks = sorted(-SEVERITY_ORDER.index(r.severity) for r in row.remarks)
        share = 1.0 if row.capacity_share is None else row.capacity_share
        return [*ranks, 0][:3], -row.overdue_days, share, row.serial

    return sorted(rows, key=order)


def worst_of(remarks: Iterable[Remark]) -> int:
    """Place of the gravest of some remarks in an order that begins with the gravest of all.

    Parameters
    ----------
    remarks : iterable of Remark
        At least one.

    Returns
    -------
    int
    """
    return min(-SEVERITY_ORDER.index(remark.severity) for remark in remarks)


def matching(rows: Iterable[AttentionRow], wanted: str) -> list[AttentionRow]:
    """The rows whose serial or aircraft holds every word that is looked for.

    Parameters
    ----------
    rows : iterable of AttentionRow
    wanted : str
        Capitals and small letters are alike, and invisible characters do not count; nothing
        finds all.

    Returns
    -------
    list of AttentionRow
        In the order they came in.
    """
    words = one_line(wanted).casefold().split()
    return [row for row in rows if all(word in row.label.casefold() for word in words)]


def outcome_remark(connection: Connection | None) -> Remark:
    """The outcome of the last connection.

    Parameters
    ----------
    connection : Connection or None

    Returns
    -------
    Remark
        One that was not assessed, or not by what is told of it now, is to be watched at least.
    """
    if connection is None:
        return Remark(Severity.OK, "–", NO_CONNECTION)
    result, on = connection.result, f"on {connection.day}"
    words = outcome_words(connection)
    outcome = None if result is None else Outcome(result["outcome"])
    if outcome is None or (outcome is Outcome.TOP_OFF and connection.not_assessed is not None):
        sign = SEVERITY_SIGNS[Severity.WATCH]
        return Remark(Severity.WATCH, sign, words[0].upper() + words[1:], on)
    return Remark(SEVERITY_OF_OUTCOME[outcome], OUTCOME_SIGNS[outcome], words, on)


def reasoned_outcome_remark(connection: Connection | None) -> Remark:
    """The outcome of the last connection with the reason it was given.

    Parameters
    ----------
    connection : Connection or None

    Returns
    -------
    Remark
        As `outcome_remark` has it where none was assessed.
    """
    remark = outcome_remark(connection)
    result = None if connection is None else connection.result
    reason = "" if result is None else result.get("headline", "").partition(": ")[2]
    return replace(remark, more=f"{remark.more}: {reason}") if reason else remark


def since_servicing(
    store: Store, battery_id: str, last: Entry[Connection] | None, remark: Remark
) -> Remark:
    """The remark on the last connection, or what servicing found after it.

    Parameters
    ----------
    store : Store
    battery_id : str
    last : Entry of Connection or None
    remark : Remark
        On that connection.

    Returns
    -------
    Remark
        The same where nothing was found since, or nothing was wrong before and since. A faulty
        cell that was found before, and no better since, is said beside it, and leaves it to be
        watched at least.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    found = latest(store.entries(Servicing, battery_id=battery_id), None)
    if found is None:
        return remark
    if last is not None and last.order > found.order:
        faulty_on = faulty_before(store, store.entry(battery_id), date.max)
        return _beside_faulty_cell(remark, faulty_on)
    on = f"on {found.record.on}"
    if found.record.found is ServicingFound.FAULTY_CELL:
        return _remark(Severity.SERVICE, FAULTY_CELL, f"{on}; {NO_REPAIR}")
    if remark.severity is Severity.OK:
        return remark
    before = f"{remark.word} {remark.more}"
    words = SERVICING_WORDS[found.record.found]
    return _remark(Severity.NOTE, SERVICED, f"{on}: {words}; before: {before}")


def _beside_faulty_cell(remark: Remark, found_on: date | None) -> Remark:
    if found_on is None:
        return remark
    said = replace(remark, more=f"{remark.more}; {FAULTY_CELL_BEFORE.format(day=found_on)}")
    if SEVERITY_ORDER.index(remark.severity) >= SEVERITY_ORDER.index(Severity.WATCH):
        return said
    return replace(said, severity=Severity.WATCH, sign=SEVERITY_SIGNS[Severity.WATCH])


def capacity_remark(
    battery: Battery, checks: list[BenchCheck], *, is_overdue: bool = False
) -> Remark:
    """The last capacity check against the least share of rated capacity.

    Parameters
    ----------
    battery : Battery
        Its `capacity_check` is the last one that ran to the end voltage.
    checks : list of BenchCheck
        All on record, in order of their day.
    is_overdue : bool
        Whether the next check is overdue: then the present capacity is not known to be fine.

    Returns
    -------
    Remark
        As grave as `capacity_severity` has it; a note where the check is overdue or
        nothing was measured.
    """
    limit, rated = limit_for(battery, "min_capacity_fraction"), battery.rated_capacity_ah
    against = f"of rated, limit {100 * limit.value:.0f} %{_generic(limit)}"
    check = battery.capacity_check
    if check is None and checks:
        share = checks[-1].capacity_ah / rated
        words = f"Capacity at least {100 * share:.0f} %"
        return _remark(Severity.NOTE, words, f"{against}; stopped early")
    if check is None:
        return _remark(Severity.NOTE, NO_CHECK)
    share = check.capacity_ah / rated
    severity = capacity_severity(share, check.sd_ah / rated, limit.value)
    words = f"Capacity {100 * share:.0f} %"
    if is_overdue and severity is Severity.OK:
        return _remark(
            Severity.NOTE, words, against.replace("of rated", "of rated" + AT_LAST_CHECK)
        )
    return _remark(severity, words, against)


def _overdue_days(battery: Battery, today: date) -> int:
    if battery.capacity_check is None:
        return 0
    interval = limit_for(battery, "capacity_check_interval_days").value
    return max((today - battery.capacity_check.on).days - round(interval), 0)


def _due_since(battery: Battery) -> date | None:
    """Last day on which the next check was in time; None without a check."""
    if battery.capacity_check is None:
        return None
    interval = limit_for(battery, "capacity_check_interval_days").value
    return battery.capacity_check.on + timedelta(days=round(interval))


def _overdue_remark(battery: Battery, days: int) -> Remark | None:
    limit, since = limit_for(battery, "capacity_check_interval_days"), _due_since(battery)
    if since is None:
        return None
    interval = GENERIC_MARK if limit.generic else "card's"
    more = f"since {since}, {days_words(days)}, by the {interval} interval"
    return _remark(Severity.NOTE, "Check overdue", more)


def _trend(checks: list[BenchCheck], rated_ah: float, least_share: float) -> Trend | None:
    if len(checks) < 2:
        return None
    days, shares = [c.on for c in checks], [c.capacity_ah / rated_ah for c in checks]
    return Trend(
        sparkline_svg(days, shares, least_share), sparkline_words(days, shares, least_share)
    )


def _generic(limit: Limit) -> str:
    return f" ({GENERIC_MARK})" * limit.generic


def _remark(severity: Severity, word: str, more: str = "") -> Remark:
    return Remark(severity, SEVERITY_SIGNS[severity], word, more)
