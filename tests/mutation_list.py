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
        "if share < limit.value:",
        "if share + LEVEL_SD * sd < limit.value:",
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
        "spread = (variance + end_spread_a**2)[:, None]",
        "spread = variance[:, None]",
    ),
    ("limit band", "signals", "LIMIT_BAND = 0.06\n", "LIMIT_BAND = 0.3\n"),
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
        ("clamp below zero", "current_rules", "< -LEVEL_SD * offset", "< -0.1 * offset"),
        (
            "load given",
            "battery_rules",
            '"load": case.fit.signal.load.given',
            '"load": case.load_a is not None',
        ),
        (
            "rise with voltage",
            "current_rules",
            "rise.since_s) > NEGLIGIBLE_V",
            "rise.since_s) > 5.0",
        ),
        tests=("tests/rules/test_findings.py",),
    ),
)

MUTATIONS = (*RULES, *CONDITIONS, *SOC, *REFERENCE, *TAPER, *CAPACITY, *FADE, *SELECTION)
"""Texts are whole where they can be, so that a value is replaced and not its namesake."""
