"""What decides the outcome: rules, proof, steps, slips and rises."""

from __future__ import annotations

from tests.mutation_list.mutation import changes_in

RULES = changes_in(
    "rules",
    ("range over the limit", "battery_rules", "soc.high <= limit.value and", "True and"),
    ("well above", "battery_rules", "WELL_ABOVE_V = 0.3\n", "WELL_ABOVE_V = 0.1\n"),
    ("negligible volts", "case", "NEGLIGIBLE_V = 0.05\n", "NEGLIGIBLE_V = 0.2\n"),
    (
        "charge current less float current",
        "current_rules",
        'fit["hold_amplitude_a"] + fit["float_current_a"]',
        'fit["hold_amplitude_a"] - fit["float_current_a"]',
    ),
    (
        "charge current errors apart",
        "current_rules",
        "fit.covariance[np.ix_(names, names)].sum()",
        "fit.covariance[np.ix_(names, names)].trace()",
    ),
    (
        "generic maximum watched for ever",
        "current_rules",
        "elif limit.generic and _takes_less_by_now(case, limit.value):",
        "elif False:",
    ),
    (
        "load's error on the fallen current",
        "current_rules",
        ".mean()) + LEVEL_SD * error < most_a",
        ".mean()) < most_a",
    ),
    ("least room", "current_rules", "LEAST_ROOM_PER_AH = 0.5\n", "LEAST_ROOM_PER_AH = 0.36\n"),
    (
        "minutes at the limit",
        "current_rules",
        "CURRENT_LIMITED_MINUTES = 3.0\n",
        "CURRENT_LIMITED_MINUTES = 4.0\n",
    ),
    ("flat current falls less", "proof_rules", "FALLS_TO = 0.4\n", "FALLS_TO = 0.45\n"),
    ("sure", "battery_rules", "SURE = 0.95\n", "SURE = 0.9\n"),
    ("sure to top off", "battery_rules", "SURE_TO_TOP_OFF = 0.99\n", "SURE_TO_TOP_OFF = 0.95\n"),
    ("least window", "current_rules", "LEAST_WINDOW_S = 120.0\n", "LEAST_WINDOW_S = 60.0\n"),
    ("least scatter", "case", "LEAST_SCATTER_A = 0.5\n", "LEAST_SCATTER_A = 2.0\n"),
    ("least support", "current_rules", "LEAST_SUPPORT = 0.1\n", "LEAST_SUPPORT = 0.01\n"),
    ("least apart", "current_rules", "LEAST_APART = 0.12\n", "LEAST_APART = 0.2\n"),
    ("load off by three errors", "current_rules", "\nLOAD_SDS = 3.0\n", "\nLOAD_SDS = 6.0\n"),
    ("half the slowest taper", "current_rules", "MISSING_SHARE = 0.5\n", "MISSING_SHARE = -0.5\n"),
    (
        "capacity on its interval",
        "battery_rules",
        "if share < least_share:",
        "if share + LEVEL_SD * sd < least_share:",
    ),
)

