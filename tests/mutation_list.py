"""Changes of deciding values that some test must notice; see `tests.mutations`."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Mutation:
    """One change of the code: file, text before and after, and the test files that notice."""

    name: str
    file: str
    before: str
    after: str
    tests: tuple[str, ...]


GATE = ("tests/test_accuracy_gate.py",)


def _in(
    folder: str, *changes: tuple[str, str, str, str], tests: tuple[str, ...] = ()
) -> tuple[Mutation, ...]:
    """Mutations of one package, noticed by its boundary tests where nothing else is said."""
    noticing = tests or (f"tests/{folder}/test_boundaries.py",)
    return tuple(
        Mutation(name, f"batterymodel/{folder}/{module}.py", before, after, noticing)
        for name, module, before, after in changes
    )


RULES = _in(
    "rules",
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

SOC = _in(
    "soc",
    ("loss per day", "evidence", "LOSS_PER_DAY = 0.01\n", "LOSS_PER_DAY = 0.1\n"),
    ("misleading", "evidence", "MISLEADING = 0.05\n", "MISLEADING = 0.0001\n"),
    (
        "surface charge",
        "evidence",
        "read = min(rest_voltage, float(expected[-1]))",
        "read = rest_voltage",
    ),
    (
        "charge left when done",
        "combination",
        "done_ah = (1.0 - NEARLY_FULL_SOC)",
        "done_ah = 2.5 * (1.0 - NEARLY_FULL_SOC)",
    ),
    ("complete fraction", "learning", "COMPLETE_FRACTION = 0.10\n", "COMPLETE_FRACTION = 0.30\n"),
    (
        "least learning depth",
        "learning",
        "LEAST_LEARNING_DEPTH = 0.03\n",
        "LEAST_LEARNING_DEPTH = 0.01\n",
    ),
    ("most learned sd", "learning", "MOST_LEARNED_SD = 0.3\n", "MOST_LEARNED_SD = 3.0\n"),
    (
        "drift",
        "learning",
        "DRIFT_PER_ROOT_YEAR = 0.10\n",
        "DRIFT_PER_ROOT_YEAR = 0.03\n",
    ),
)

REFERENCE = (
    *_in(
        "reference",
        (
            "row of the temperature table",
            "temperature",
            "[70, 1.040],",
            "[70, 1.061],",
        ),
        tests=("tests/reference/test_temperature_table.py",),
    ),
    *_in(
        "reference",
        ("card limit of zero", "limits", "if given is not None:", "if given:"),
        ("circuit over hours", "supply", "CIRCUIT_FRACTION = 0.80\n", "CIRCUIT_FRACTION = 0.90\n"),
        ("input factor", "supply", "INPUT_FACTOR = 0.80\n", "INPUT_FACTOR = 0.90\n"),
        (
            "circuit never above the plate",
            "supply",
            "return min(supply.rated_current_a, CONTINUOUS_CIRCUIT_FRACTION * circuit)",
            "return CONTINUOUS_CIRCUIT_FRACTION * circuit",
        ),
        (
            "lower of plate and circuit",
            "supply",
            "circuit < supply.rated_current_a:",
            "circuit < 0.9 * supply.rated_current_a:",
        ),
    ),
    *_in(
        "reference",
        ("shape spread", "chemistry", "shape_rel_sd=0.008,", "shape_rel_sd=0.001,"),
        ("efficiency", "chemistry", "efficiency=0.985,", "efficiency=0.90,"),
        tests=GATE,
    ),
    *_in(
        "reference",
        (
            "rest voltage of an empty battery",
            "chemistry",
            "LEAD_REST_SD_EMPTY_V = 0.024\n",
            "LEAD_REST_SD_EMPTY_V = 0.012\n",
        ),
        tests=("tests/soc/test_boundaries.py",),
    ),
    *_in(
        "reference",
        ("peukert deviation", "capacity", "DEVIATION_SD = 0.05\n", "DEVIATION_SD = 0.005\n"),
        ("timed error", "capacity", "TIMED_SD_S = 20.0\n", "TIMED_SD_S = 90.0\n"),
        ("unknown temperature", "capacity", "UNKNOWN_TEMP_SD_C = 8.0", "UNKNOWN_TEMP_SD_C = 4.0"),
        ("short test", "capacity", "SHORT_TEST_MINUTES = 60.0", "SHORT_TEST_MINUTES = 90.0"),
        tests=("tests/capacity/test_boundaries.py",),
    ),
)

TAPER = _in(
    "taper",
    (
        "end of the current limit",
        "posterior",
        "spread = variance + end_spread_a**2",
        "spread = variance + 0.0 * end_spread_a**2",
    ),
    ("limit band", "supply_limit", "LIMIT_BAND = 0.06\n", "LIMIT_BAND = 0.3\n"),
    ("ohmic share", "prior", "OHMIC_SHARE = 0.5\n", "OHMIC_SHARE = 0.8\n"),
    ("most slower", "prior", "MOST_SLOWER_LOG = 1.5\n", "MOST_SLOWER_LOG = 2.5\n"),
    (
        "share of the least reading",
        "signals",
        "UNKNOWN_SHARE_OF_LEAST = 0.5\n",
        "UNKNOWN_SHARE_OF_LEAST = 0.8\n",
    ),
    ("late start", "signals", "LATE_START_S = 900.0\n", "LATE_START_S = 1800.0\n"),
    ("rise in errors", "trends", "RISE_ERRORS = 4.0\n", "RISE_ERRORS = 1.0\n"),
    ("least rise", "trends", "LEAST_RISE_A = 0.3\n", "LEAST_RISE_A = 1.0\n"),
    ("rise of a level", "trends", "RISE_OF_CURRENT = 0.02\n", "RISE_OF_CURRENT = 0.1\n"),
    ("warming in errors", "trends", "WARMING_ERRORS = 3.0\n", "WARMING_ERRORS = 0.3\n"),
)

EVENTS = (
    *_in(
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
    *_in(
        "taper",
        ("slip band", "slips", "SLIP_BAND = 0.12\n", "SLIP_BAND = 0.3\n"),
        ("neighbours apart", "slips", "MOST_APART = 1.5\n", "MOST_APART = 2.0\n"),
        ("lone temperature", "slips", "LONE_C, SETTLED_C = 10.0", "LONE_C, SETTLED_C = 15.0"),
        ("running supply", "slips", "LEAST_RUNNING_A = 2.0\n", "LEAST_RUNNING_A = 4.0\n"),
        ("nothing flows", "slips", "\nOFF_SHARE = 0.05\n", "\nOFF_SHARE = 0.1\n"),
        ("voltage gone", "slips", "OFF_VOLTAGE_SHARE = 0.5\n", "OFF_VOLTAGE_SHARE = 0.7\n"),
        ("clamp in half the rows", "signals", "CLAMP_SHARE = 0.5\n", "CLAMP_SHARE = 0.2\n"),
        ("clamp to the end", "signals", "END_SHARE = 0.1\n", "END_SHARE = 0.2\n"),
        tests=("tests/taper/test_slips.py",),
    ),
    *_in(
        "rules",
        ("load drift", "current_rules", "LOAD_DRIFT_A = 3.5\n", "LOAD_DRIFT_A = 3.0\n"),
        ("warm drift", "current_rules", "WARM_DRIFT_A = 2.0\n", "WARM_DRIFT_A = 1.5\n"),
        ("hurts", "current_rules", "VRLA: 0.025", "VRLA: 0.05"),
        ("voltage explains", "current_rules", "PER_V_H = 2.0\n", "PER_V_H = 4.0\n"),
        ("last digit", "current_rules", "LEAST_GAIN_V = 0.15\n", "LEAST_GAIN_V = 0.05\n"),
        ("warm and excused", "current_rules", " and not _is_warm(case)", ""),
        ("moved clamp", "current_rules", "LEAST_JUMP_A = 6.0, 1.0\n", "LEAST_JUMP_A = 6.0, 10.0\n"),
        ("one digit", "proof_rules", "FALL_METER_STEPS = 2.0\n", "FALL_METER_STEPS = 0.5\n"),
        ("start unseen", "current_rules", "first_s > LATE_START_S", "first_s > 2 * LATE_START_S"),
        ("a minute", "battery_rules", "SUSTAINED_S = 60.0\n", "SUSTAINED_S = 30.0\n"),
        ("hottest of two", "battery_rules", "np.minimum(values[1:]", "np.maximum(values[1:]"),
        tests=("tests/rules/test_readings_rules.py",),
    ),
    *_in(
        "taper",
        ("recent windows", "trends", "= (120.0, 300.0, 600.0)\n", "= ()\n"),
        ("sharpest jump", "trends", "float(levels[lowest]) - jump,", "float(levels[lowest]),"),
        ("no steady climb", "trends", "return steady\n", "return largest\n"),
        (
            "loads make a climb",
            "trends",
            "signal.reads_battery or (np.diff(rises) > 0.0).all()",
            "True",
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

CAPACITY = _in(
    "capacity",
    (
        "fail on the mean",
        "check",
        "Verdict.FAIL if interval.high < limit_ah",
        "Verdict.FAIL if interval.mean < limit_ah",
    ),
    (
        "pass on the mean",
        "check",
        "if interval.low >= limit_ah:",
        "if interval.mean >= limit_ah:",
    ),
    (
        "bound on the mean",
        "check",
        "max(capacity_ah - LEVEL_SD * sd, 0.0)",
        "max(capacity_ah, 0.0)",
    ),
    ("steady spread", "check", "STEADY_SPREAD = 0.05\n", "STEADY_SPREAD = 0.10\n"),
    (
        "believed capacities",
        "check",
        "LEAST_BELIEVED, MOST_BELIEVED = 0.03, 2.0\n",
        "LEAST_BELIEVED, MOST_BELIEVED = 0.03, 3.0\n",
    ),
    ("common share", "in_service", "COMMON_SHARE = 0.7\n", "COMMON_SHARE = 0.0\n"),
    (
        "doubtful change",
        "in_service",
        "MOST_CHANGE_REL_SD = 0.3\n",
        "MOST_CHANGE_REL_SD = 0.6\n",
    ),
)

FADE = _in(
    "fade",
    (
        "check interval",
        "forecast",
        "regular = last + interval.value / DAYS_PER_YEAR",
        "regular = last + 2.0 * interval.value / DAYS_PER_YEAR",
    ),
    ("knee odds", "forecast", "KNEE_ODDS = 10.0\n", "KNEE_ODDS = 3.0\n"),
    ("half width", "forecast", "CYCLE_HALF_WIDTH = 0.5, 0.05\n", "CYCLE_HALF_WIDTH = 2.5, 0.05\n"),
    (
        "half width in cycles",
        "forecast",
        "CYCLE_HALF_WIDTH = 0.5, 0.05\n",
        "CYCLE_HALF_WIDTH = 0.5, 0.30\n",
    ),
    ("crossing level", "forecast", "CROSSING_LEVEL = 0.80\n", "CROSSING_LEVEL = 0.50\n"),
    ("horizon", "forecast", "HORIZON_YEARS = 5.0\n", "HORIZON_YEARS = 10.0\n"),
    ("bad check", "forecast", "BAD_PROBABILITY = 0.5\n", "BAD_PROBABILITY = 0.01\n"),
)

SELECTION = _in(
    "fade",
    ("head start", "selection", "HEAD_START = 1.0\n", "HEAD_START = 0.1\n"),
    ("believed origins", "selection", "BELIEVED_ORIGINS = 2.0\n", "BELIEVED_ORIGINS = 6.0\n"),
    ("least widening", "selection", "LEAST_WIDENING = 0.8\n", "LEAST_WIDENING = 0.5\n"),
    tests=("tests/fade/test_selection.py",),
)

CONDITIONS = (
    *_in(
        "soc",
        ("cells lost", "conditions", "battery.cells - belief.cells_lost)", "battery.cells)"),
        ("unsafe counted", "conditions", "1.0 if condition in UNSAFE else ", ""),
        ("evidence replaced", "conditions", "if e.name != REST_VOLTAGE]", "]"),
        tests=("tests/soc/test_conditions.py",),
    ),
    *_in(
        "taper",
        (
            "own float current",
            "posterior",
            "log_likelihood += _log_evidence_without_battery(own) - ",
            "log_likelihood += 0.0 * ",
        ),
        tests=("tests/soc/test_conditions.py",),
    ),
    *_in(
        "reference",
        ("slower", "conditions", "time_log=1.4", "time_log=0.0"),
        tests=("tests/soc/test_conditions.py",),
    ),
    *_in(
        "rules",
        (
            "clamp below zero",
            "readings_rules",
            "least = LEVEL_SD * _clamp_offset_a(case)",
            "least = 0.1 * _clamp_offset_a(case)",
        ),
        (
            "load given",
            "battery_rules",
            '"load": case.fit.signal.load.given',
            '"load": case.load_a is not None',
        ),
        (
            "rise with voltage",
            "current_rules",
            "if gain <= LEAST_GAIN_V:",
            "if gain <= 5.0:",
        ),
        tests=("tests/rules/test_findings.py",),
    ),
)

FREQUENCY = _in(
    "soc",
    (
        "frequency of a known battery",
        "conditions",
        "frequency = belief.frequency_known if known else belief.frequency",
        "frequency = belief.frequency",
    ),
    (
        "worn at any age",
        "conditions",
        "        frequency *= held.worn /",
        "        frequency *= 1.0 or held.worn /",
    ),
    (
        "any voltage is surface charge",
        "conditions",
        "lacking * surface_plausibility(battery, whole, temp_c)",
        "lacking",
    ),
    (
        "no load settles",
        "conditions",
        "return float(np.logaddexp(np.log1p(-LOAD_SETTLES), settles))",
        "return 0.0 * settles",
    ),
    tests=("tests/soc/test_conditions.py",),
)

ACCOUNT = (
    *_in(
        "soc",
        ("other law", "account", "OTHER_LAW_LOG_SD = 0.4\n", "OTHER_LAW_LOG_SD = 0.3\n"),
        ("other law's share", "account", "OTHER_LAW_SHARE = 0.4\n", "OTHER_LAW_SHARE = 0.3\n"),
        (
            "taken for charge",
            "account",
            "MOST_BELOW_LOG_SD = 0.03, 1.2",
            "MOST_BELOW_LOG_SD = 0.02, 1.2",
        ),
        ("most below", "account", "MOST_BELOW_LOG_SD = 0.03, 1.2", "MOST_BELOW_LOG_SD = 0.03, 1.0"),
        tests=("tests/soc/test_account.py",),
    ),
    *_in(
        "soc",
        ("more is mixed", "combination", "LEAST_MIXED = 0.005\n", "LEAST_MIXED = 0.003\n"),
        ("less is mixed", "combination", "LEAST_MIXED = 0.005\n", "LEAST_MIXED = 0.01\n"),
        ("surface charge of a cell", "evidence", "SURFACE_SD_V = 0.05\n", "SURFACE_SD_V = 0.07\n"),
    ),
    *_in(
        "soc",
        (
            "belief counted each time",
            "learning",
            "gained = sd**-2 - believed_sd**-2",
            "gained = sd**-2",
        ),
        (
            "first history from nothing",
            "learning",
            "time_var, share_sd = taper.time_constant_log_sd**2, taper.fast_share_sd",
            "time_var, share_sd = 1e9, taper.fast_share_sd",
        ),
        (
            "conflict teaches",
            "learning",
            "isinstance(posterior, ChargeBounds) or fit.conflict > MOST_CONFLICT",
            "isinstance(posterior, ChargeBounds)",
        ),
        tests=("tests/soc/test_learning.py",),
    ),
)

SETTLING = (
    *_in(
        "taper",
        ("settling", "settling", "SETTLING_S = 90.0\n", "SETTLING_S = 60.0\n"),
        ("settling longer", "settling", "SETTLING_S = 90.0\n", "SETTLING_S = 160.0\n"),
        ("lower hump", "settling", "HUMP_OF_CURRENT = 0.02\n", "HUMP_OF_CURRENT = 0.01\n"),
        ("higher hump", "settling", "HUMP_OF_CURRENT = 0.02\n", "HUMP_OF_CURRENT = 0.03\n"),
        ("smaller spike", "settling", "SPIKE_OF_CURRENT = 0.10\n", "SPIKE_OF_CURRENT = 0.05\n"),
        ("larger spike", "settling", "SPIKE_OF_CURRENT = 0.10\n", "SPIKE_OF_CURRENT = 0.15\n"),
        ("flatter spike", "settling", "SPIKE_STEEPER = 8.0\n", "SPIKE_STEEPER = 5.0\n"),
        ("steeper spike", "settling", "SPIKE_STEEPER = 8.0\n", "SPIKE_STEEPER = 12.0\n"),
        tests=("tests/taper/test_settling.py",),
    ),
    *_in(
        "taper",
        ("less misfit", "fit", "NO_MISFIT = 1.3\n", "NO_MISFIT = 1.1\n"),
        ("more misfit", "fit", "NO_MISFIT = 1.3\n", "NO_MISFIT = 1.8\n"),
        ("neighbours sooner", "fit", "MISFIT_SIGMAS = 2.5\n", "MISFIT_SIGMAS = 2.0\n"),
        ("neighbours later", "fit", "MISFIT_SIGMAS = 2.5\n", "MISFIT_SIGMAS = 3.0\n"),
        ("belief not widened", "fit", "prior = believed.widened(wider)", "prior = believed"),
        (
            "load not widened",
            "fit",
            "load_a=(mean, wider * sd)",
            "load_a=(mean, sd)",
        ),
        tests=("tests/taper/test_fit.py",),
    ),
)

PROOF = (
    *_in(
        "rules",
        ("confirmed sooner", "battery_rules", "CONFIRMED = 0.9\n", "CONFIRMED = 0.8\n"),
        ("confirmed later", "battery_rules", "CONFIRMED = 0.9\n", "CONFIRMED = 0.97\n"),
        (
            "any chemistry confirms",
            "battery_rules",
            "if not found or case.battery.chemistry not in LEAD_ACID:",
            "if not found:",
        ),
        ("fall in errors", "proof_rules", "FALL_ERRORS = 3.0\n", "FALL_ERRORS = 0.5\n"),
        ("fall of current", "proof_rules", "FALL_OF_CURRENT = 0.05\n", "FALL_OF_CURRENT = 0.02\n"),
        ("larger fall", "proof_rules", "FALL_OF_CURRENT = 0.05\n", "FALL_OF_CURRENT = 0.15\n"),
        ("smallest plate", "proof_rules", "PLATE_AH = (4.0, 100.0)", "PLATE_AH = (3.0, 100.0)"),
        ("largest plate", "proof_rules", "PLATE_AH = (4.0, 100.0)", "PLATE_AH = (4.0, 120.0)"),
        ("low check", "proof_rules", "CHECK_CONFIRMS = (0.3, 1.5)", "CHECK_CONFIRMS = (0.2, 1.5)"),
        ("high check", "proof_rules", "CHECK_CONFIRMS = (0.3, 1.5)", "CHECK_CONFIRMS = (0.3, 1.6)"),
        ("history left out unsaid", "proof_rules", "if case.unlike_history:", "if False:"),
        (
            "which way it is unlike",
            "proof_rules",
            'case.fit["log_time_constant"] > case.fit.belief',
            'case.fit["log_time_constant"] < case.fit.belief',
        ),
        tests=("tests/rules/test_proof_rules.py",),
    ),
    *_in(
        "taper",
        ("most conflict", "fit", "MOST_CONFLICT = 1.6\n", "MOST_CONFLICT = 1.7\n"),
        ("less conflict", "fit", "MOST_CONFLICT = 1.6\n", "MOST_CONFLICT = 1.5\n"),
        tests=("tests/rules/test_proof_rules.py", "tests/soc/test_learning.py"),
    ),
    *_in(
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

IN_USE = (
    *_in(
        "reference",
        ("neglected", "capacity_in_use", "NEGLECTED = 0.12\n", "NEGLECTED = 0.04\n"),
        (
            "neglected factor",
            "capacity_in_use",
            "NEGLECTED_FACTOR = 4.5\n",
            "NEGLECTED_FACTOR = 2.5\n",
        ),
        (
            "unknown age",
            "capacity_in_use",
            "UNKNOWN_AGE_MEAN_YEARS = 2.5\n",
            "UNKNOWN_AGE_MEAN_YEARS = 1.5\n",
        ),
        ("worn share", "capacity_in_use", "WORN_SHARE = 0.8\n", "WORN_SHARE = 0.7\n"),
        tests=("tests/reference/test_capacity_in_use.py",),
    ),
    *_in(
        "reference",
        ("a little slower", "conditions", "time_log=1.4", "time_log=0.7"),
        (
            "shorted cell is safe",
            "conditions",
            "        Condition.SHORTED_CELL,\n        Condition.LEAK_OR_GASSING,",
            "        Condition.LEAK_OR_GASSING,",
        ),
        ("other laws' time", "conditions", "LAW_TIME_LOG_SD = 0.25\n", "LAW_TIME_LOG_SD = 0.1\n"),
        tests=("tests/soc/test_conditions.py",),
    ),
)

FLAT = (
    *_in(
        "reference",
        (
            "joint lets more through",
            "conditions",
            "FlatCurrentPrior(-2.3, 1.0, -2.0, 1.0)",
            "FlatCurrentPrior(0.4, 0.8, -2.5, 0.7)",
        ),
        (
            "no slow tail",
            "conditions",
            "FlatCurrentPrior(0.2, 0.7, -0.7, 0.6)",
            "FlatCurrentPrior(0.2, 0.7, -2.5, 0.6)",
        ),
        (
            "sound tail as slow",
            "conditions",
            "_FLAT_SOUND = FlatCurrentPrior(0.4, 0.8, -2.5, 0.7)",
            "_FLAT_SOUND = FlatCurrentPrior(0.4, 0.8, -0.7, 0.7)",
        ),
        tests=("tests/soc/test_conditions.py", "tests/taper/test_flat_current.py"),
    ),
    *_in(
        "taper",
        ("rounding", "flat_current", "ROUNDING = 3.0\n", "ROUNDING = 1.0\n"),
        (
            "settles unseen",
            "flat_current",
            "whole = max(fall, self._first_a - self._end_a)",
            "whole = fall",
        ),
        ("loose law", "flat_current", "LAW_REL = 0.15\n", "LAW_REL = 1.5\n"),
        ("charge taken for leak", "flat_current", "load.mean_a + steady_a", "load.mean_a"),
        tests=("tests/soc/test_conditions.py", "tests/taper/test_flat_current.py"),
    ),
)

IN_PROGRESS = (
    *_in(
        "store",
        ("meters together", "noted_readings", "\nTOGETHER_S = 10.0\n", "\nTOGETHER_S = 9.0\n"),
        (
            "temperature together",
            "noted_readings",
            "TEMP_TOGETHER_S = 30.0\n",
            "TEMP_TOGETHER_S = 31.0\n",
        ),
        (
            "switched between meters",
            "noted_readings",
            "first_s < mark_s <= last_s",
            "first_s <= mark_s < last_s",
        ),
        (
            "nearest row first",
            "noted_readings",
            "(abs(other.elapsed_s - row.elapsed_s), i, k)",
            "(-abs(other.elapsed_s - row.elapsed_s), i, k)",
        ),
        (
            "struck ones left out",
            "acts",
            "if not (n.struck or n.late)]",
            "if not n.late]",
        ),
        tests=("tests/store/test_noted_readings.py",),
    ),
    *_in(
        "store",
        ("clock off", "in_progress", "CLOCK_OFF_S = 120.0\n", "CLOCK_OFF_S = 121.5\n"),
        ("clock less off", "in_progress", "CLOCK_OFF_S = 120.0\n", "CLOCK_OFF_S = 119.0\n"),
        ("clock set", "acts", "LATEST_YEAR = 2020, 2200", "LATEST_YEAR = 2021, 2200"),
        ("clock not set", "acts", "LATEST_YEAR = 2020, 2200", "LATEST_YEAR = 2019, 2200"),
        ("length of a label", "acts", "MOST_REASON = 60, 300", "MOST_REASON = 59, 300"),
        ("late readings", "acts", "late = self.state is State.FINISHED", "late = False"),
        (
            "same key, same press",
            "act_rows",
            "if (there.in_progress_id, there.content) != (connection.id, act):",
            "if there.in_progress_id != connection.id:",
        ),
        (
            "same key, same connection",
            "act_rows",
            "if (there.in_progress_id, there.content) != (connection.id, act):",
            "if there.content != act:",
        ),
        (
            "temperature of the battery first",
            "finishing",
            "ambient_c if battery_c is None else battery_c",
            "battery_c if ambient_c is None else ambient_c",
        ),
        (
            "finished once",
            "finishing",
            "if connection.connection_id is not None:",
            "if False:",
        ),
        (
            "typed plate",
            "finishing",
            "if typed is not None and typed != on_record:",
            "if typed is None and typed != on_record:",
        ),
        tests=("tests/store/test_in_progress.py",),
    ),
)

ATTENTION = (
    *_in(
        "say",
        ("overdue a day late", "attention", "- round(interval), 0)", "- round(interval) - 1, 0)"),
        ("mildest first", "attention", "sorted(-SEVERITY_ORDER", "sorted(+SEVERITY_ORDER"),
        ("latest due first", "attention", "-row.overdue_days, share", "row.overdue_days, share"),
        ("stopped early", "attention", "if not check.is_lower_bound]", "]"),
        tests=("tests/say/test_attention.py",),
    ),
    *_in(
        "store",
        ("corrections in the stamp", "stamps", "(*common, corrections,", "(*common,"),
        ("deletions in the stamp", "stamps", "DeletionRow, RestorationRow)]", "RestorationRow)]"),
        tests=("tests/store/test_stamps.py",),
    ),
)

FOREIGN = (
    *_in(
        "inputs",
        ("plain amperes", "column_guess", "MOST_PLAIN_A = 100.0\n", "MOST_PLAIN_A = 101.0\n"),
        ("steady amperes", "column_guess", "MOST_STEADY_A = 300.0\n", "MOST_STEADY_A = 301.0\n"),
        ("letters of a unit", "column_guess", "LONGEST_UNIT = 3\n", "LONGEST_UNIT = 4\n"),
        (
            "milliamperes from",
            "column_guess",
            "LEAST_MILLI_A = 2000.0\n",
            "LEAST_MILLI_A = 2002.0\n",
        ),
        ("amperes at least", "column_guess", "LEAST_AMPERES = 0.2\n", "LEAST_AMPERES = 0.19\n"),
        ("volts at least", "column_guess", "V = (5.0, 100.0),", "V = (4.0, 100.0),"),
        ("volts at most", "column_guess", "V = (5.0, 100.0),", "V = (5.0, 102.0),"),
        ("millivolts at least", "column_guess", "100.0), 5000.0\n", "100.0), 4000.0\n"),
        ("kelvin from", "column_guess", "LEAST_KELVIN = 200.0\n", "LEAST_KELVIN = 202.0\n"),
        ("clock from", "column_guess", "LEAST_CLOCK_H = 4.0\n", "LEAST_CLOCK_H = 3.9\n"),
        ("counts since 1970", "column_guess", "UNIX_S = (5e8, 5e9)\n", "UNIX_S = (4e8, 5e9)\n"),
        ("counts until", "column_guess", "UNIX_S = (5e8, 5e9)\n", "UNIX_S = (5e8, 6e9)\n"),
        ("afternoon", "cell_values", "AFTERNOON_SINCE_H = 12\n", "AFTERNOON_SINCE_H = 11\n"),
        (
            "a decimal mark in doubt",
            "cell_values",
            'return ("," if either else "."), not either',
            'return ("," if either else "."), True',
        ),
        tests=("tests/inputs/test_column_guess.py",),
    ),
    *_in(
        "inputs",
        ("faults told", "faults", "MOST_TOLD = 20\n", "MOST_TOLD = 21\n"),
        ("faults kept", "faults", "MOST_KEPT = 1000\n", "MOST_KEPT = 19\n"),
        ("rows of totals", "foreign_table", "MOST_TOTALS = 4\n", "MOST_TOTALS = 5\n"),
        (
            "the clock's shorter way",
            "foreign_times",
            "steps_s + DAY_S / 2.0)",
            "steps_s + DAY_S / 2.0 - 2.0)",
        ),
        ("fahrenheit", "column_map", '"degF": (5.0 / 9.0, -160.0 / 9.0)', '"degF": (0.5, -16.0)'),
        ("header within", "foreign_table", "HEADER_WITHIN = 60\n", "HEADER_WITHIN = 59\n"),
        tests=("tests/inputs/test_foreign.py",),
    ),
    *_in(
        "inputs",
        (
            "unpacked bytes",
            "workbook",
            "MOST_UNPACKED_BYTES = 64 << 20\n",
            "MOST_UNPACKED_BYTES = 65 << 20\n",
        ),
        ("columns read", "foreign_table", "MOST_COLUMNS = 200\n", "MOST_COLUMNS = 201\n"),
        tests=("tests/inputs/test_workbook.py",),
    ),
    *_in(
        "commands",
        ("rows before a guess", "follow_work", "LEAST_ROWS = 3\n", "LEAST_ROWS = 2\n"),
        ("least look", "follow", "LEAST_EVERY_S, MOST_S = 0.05,", "LEAST_EVERY_S, MOST_S = 0.03,"),
        tests=("tests/commands/test_follow.py",),
    ),
)

MUTATIONS = (
    *(*RULES, *PROOF, *CONDITIONS, *FREQUENCY, *SOC, *ACCOUNT, *REFERENCE, *IN_USE, *FLAT),
    *(*TAPER, *EVENTS, *SETTLING, *CAPACITY, *FADE, *SELECTION),
    *(*IN_PROGRESS, *ATTENTION, *FOREIGN),
)
"""Texts are whole where they can be, so that a value is replaced and not its namesake."""
