"""What dips, minutes on the battery alone and learned consumers rest on."""

from __future__ import annotations

from tests.mutation_list.mutation import changes_in

STARTS = changes_in(
    "budget",
    ("fall of the surge", "start_circuit", "START_DECAYS = 3.0\n", "START_DECAYS = 1.5\n"),
    (
        "overvoltage at the limit",
        "start_circuit",
        "over_v = np.where(at_limit, circuit.later_ohm * circuit.draw_a, over_v)\n",
        "",
    ),
    (
        "supply without a limit",
        "start_circuit",
        "np.clip(wanted_a, 0.0, circuit.limit_a)",
        "np.clip(wanted_a, 0.0, 9e9)",
    ),
    ("spread of the branch", "peaks", "LATER_LOG_SD = 0.05, 0.9\n", "LATER_LOG_SD = 0.05, 0.1\n"),
    (
        "charging counts as giving",
        "resistance",
        "(near_a < -LEAST_STEP_A).all()",
        "(near_a < 99.0).all()",
    ),
    ("spread of charging", "resistance", "_LOG_SD = 0.45, 0.8\n", "_LOG_SD = 0.45, 0.1\n"),
    (
        "error of a starting current",
        "peaks",
        "STARTING_REL_SD = 0.10\n",
        "STARTING_REL_SD = 0.01\n",
    ),
    (
        "cable after the meter",
        "resistance",
        "own.median_ohm + cable.median_ohm\n",
        "own.median_ohm\n",
    ),
    ("cable nobody told", "resistance", "LOG_SD = 0.006, 0.9\n", "LOG_SD = 0.006, 0.1\n"),
    ("near the limit", "resistance", "NEAR_LIMIT = 0.97\n", "NEAR_LIMIT = 1.5\n"),
    tests=("tests/budget/test_peaks.py", "tests/budget/test_resistance.py"),
)

LOW_OR_WORN = changes_in(
    "budget",
    (
        "low charge and wear",
        "starts",
        "return generic_resistance(plate, told.battery_temp_c, growth)",
        "return generic_resistance(plate, told.battery_temp_c)",
    ),
    (
        "overvoltage that is lost",
        "starts",
        "UNSTORED_EMPTY_SD = 0.5, 0.4\n",
        "UNSTORED_EMPTY_SD = 0.0, 0.0\n",
    ),
    tests=("tests/budget/test_starts.py",),
)

ALONE = changes_in(
    "budget",
    ("long drop", "endurance", "LONG_DROP_LOG_SD = 0.4, 0.3\n", "LONG_DROP_LOG_SD = 0.0, 0.3\n"),
    (
        "shallow",
        "endurance",
        "SHALLOW_DEPTH, DEEP_DEPTH = 0.10,",
        "SHALLOW_DEPTH, DEEP_DEPTH = 0.40,",
    ),
    ("deep", "endurance", "DEEP_DEPTH = 0.10, 0.50\n", "DEEP_DEPTH = 0.10, 0.95\n"),
    ("slowest rate", "endurance", "SLOWEST_HOURS = 20.0\n", "SLOWEST_HOURS = 100.0\n"),
    ("reserve", "endurance", "np.maximum(low, reserve_fraction)", "low"),
    tests=("tests/budget/test_endurance.py",),
)

LEARNED = changes_in(
    "budget",
    ("too uncertain", "learning", "_LEARNED_REL_SD = 0.5, 0.1\n", "_LEARNED_REL_SD = 0.5, 0.2\n"),
    ("declared counts", "learning", "DECLARED_READINGS = 1.0\n", "DECLARED_READINGS = 3.0\n"),
    ("changed", "learning", "CHANGED = 0.05\n", "CHANGED = 0.3\n"),
    ("shared with the battery", "learning", "SHARED_REL_SD = 0.08\n", "SHARED_REL_SD = 0.0\n"),
    tests=("tests/budget/test_learning.py",),
)

STEPS = changes_in(
    "budget",
    ("curved", "steps", "LEAST_CURVED_READINGS = 4\n", "LEAST_CURVED_READINGS = 99\n"),
    ("side readings", "steps", "MOST_SIDE_READINGS = 15\n", "MOST_SIDE_READINGS = 3\n"),
    tests=("tests/budget/test_steps.py",),
)

ALL = (*STARTS, *LOW_OR_WORN, *ALONE, *LEARNED, *STEPS)