EVENTS = (
    *changes_in(
        "taper",
        ("many events", "load_steps", "EVENT_SHARE = 1.0 / 3.0\n", "EVENT_SHARE = 1.0 / 2.0\n"),
        ("marked errors", "load_steps", "\nMARKED_SIGMAS = 6.0\n", "\nMARKED_SIGMAS = 7.5\n"),
        (
            "marked marks",
            "load_steps",
            "\nMARKED_METER_STEPS = 1.5\n",
            "\nMARKED_METER_STEPS = 1.0\n",
        ),
        ("marked ramp", "load_steps", "MARKED_OVER_SLOPE = 0.75\n", "MARKED_OVER_SLOPE = 0.6\n"),
        tests=("tests/taper/test_load_steps.py",),
    ),
    *changes_in(
        "taper",
        ("slip band", "slips", "SLIP_BAND = 0.12\n", "SLIP_BAND = 0.3\n"),
        ("neighbours apart", "slips", "MOST_APART = 1.5\n", "MOST_APART = 2.0\n"),
        ("lone temperature", "slips", "LONE_C, SETTLED_C = 10.0", "LONE_C, SETTLED_C = 15.0"),
        ("running supply", "slips", "LEAST_RUNNING_A = 2.0\n", "LEAST_RUNNING_A = 4.0\n"),
        ("nothing flows", "slips", "\nOFF_SHARE = 0.05\n", "\nOFF_SHARE = 0.1\n"),
        ("voltage gone", "slips", "OFF_VOLTAGE_SHARE = 0.5\n", "OFF_VOLTAGE_SHARE = 0.7\n"),
        ("typed over the limit", "slips", "OVER_LIMIT = 1.1\n", "OVER_LIMIT = 1.2\n"),
        ("typed beside a meter", "slips", "\nMETER_A = 2.0\n", "\nMETER_A = 1.0\n"),
        ("typed ratio", "slips", "MOST_SWITCHED_RATIO = 3.0,", "MOST_SWITCHED_RATIO = 4.0,"),
        ("typed across a switch", "slips", "_RATIO = 3.0, 8.0\n", "_RATIO = 3.0, 9.0\n"),
        ("typed after a while", "slips", "FASTEST_FALL_S = 600.0\n", "FASTEST_FALL_S = 300.0\n"),
        ("typed volts", "slips", "MOST_VOLTS_RATIO = 1.15\n", "MOST_VOLTS_RATIO = 1.2\n"),
        ("typed below empty", "slips", "ABOVE_FULL = 0.9, 1.05\n", "ABOVE_FULL = 0.95, 1.05\n"),
        ("typed above full", "slips", "ABOVE_FULL = 0.9, 1.05\n", "ABOVE_FULL = 0.9, 1.1\n"),
        (
            "typed charging volts",
            "slips",
            "OVER_CHARGE_VOLTAGE = 1.1\n",
            "OVER_CHARGE_VOLTAGE = 1.2\n",
        ),
        ("typed heat", "slips", "USUAL_C = -40.0, 60.0\n", "USUAL_C = -40.0, 70.0\n"),
        ("clamp in half the rows", "signals", "CLAMP_SHARE = 0.5\n", "CLAMP_SHARE = 0.2\n"),
        ("clamp to the end", "signals", "END_SHARE = 0.1\n", "END_SHARE = 0.2\n"),
        tests=("tests/taper/test_slips.py",),
    ),
    *changes_in(
        "rules",
        ("load drift", "current_rules", "LOAD_DRIFT_A = 3.5\n", "LOAD_DRIFT_A = 3.0\n"),
        ("warm drift", "current_rules", "WARM_DRIFT_A = 2.0\n", "WARM_DRIFT_A = 1.5\n"),
        ("hurts", "current_rules", "VRLA: 0.025", "VRLA: 0.05"),
        ("voltage explains", "current_rules", "PER_V_H = 2.0\n", "PER_V_H = 4.0\n"),
        ("last digit", "current_rules", "LEAST_GAIN_V = 0.15\n", "LEAST_GAIN_V = 0.05\n"),
        ("warm and excused", "current_rules", " and not _is_warm(case)", ""),
        ("moved clamp", "current_rules", "LEAST_JUMP_A = 6.0, 1.0\n", "LEAST_JUMP_A = 6.0, 10.0\n"),
        ("one digit", "proof_rules", "FALL_METER_STEPS = 2.0\n", "FALL_METER_STEPS = 0.5\n"),
        ("start unseen", "readings_rules", "first_s > LATE_START_S", "first_s > 2 * LATE_START_S"),
        ("a minute", "battery_rules", "SUSTAINED_S = 60.0\n", "SUSTAINED_S = 30.0\n"),
        ("hottest of two", "battery_rules", "np.minimum(values[1:]", "np.maximum(values[1:]"),
        tests=("tests/rules/test_readings_rules.py",),
    ),
    *changes_in(
        "rules",
        (
            "a rise may wait",
            "next_observation",
            "return SHORTEST_WAIT_S if _rises(case) else",
            "return",
        ),
        (
            "a rise asks for volts",
            "next_observation",
            'return "clamp" if',
            'return "set_voltage" if',
        ),
        (
            "a rise of any size",
            "current_rules",
            "rose_a > _least_jump_a(fit)",
            "rose_a > 0.8 * _least_jump_a(fit)",
        ),
        (
            "charge before a rise",
            "findings",
            "    current_rising,\n    deep_discharge,\n",
            "    deep_discharge,\n    current_rising,\n",
        ),
        tests=("tests/rules/test_next_observation.py",),
    ),
    *changes_in(
        "taper",
        ("recent windows", "trends", "= (120.0, 300.0, 600.0)\n", "= ()\n"),
        ("sharpest jump", "trends", "float(levels[lowest]) - jump,", "float(levels[lowest]),"),
        ("a start of seconds", "trends", "(np.diff(t) <= SHARP_S).any()", "False"),
        ("no steady climb", "trends", "return steady\n", "return largest\n"),
        (
            "loads make a climb",
            "trends",
            "steepens = bool((np.diff(rises) > 0.0).all())",
            "steepens = True",
        ),
        (
            "load once read",
            "signals",
            "reads_battery=from_clamp or _load_read_to_the_end(readings)",
            "reads_battery=explained",
        ),
        (
            "rise before a trip only",
            "trends",
            "rows = since if since.sum() >= LEAST_RISE_READINGS else before",
            "rows = before",
        ),
        ("late limit", "supply_limit", "BELOW_LIMIT = 0.8\n", "BELOW_LIMIT = 0.1\n"),
        tests=("tests/rules/test_readings_rules.py",),
    ),
)

