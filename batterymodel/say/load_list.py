"""An aircraft's consumers and tasks as a list to read, one line each."""

from __future__ import annotations

from batterymodel.budget.wording import listed
from batterymodel.inputs.load_plan import AircraftLoads, Consumer, Task
from batterymodel.rules.wording import minutes_words

STARTS = "starts with {starting:g} A"
FOR_SECONDS = " for {seconds:g} s"
ON_FOR = "on for {duty:.3g} % of the task"
STAYS_ON = "stays on, by the manual"
LEARNED = "learned from load steps"
NEEDED, USEFUL = "needed for {tasks}", "useful for {tasks}"
NEEDS, WANTS, NOTHING = "must run: {names}", "useful: {names}", "nothing must run"


def consumer_words(consumer: Consumer, loads: AircraftLoads) -> str:
    """What was told of a consumer, and which tasks it runs for.

    Parameters
    ----------
    consumer : Consumer
    loads : AircraftLoads
        With the tasks.

    Returns
    -------
    str
        Without its name.
    """
    needed = [task.name for task in loads.tasks if consumer.name in task.needs]
    useful = [task.name for task in loads.tasks if consumer.name in task.wants]
    parts = [
        f"{round(consumer.continuous_a, 2):g} A",
        _start_words(consumer),
        ON_FOR.format(duty=100.0 * consumer.duty) if consumer.duty < 1.0 else "",
        "" if consumer.may_switch_off else STAYS_ON,
        NEEDED.format(tasks=listed(needed)) if needed else "",
        USEFUL.format(tasks=listed(useful)) if useful else "",
        LEARNED if consumer.readings else "",
        consumer.note or "",
    ]
    return "; ".join(filter(None, parts))


def _start_words(consumer: Consumer) -> str:
    if consumer.starting_a is None:
        return ""
    seconds = consumer.starting_s
    more = "" if seconds is None else FOR_SECONDS.format(seconds=seconds)
    return STARTS.format(starting=round(consumer.starting_a, 2)) + more


def task_words(task: Task) -> str:
    """How long a task takes, what must run for it, and what is useful.

    Parameters
    ----------
    task : Task

    Returns
    -------
    str
        Without its name.
    """
    parts = [
        minutes_words(task.minutes),
        NEEDS.format(names=listed(task.needs)) if task.needs else NOTHING,
        WANTS.format(names=listed(task.wants)) if task.wants else "",
    ]
    return "; ".join(filter(None, parts))
