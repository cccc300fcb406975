"""What the charge rests on: taper, conditions, evidence, accounts and their references."""

from __future__ import annotations

from tests.mutation_list.mutation import changes_in

GATE = ("tests/test_accuracy_gate.py",)

SOC = changes_in(
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
    ("half a bin at the ends", "combination", "share[[0, -1]] = 0.5", "share[[0, -1]] = 1.0"),
    ("complete fraction", "learning", "COMPLETE_FRACTION = 0.10\n", "COMPLETE_FRACTION = 0.30\n"),
    (
        "least learning depth",
        "learning",
        "LEAST_LEARNING_DEPTH = 0.03\n",
        "LEAST_LEARNING_DEPTH = 0.01\n",
    ),
    ("most learned sd", "learning", "MOST_LEARNED_SD = 0.3\n", "MOST_LEARNED_SD = 3.0\n"),
)

SOC += changes_in(
    "soc",
    (
        "a record of a later day",
        "evidence",
        "days = max((on - known.on).days, 0)",
        "days = abs((on - known.on).days)",
    ),
    tests=("tests/soc/test_combination.py",),
)

REFERENCE = (
    *changes_in(
        "reference",
        (
            "row of the temperature table",
            "temperature",
            "[70, 1.040],",
            "[70, 1.061],",
        ),
        tests=("tests/reference/test_temperature_table.py",),
    ),
    *changes_in(
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
    *changes_in(
        "reference",
        ("shape spread", "chemistry", "shape_rel_sd=0.008,", "shape_rel_sd=0.001,"),
        ("efficiency", "chemistry", "efficiency=0.985,", "efficiency=0.90,"),
        tests=GATE,
    ),
    *changes_in(
        "reference",
        (
            "rest voltage of an empty battery",
            "chemistry",
            "LEAD_REST_SD_EMPTY_V = 0.024\n",
            "LEAD_REST_SD_EMPTY_V = 0.012\n",
        ),
        tests=("tests/soc/test_boundaries.py",),
    ),
    *changes_in(
        "reference",
        ("peukert deviation", "capacity", "DEVIATION_SD = 0.05\n", "DEVIATION_SD = 0.005\n"),
        ("timed error", "capacity", "TIMED_SD_S = 20.0\n", "TIMED_SD_S = 90.0\n"),
        ("unknown temperature", "capacity", "UNKNOWN_TEMP_SD_C = 8.0", "UNKNOWN_TEMP_SD_C = 4.0"),
        ("short test", "capacity", "SHORT_TEST_MINUTES = 60.0", "SHORT_TEST_MINUTES = 90.0"),
        tests=("tests/capacity/test_boundaries.py",),
    ),
)

TAPER = changes_in(
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
    ("drift", "prior", "DRIFT_PER_ROOT_YEAR = 0.10\n", "DRIFT_PER_ROOT_YEAR = 0.03\n"),
    (
        "history of any age",
        "prior",
        "_own(battery.history, battery.kind, taper, on)",
        "_own(battery.history, battery.kind, taper, None)",
    ),
    ("rise in errors", "trends", "RISE_ERRORS = 4.0\n", "RISE_ERRORS = 1.0\n"),
    ("least rise", "trends", "LEAST_RISE_A = 0.3\n", "LEAST_RISE_A = 1.0\n"),
    ("rise of a level", "trends", "RISE_OF_CURRENT = 0.02\n", "RISE_OF_CURRENT = 0.1\n"),
    ("warming in errors", "trends", "WARMING_ERRORS = 3.0\n", "WARMING_ERRORS = 0.3\n"),
)

CONDITIONS = (
    *changes_in(
        "soc",
        ("cells lost", "conditions", "battery.cells - belief.cells_lost)", "battery.cells)"),
        ("unsafe counted", "conditions", "1.0 if condition in UNSAFE else ", ""),
        ("evidence replaced", "conditions", "if e.name != REST_VOLTAGE]", "]"),
        ("voltage nothing explains", "conditions", "+ float(np.log(peak))\n", "\n"),
        tests=("tests/soc/test_conditions.py",),
    ),
    *changes_in(
        "taper",
        (
            "own float current",
            "posterior",
            "log_likelihood += _log_evidence_without_battery(own) - ",
            "log_likelihood += 0.0 * ",
        ),
        tests=("tests/soc/test_conditions.py",),
    ),
    *changes_in(
        "reference",
        ("slower", "conditions", "time_log=1.4", "time_log=0.0"),
        tests=("tests/soc/test_conditions.py",),
    ),
    *changes_in(
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

FREQUENCY = changes_in(
    "soc",
    (
        "frequency of a known battery",
        "conditions",
        "frequency = known * belief.frequency_known + (1.0 - known) * belief.frequency",
        "frequency = belief.frequency",
    ),
    (
        "a history never fades",
        "conditions",
        "return float(np.exp(-history.years_before(on) / HISTORY_FADES_YEARS))",
        "return 1.0",
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
        "lacking.peak * plausible",
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

RANGES = (
    *changes_in(
        "soc",
        (
            "unrecorded use",
            "evidence",
            "UNRECORDED_PER_DAY = 0.01\n",
            "UNRECORDED_PER_DAY = 0.008\n",
        ),
    ),
    *changes_in(
        "soc",
        ("how full is defined", "combination", "SOC_SD = 0.02\n", "SOC_SD = 0.014\n"),
        (
            "now is not blurred",
            "combination",
            "_blurred(told.at_connection), _blurred(told.now)",
            "_blurred(told.at_connection), told.now",
        ),
        tests=("tests/soc/test_combination.py",),
    ),
    *changes_in(
        "basis",
        ("peak left out", "intervals", "max(ends[tail], ends[shortest])", "ends[tail]"),
        ("tail left out", "intervals", "min(starts[tail], starts[shortest])", "starts[shortest]"),
        ("long tail left out", "intervals", "max(ends[tail], ends[shortest])", "ends[shortest]"),
        (
            "end of each value",
            "intervals",
            "np.cumsum(w[order]) - 0.5 * w[order]",
            "np.cumsum(w[order])",
        ),
        ("off the middle", "intervals", "OFF_MIDDLE = 0.001\n", "OFF_MIDDLE = 0.0\n"),
        tests=("tests/soc/test_combination.py",),
    ),
)

ACCOUNT = (
    *changes_in(
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
    *changes_in(
        "soc",
        ("more is mixed", "combination", "LEAST_MIXED = 0.005\n", "LEAST_MIXED = 0.003\n"),
        ("less is mixed", "combination", "LEAST_MIXED = 0.005\n", "LEAST_MIXED = 0.01\n"),
        ("surface charge of a cell", "evidence", "SURFACE_SD_V = 0.05\n", "SURFACE_SD_V = 0.07\n"),
    ),
    *changes_in(
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
    *changes_in(
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
    *changes_in(
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

IN_USE = (
    *changes_in(
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
    *changes_in(
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
    *changes_in(
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
    *changes_in(
        "taper",
        ("rounding", "flat_current", "ROUNDING = 3.0\n", "ROUNDING = 1.0\n"),
        (
            "settles unseen",
            "flat_current",
            "whole = max(fall, self._first_a - self._end_a)",
            "whole = fall",
        ),
        ("surge unsettled", "flat_current", "SETTLED_S = 45.0\n", "SETTLED_S = 0.0\n"),
        (
            "drift of a clamp",
            "flat_current",
            "0.0 if self._signal.from_clamp else LOAD_DRIFT_A",
            "LOAD_DRIFT_A",
        ),
        (
            "limit the wrong way",
            "flat_current",
            "log_ndtr((at_start[..., None] - (self._end_a - beside)) / sd)",
            "log_ndtr(((self._end_a - beside) - at_start[..., None]) / sd)",
        ),
        ("loose law", "flat_current", "LAW_REL = 0.15\n", "LAW_REL = 1.5\n"),
        ("charge taken for leak", "flat_current", "load.mean_a + steady_a", "load.mean_a"),
        tests=("tests/soc/test_conditions.py", "tests/taper/test_flat_current.py"),
    ),
)

ALL = (
    *SOC,
    *REFERENCE,
    *TAPER,
    *CONDITIONS,
    *FREQUENCY,
    *RANGES,
    *ACCOUNT,
    *SETTLING,
    *IN_USE,
    *FLAT,
)
