"""One task on one supply under judgement: everything a rule of the budget may look at."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from batterymodel.basis.intervals import Interval
from batterymodel.budget.battery import BatteryNow
from batterymodel.budget.endurance import Endurance
from batterymodel.budget.resistance import Resistance
from batterymodel.budget.results import (
    BusVoltage,
    Capability,
    Learned,
    Load,
    Part,
    Room,
    Settled,
    Start,
    Verdict,
)
from batterymodel.inputs.load_plan import AircraftLoads, Consumer, Task
from batterymodel.inputs.records import Battery, Readings, Supply


@dataclass(frozen=True)
class Told:
    """What was told: the aircraft's loads, the task, the supply, the battery's present draw.

    ``plate`` is the battery by its plate and record, ``readings`` those of a connection with load
    steps, taken on ``readings_supply`` where that was another one. ``battery_temp_c`` is the
    battery's temperature and ``supply_temp_c`` that of the air at the supply [degC]; None where
    nobody took it. ``told_after`` are consumers whose current was told after the readings.
    """

    loads: AircraftLoads
    task: Task
    supply: Supply
    battery: BatteryNow | None = None
    plate: Battery | None = None
    readings: Readings | None = None
    battery_temp_c: float | None = None
    supply_temp_c: float | None = None
    on: date | None = None
    readings_supply: Supply | None = None
    told_after: frozenset[str] = frozenset()

    @property
    def supply_read(self) -> Supply:
        """The supply on which the readings were taken."""
        return self.supply if self.readings_supply is None else self.readings_supply

    @property
    def day(self) -> date:
        """Day of the budget; today, where none is told: an old check would count as one of now."""
        return self.on or date.today()

    @property
    def parts(self) -> tuple[Part, ...]:
        """What each consumer is to the task, in the order of the aircraft's list."""
        return tuple(part_of(one, self.task) for one in self.loads.consumers)

    @property
    def wants(self) -> tuple[int, ...]:
        """Places of the wanted consumers that may be left off, the most important first."""
        places = {one.name: place for place, one in enumerate(self.loads.consumers)}
        return tuple(
            places[name] for name in self.task.wants if self.parts[places[name]] is Part.WANTED
        )


@dataclass(frozen=True)
class BudgetCase:
    """What was told, and what follows from it.

    ``runs`` says of each consumer whether it is on. ``room`` has the limits that apply, the
    tightest first; ``over_hours`` is the one for the mean over hours where it does not apply.
    """

    told: Told
    capability: Capability
    runs: tuple[bool, ...]
    load: Load
    room: tuple[Room, ...]
    over_hours: Room | None
    verdict: Verdict
    voltage: BusVoltage
    wait_minutes: Interval | None
    starts: tuple[Start, ...] = ()
    battery_ohm: Resistance | None = None
    on_battery: Endurance | None = None
    learned: tuple[Learned, ...] = ()
    settled: Settled | None = None

    @property
    def tightest(self) -> Room:
        """The limit that leaves the least."""
        return self.room[0]

    @property
    def total_a(self) -> Interval:
        """Everything that runs at once, battery included [A]."""
        return next(room.load_a for room in self.room if room.name in self.moment_names)

    @property
    def moment_names(self) -> frozenset[str]:
        """Names of the limits that hold for each moment."""
        return frozenset(limit.name for limit in self.capability.limits if not limit.over_hours)

    def names(self, *parts: Part, runs: bool) -> tuple[str, ...]:
        """Consumers that are one of these to the task, and run or do not.

        Parameters
        ----------
        *parts : Part
        runs : bool

        Returns
        -------
        tuple of str
            In the order of the aircraft's list.
        """
        rows = zip(self.told.loads.consumers, self.told.parts, self.runs, strict=True)
        return tuple(one.name for one, part, on in rows if part in parts and on is runs)


def part_of(consumer: Consumer, task: Task) -> Part:
    """What a consumer is to a task.

    Parameters
    ----------
    consumer : Consumer
    task : Task

    Returns
    -------
    Part
    """
    if consumer.name in task.needs:
        return Part.NEEDED
    if not consumer.may_switch_off:
        return Part.STAYS_ON
    return Part.WANTED if consumer.name in task.wants else Part.NOT_IN_TASK