PROOF = (
    *changes_in(
        "rules",
        ("confirmed sooner", "battery_rules", "CONFIRMED = 0.95\n", "CONFIRMED = 0.9\n"),
        ("confirmed later", "battery_rules", "CONFIRMED = 0.95\n", "CONFIRMED = 0.98\n"),
        (
            "any chemistry confirms",
            "battery_rules",
            "if case.rest_voltage_v is None or case.battery.chemistry not in LEAD_ACID:",
            "if case.rest_voltage_v is None:",
        ),
        ("fall in errors", "proof_rules", "FALL_ERRORS = 3.0\n", "FALL_ERRORS = 0.5\n"),
        ("fall of current", "proof_rules", "FALL_OF_CURRENT = 0.05\n", "FALL_OF_CURRENT = 0.02\n"),
        ("larger fall", "proof_rules", "FALL_OF_CURRENT = 0.05\n", "FALL_OF_CURRENT = 0.15\n"),
        ("smallest plate", "proof_rules", "PLATE_AH = (4.0, 100.0)", "PLATE_AH = (3.0, 100.0)"),
        ("largest plate", "proof_rules", "PLATE_AH = (4.0, 100.0)", "PLATE_AH = (4.0, 120.0)"),
        ("low check", "proof_rules", "CHECK_CONFIRMS = (0.3, 1.5)", "CHECK_CONFIRMS = (0.2, 1.5)"),
        ("high check", "proof_rules", "CHECK_CONFIRMS = (0.3, 1.5)", "CHECK_CONFIRMS = (0.3, 1.6)"),
        (
            "slow taper excused",
            "proof_rules",
            'variant == "fast" and rest_voltage_confirms(case)',
            "rest_voltage_confirms(case)",
        ),
        ("edge of a mark", "proof_rules", "steps_a = SEEN_METER_STEPS", "steps_a = 0.5"),
        (
            "no taper held against one",
            "proof_rules",
            "        return None\n    conflict =",
            "        pass\n    conflict =",
        ),
        ("history left out unsaid", "proof_rules", "if case.unlike_history:", "if False:"),
        (
            "which way it is unlike",
            "proof_rules",
            'case.fit["log_time_constant"] > case.fit.belief',
            'case.fit["log_time_constant"] < case.fit.belief',
        ),
        tests=("tests/rules/test_proof_rules.py",),
    ),
    *changes_in(
        "taper",
        ("most conflict", "fit", "MOST_CONFLICT = 1.6\n", "MOST_CONFLICT = 1.7\n"),
        ("less conflict", "fit", "MOST_CONFLICT = 1.6\n", "MOST_CONFLICT = 1.5\n"),
        tests=("tests/rules/test_proof_rules.py", "tests/soc/test_learning.py"),
    ),
    *changes_in(
        "rules",
        ("chance of the rest voltage", "battery_rules", "chance=100 * below", "chance=100 * SURE"),
        ("seen to fall", "proof_rules", "FALL_ERRORS = 3.0\n", "FALL_ERRORS = 2.0\n"),
        ("hardly seen to fall", "proof_rules", "FALL_ERRORS = 3.0\n", "FALL_ERRORS = 4.0\n"),
        (
            "one step seen to fall",
            "proof_rules",
            "FALL_METER_STEPS = 2.0\n",
            "FALL_METER_STEPS = 1.0\n",
        ),
        ("three steps", "proof_rules", "FALL_METER_STEPS = 2.0\n", "FALL_METER_STEPS = 3.0\n"),
        ("ends compared", "proof_rules", "ENDS_COMPARED = 3\n", "ENDS_COMPARED = 1\n"),
        (
            "unsure current",
            "proof_rules",
            "elif below > 1.0 - SURE:",
            "elif below > 1.0 - SURE + 0.02:",
        ),
        (
            "unsure current too soon",
            "proof_rules",
            "elif below > 1.0 - SURE:",
            "elif below > 1.0 - SURE - 0.02:",
        ),
    ),
)

