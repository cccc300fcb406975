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
        ("start held against circuit", "start_findings", "SURGE_S = 1.0\n", "SURGE_S = 1.1\n"),
        ("a start that fails is read", "buts", "is_held(found[1])", "True"),
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
            "if day < told_on or (day == told_on",
            "if day <= told_on or (day == told_on",
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


ENTERED = (
    *changes_in(
        "inputs",
        ("same current", "load_edits", "SAME_A = 0.005\n", "SAME_A = 0.01\n"),
        (
            "a name that looks alike",
            "load_edits",
            "alike(name) not in others",
            "name not in others",
        ),
        (
            "a consumer's place in its tasks",
            "load_edits",
            "if is_in and was in names:",
            "if False:",
        ),
        (
            "a consumer that a task names",
            "load_edits",
            "if gone.name in (*task.needs, *task.wants)]",
            "if gone.name in task.needs]",
        ),
        tests=("tests/inputs/test_load_edits.py",),
    ),
    *changes_in(
        "store",
        (
            "what was taught since goes into the next plan",
            "learned_loads",
            "taught[one.name] if one.readings else one",
            "one",
        ),
        (
            "a told current goes on learning",
            "learned_loads",
            "taught[one.name] if one.readings else one",
            "taught[one.name]",
        ),
        (
            "a change of nothing",
            "learned_loads",
            "if in_force is not None and altered == before:",
            "if False:",
        ),
        tests=("tests/store/test_learned_loads.py",),
    ),
    *changes_in(
        "say",
        ("answer that was overtaken", "battery_since", "if not newer:", "if True:"),
        (
            "under watch once overtaken",
            "battery_since",
            "then.outcome if stays else Outcome.KEEP_WATCHING",
            "then.outcome",
        ),
        (
            "check stopped early",
            "battery_since",
            "if of_day is None:",
            "if of_day is None or told.is_lower_bound:",
        ),
        ("newer up to the day", "battery_since", "or day) <= day", "or day) <= date.max"),
        (
            "charge after a check",
            "battery_since",
            "        state_of_charge=None,\n",
            "",
        ),
        (
            "later day of one in progress",
            "battery_seen",
            "return day > connection.day",
            "return True",
        ),
        (
            "written later",
            "battery_seen",
            "other.order > entry.order",
            "other.order != entry.order",
        ),
        (
            "a told charge lifts nothing",
            "battery_since",
            "stays = then.must_come_off and not lifted",
            "stays = False",
        ),
        (
            "a faulty cell before is named",
            "battery_since",
            "if looked_at and _is_faulty(looked_at[-1])",
            "if False",
        ),
        (
            "worse news of the same day",
            "battery_seen",
            "return recorded_at > connection.started_at and",
            "return False and",
        ),
        (
            "begun later the same day",
            "battery_seen",
            "return began > connection.started_at",
            "return False",
        ),
        tests=("tests/say/test_battery_since.py",),
    ),
    *changes_in(
        "say",
        (
            "a plan up to the day",
            "ground_power",
            "loads_in_force(store, tail, now.date())",
            "loads_in_force(store, tail)",
        ),
        (
            "steps that are looked at",
            "ground_power",
            "learned_loads(store, in_force, but=but)",
            "learned_loads(store, in_force)",
        ),
        ("day of the budget", "ground_power", '"on": now.date(), **basis.told', "**basis.told"),
        ("supply of the readings", "ground_power", "seen.supply,", "None,"),
        ("temperature of the battery", "ground_power", "seen.temp_c,", "None,"),
        (
            "serviced since",
            "ground_power",
            "seen.now.must_come_off and not is_today",
            "seen.now.must_come_off",
        ),
        ("loads of another aircraft", "ground_power", "alike(loads.tail) != alike(tail)", "False"),
        (
            "temperature of its own day",
            "battery_seen",
            "told.ambient_c) if is_today else None",
            "told.ambient_c)",
        ),
        (
            "readings of another aircraft",
            "battery_seen",
            "readings if is_here else None",
            "readings",
        ),
        (
            "the battery as it was then",
            "battery_seen",
            "before=told.started_at, again=entry.id",
            "before=told.started_at",
        ),
        tests=("tests/say/test_ground_power.py", "tests/commands/test_budget.py"),
    ),
    *changes_in(
        "store",
        ("supplies alike", "power", "alike(supply.name) == alike(name)", "supply.name == name"),
        (
            "a supply told twice",
            "power",
            "alike(entry.record.name) == alike(supply.name)",
            "entry.record.name == supply.name",
        ),
        ("a reason of spaces", "power", '(reason or "").strip()', "reason"),
        (
            "loads of another tail",
            "power",
            "alike(loads.tail) != alike(aircraft",
            "False and (aircraft",
        ),
        ("days ahead", "power", ".days > 1:", ".days > 2:"),
        ("configuration of a day", "power", "if entry.record.on is not None)", "if True)"),
        ("what runs is kept", "power", "if line.runs]", "]"),
        ("peak that is kept", "power", "max(line.starting_a or 0.0, steady_a)", "steady_a"),
        (
            "first writing of an answer",
            "power",
            '"configuration"), "answer")',
            '"configuration"))',
        ),
        ("aircraft with a plan first", "power", "(not item[1], item[0])", "item[0]"),
        tests=("tests/store/test_power.py",),
    ),
    *changes_in(
        "budget",
        ("long start", "start_findings", "LONG_START_S = 10.0\n", "LONG_START_S = 9.0\n"),
        (
            "cover of a long start",
            "start_findings",
            "is_held(one.with_battery) and not is_long(one)",
            "is_held(one.with_battery)",
        ),
        tests=("tests/budget/test_start_findings.py",),
    ),
    *changes_in(
        "budget",
        ("cable's marking", "capability", "_cable_rating(supply),\n", ""),
        ("load in the cable", "findings", "load.high <= carried_a", "load.mean <= carried_a"),
        tests=("tests/budget/test_findings.py",),
    ),
    *changes_in(
        "budget",
        ("error steps share", "learning", "max(spread_a, common_a, LEAST", "max(spread_a, LEAST"),
        ("steps that share count", "learning", "if common_a == 0.0:", "if True:"),
        ("shared error of more", "learning", " + common_sd_a**2)", ")"),
        tests=("tests/budget/test_learning.py",),
    ),
    *changes_in(
        "store",
        (
            "source of a kept configuration",
            "learned_loads",
            "while plans and _source_of(plans[-1]) != (chosen.document, chosen.said_by):",
            "while False:",
        ),
        (
            "plans after a kept configuration",
            "learned_loads",
            "if e.record.on <= chosen.said_on)",
            "if True)",
        ),
        tests=("tests/say/test_ground_power.py",),
    ),
    *changes_in(
        "say",
        ("altered since", "ground_power", "said_first < on", "said_first <= on"),
        tests=("tests/say/test_ground_power.py",),
    ),
    *changes_in(
        "reference",
        ("same area", "wiring", "SAME_AREA = 0.99\n", "SAME_AREA = 0.97\n"),
        ("wire table", "wiring", "    4: 80.0,\n", "    4: 90.0,\n"),
        tests=("tests/reference/test_wiring.py",),
    ),
)

ALL = (*BUDGET, *STARTS, *SUPPLIES, *ON_RECORD, *ENTERED)
