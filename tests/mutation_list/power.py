"""What the ground power budget rests on: margins, limits of supplies, and who must run."""

from __future__ import annotations

from tests.mutation_list.mutation import changes_in

BUDGET = (
    *changes_in(
        "budget",
        (
            "unstated spread of a load",
            "demand",
            "declared(consumer.continuous_a, consumer.continuous_sd_a, consumer.readings)",
            "declared(consumer.continuous_a, 0.1 * consumer.continuous_a, consumer.readings)",
        ),
        (
            "all of its time in a row",
            "demand",
            "return min(consumer.duty * longest, 1.0)",
            "return consumer.duty",
        ),
        ("spread of duty", "demand", "DUTY_REL_SD = 0.20\n", "DUTY_REL_SD = 0.05\n"),
        ("longest wait", "fit", "LONGEST_WAIT_MINUTES = 6 * 60\n", "LONGEST_WAIT_MINUTES = 700\n"),
    ),
    *changes_in(
        "budget",
        ("error of a measured mean", "demand", "if consumer.readings else", "if False else"),
        tests=("tests/budget/test_demand.py",),
    ),
    *changes_in(
        "budget",
        (
            "a standard's voltage taken for the aircraft's",
            "findings",
            "sure = told and not limit.generic",
            "sure = told",
        ),
        (
            "highest bus voltage to confirm",
            "findings",
            "if limit.generic]",
            'if limit.generic and words == "at least"]',
        ),
        tests=("tests/budget/test_findings.py",),
    ),
    *changes_in(
        "budget",
        (
            "a taper where there is none",
            "battery",
            "taper.time_constant_s if tapers else None",
            "taper.time_constant_s",
        ),
        tests=("tests/budget/test_battery.py",),
    ),
    *changes_in(
        "budget",
        ("load held below its limit", "selection", "HELD = 0.95\n", "HELD = 0.90\n"),
        (
            "least important left off first",
            "selection",
            "2.0 ** np.arange(len(places) - 1, -1, -1)",
            "2.0 ** np.arange(len(places))",
        ),
        tests=("tests/budget/test_selection.py",),
    ),
    *changes_in(
        "budget",
        ("what is left once the taper is over", "fit", "told.battery.settled())", "told.battery)"),
        ("what the manual keeps on", "case", "if not consumer.may_switch_off:", "if False:"),
        tests=("tests/budget/test_plan.py",),
    ),
    *changes_in(
        "budget",
        ("last readings of the draw", "battery", "LAST_READINGS = 3\n", "LAST_READINGS = 1\n"),
        (
            "no less than the meter shows",
            "battery",
            "above_a = max(seen_a - mean_a, 0.0)",
            "above_a = 0.0",
        ),
        tests=("tests/budget/test_battery.py",),
    ),
    *changes_in(
        "budget",
        (
            "battery that must come off",
            "findings",
            "    battery_outcome,\n    output",
            "    output",
        ),
        ("voltage nobody can hold", "findings", "is Verdict.TOO_MUCH:", "is None:"),
        tests=("tests/budget/test_findings.py",),
    ),
)

STARTS = (
    *changes_in(
        "budget",
        (
            "reserve nobody stated",
            "alone",
            "UNSTATED_RESERVE = 0.60\n",
            "UNSTATED_RESERVE = 0.50\n",
        ),
        ("voltage under what is on at once", "alone", "rel_sd, load.at_once_a)", "rel_sd)"),
        tests=("tests/budget/test_alone.py",),
    ),
    *changes_in(
        "budget",
        (
            "limit of a warm supply",
            "starts",
            "limit_a=able.own_a",
            "limit_a=supply.rated_current_a",
        ),
        ("others while a motor starts", "starts", "if one is not motor)", "if True)"),
        (
            "battery that may not cover",
            "starts",
            " or now.must_come_off:",
            ":",
        ),
        tests=("tests/budget/test_starts.py",),
    ),
    *changes_in(
        "budget",
        (
            "step of two consumers",
            "learned",
            "or not all(_is_named(one.name, longest.name)",
            "or not all(True",
        ),
        ("step of nothing", "learned", "TEACHING_SIGMAS = 3.0\n", "TEACHING_SIGMAS = 0.0\n"),
        tests=("tests/budget/test_learned.py",),
    ),
    *changes_in(
        "budget",
        ("battery under watch", "start_findings", "is not Outcome.KEEP_WATCHING", "is not None"),
        (
            "what a consumer drew is counted",
            "learned",
            "max(after.mean_a, more.seen_a)",
            "after.mean_a",
        ),
        ("draws more for sure", "learned", "MORE = 0.95\n", "MORE = 0.5\n"),
        tests=("tests/budget/test_start_findings.py",),
    ),
)

SUPPLIES = (
    *changes_in(
        "reference",
        ("three hours", "supply", "LONG_LOAD_MINUTES = 180.0\n", "LONG_LOAD_MINUTES = 240.0\n"),
        ("guessed input current", "supply", "REL_SD = 0.10\n", "REL_SD = 0.05\n"),
        ("spread of a cable", "wiring", "CABLE_REL_SD = 0.05\n", "CABLE_REL_SD = 0.02\n"),
        tests=("tests/budget/test_boundaries.py",),
    ),
    *changes_in(
        "reference",
        ("contacts of a cable", "wiring", "CONTACTS_OHM = 0.002\n", "CONTACTS_OHM = 0.001\n"),
        ("out and return", "wiring", "2.0 * cable.length_m", "cable.length_m"),
        tests=("tests/reference/test_wiring.py",),
    ),
    *changes_in(
        "basis",
        ("panel ammeter", "meters", "AMMETER_SD_A = 1.0\n", "AMMETER_SD_A = 0.5\n"),
        tests=("tests/budget/test_boundaries.py",),
    ),
)

ON_RECORD = (
    *changes_in(
        "say",
        ("old reading", "ground_power", "timedelta(minutes=10)", "timedelta(minutes=11)"),
        (
            "connections of a later day",
            "battery_seen",
            "if connection.record.day <= now.date()",
            "if True",
        ),
        tests=("tests/say/test_ground_power.py",),
    ),
    *changes_in(
        "store",
        (
            "steps that a plan counts",
            "learned_loads",
            "entry.record.day <= told.on",
            "entry.record.day < told.on",
        ),
        ("looked at beforehand", "learned_loads", "if entry.id == but else", "if False else"),
        tests=("tests/store/test_learned_loads.py",),
    ),
    *changes_in(
        "store",
        ("plan of the day", "power", "LoadPlan, aircraft_id=aircraft.id), on)", "LoadPlan), on)"),
        (
            "first answer stays",
            "power",
            'record_from(told, LoadConfiguration, "configuration"), "answer"',
            'record_from(told, LoadConfiguration, "configuration")',
        ),
        ("reason for other figures", "power", 'if not (reason or "").strip():', "if False:"),
        tests=("tests/store/test_power.py",),
    ),
    *changes_in(
        "store",
        ("choices of two tasks", "once", '("aircraft_id", "name")', '("aircraft_id",)'),
        tests=("tests/store/test_once.py",),
    ),
)

ALL = (*BUDGET, *STARTS, *SUPPLIES, *ON_RECORD)