CASTS_DOUBT = (
    "unlike_any_taper, Severity.NOTE",
    "taper_shape, Severity.WATCH",
    "contradiction, Severity.WATCH",
    "clamp, Severity.WATCH",
    "rated_capacity, Severity.WATCH",
    "current_rising, Severity.DISCONNECT",
    "battery_temperature, Severity.DISCONNECT",
)

DOUBTS = (
    *changes_in(
        "rules",
        ("little doubt", "doubts", "DOUBT = 0.15\n", "DOUBT = 0.06\n"),
        (
            "watched temperatures cast doubt",
            "doubts",
            "(battery_temperature, Severity.DISCONNECT)",
            "(battery_temperature, Severity.WATCH)",
        ),
        *(
            (f"no doubt by {rule.split(',')[0]}", "doubts", f"    ({rule}),\n", "")
            for rule in CASTS_DOUBT
        ),
        tests=("tests/rules/test_doubts.py",),
    ),
    *changes_in(
        "soc",
        (
            "agreement takes no doubt",
            "combination",
            "left = min(blind / (blind + sighted), share)",
            "left = share",
        ),
        (
            "contradiction believes the other",
            "combination",
            "left = min(blind / (blind + sighted), share)",
            "left = blind / (blind + sighted)",
        ),
        tests=("tests/rules/test_doubts.py",),
    ),
)

SENTENCES = (
    *changes_in(
        "rules",
        ("most current", "current_rules", "current += LEVEL_SD * sd\n", "current += 0.0\n"),
        ("jump that stays", "current_rules", "STAYS_CHANGED = 0.5\n", "STAYS_CHANGED = 0.4\n"),
        (
            "jump that hardly stays",
            "current_rules",
            "STAYS_CHANGED = 0.5\n",
            "STAYS_CHANGED = 0.6\n",
        ),
        (
            "ends beside an unknown load",
            "proof_rules",
            "(load_given and _fell_between_ends(case))",
            "_fell_between_ends(case)",
        ),
        ("supply that gives the load", "readings_rules", "most_a > LEAST_RUNNING_A", "False"),
        ("step after the turn", "current_rules", "step.elapsed_s > case.rise.since_s", "False"),
        (
            "charge in doubt",
            "battery_rules",
            ">= most:\n        variant, chance",
            "> 9:\n        variant, chance",
        ),
        (
            "off from the first trip on",
            "readings_rules",
            "np.flatnonzero(np.diff(off) > 1) + 1)[-1][[0, -1]]",
            "np.flatnonzero(np.diff(off) > 99) + 1)[-1][[0, -1]]",
        ),
        (
            "asked for a rest voltage that was read",
            "battery_rules",
            "is_rested = case.rest_voltage_v is not None and",
            "is_rested = False and",
        ),
        (
            "rest that hardly anything explains",
            "battery_rules",
            "LEAST_EXPLAINED = 0.1\n",
            "LEAST_EXPLAINED = 0.01\n",
        ),
        (
            "rest that little explains",
            "battery_rules",
            "LEAST_EXPLAINED = 0.1\n",
            "LEAST_EXPLAINED = 0.4\n",
        ),
        (
            "sure of what nothing explains",
            "battery_rules",
            "    elif no_charge_explains_rest(case):\n        return None\n",
            "",
        ),
        tests=("tests/rules/test_sentences_agree.py",),
    ),
)

SHOWN = (
    *changes_in(
        "rules",
        ("time until full", "results", "watched & NEVER_FILLS", "False"),
        ("time outside its range", "results", "not told.low <= told.mean <= told.high", "False"),
        ("supply off first", "next_observation", "case.fit.signal.off[-1]", "False"),
        tests=("tests/rules/test_next_observation.py",),
    ),
    *changes_in(
        "sheet",
        ("fine unseen", "sections", "if name in UNSEEN}", "if False}"),
        ("fine but doubted", "sections", "DOUBTED_BY.get(f.rule, ())", "()"),
        tests=("tests/sheet/test_sections.py",),
    ),
)

ALL = (
    *SHOWN,
    *SENTENCES,
    *DOUBTS,
    *RULES,
    *EVENTS,
    *PROOF,
)
