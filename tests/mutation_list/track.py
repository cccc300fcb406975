"""What decides the score of answers, and how much the next ranges are widened."""

from __future__ import annotations

from tests.mutation_list.mutation import changes_in

WIDENING = changes_in(
    "track",
    ("least cases", "conformal", "LEAST_CASES = 9\n", "LEAST_CASES = 8\n"),
    ("many cases", "conformal", "MANY_CASES = 100\n", "MANY_CASES = 90\n"),
    ("by chance", "conformal", "BY_CHANCE = 0.05\n", "BY_CHANCE = 0.1\n"),
    ("sure to narrow", "conformal", "SURE_TO_NARROW = 0.95\n", "SURE_TO_NARROW = 0.9\n"),
    ("least and most", "conformal", "FACTORS = (0.5, 5.0)\n", "FACTORS = (0.4, 6.0)\n"),
    ("rank of the next", "conformal", "LEVEL * (n + 1), 9", "LEVEL * n, 9"),
    (
        "truth's own error",
        "conformal",
        "distance**2 - (LEVEL_SD * truth_sd) ** 2",
        "distance**2 - 0.0 * truth_sd",
    ),
    ("side of the range", "conformal", "if distance > 0.0 else", "if distance < 0.0 else"),
    (
        "truth less sure",
        "conformal",
        "max(0.5 * (told.high - told.low)",
        "max((told.high - told.low)",
    ),
    tests=("tests/track/test_conformal.py",),
)

SCORE = changes_in(
    "track",
    ("other versions widen", "score", "for case in self.present if", "for case in self.ranges if"),
    ("latest", "score", "LATEST = 20\n", "LATEST = 40\n"),
    ("held as shown", "score", "<= self.answered.answer.widening", "<= 1.0"),
    (
        "needless service for a low charge",
        "score",
        "Verdict.WRONG if answer.decided_by in FAULT_RULES",
        "Verdict.WRONG if answer.decided_by",
    ),
    tests=("tests/track/test_score.py",),
)

GATHERED = changes_in(
    "store",
    ("days between", "track_record", "MOST_DAYS_BETWEEN = 60\n", "MOST_DAYS_BETWEEN = 61\n"),
    (
        "known before its day",
        "track_record",
        "if case.known_on < on and",
        "if case.known_on <= on and",
    ),
    (
        "no factor from itself",
        "track_record",
        "and case.answered.connection_id != but",
        "and case.answered.connection_id",
    ),
    ("corrected slips", "track_record", "or told != facts.get(entry_id)", ""),
    (
        "files without a clock",
        "track_record",
        "or self.longest or self.entry_id",
        "or self.entry_id",
    ),
    ("same capacity", "told_twice", "SAME_CAPACITY_AH = 0.05\n", "SAME_CAPACITY_AH = 0.07\n"),
    ("invented ones score", "track_record", "if not plate.invented} or every", "} or every"),
    (
        "rest voltage before",
        "track_record",
        " or one.rest_voltage_v is not None:",
        " or one.rest_voltage_v is False:",
    ),
    (
        "made from the check",
        "track_record",
        "one.day < on or one.written_at < written_at",
        "one.day <= on or one.written_at < written_at",
    ),
    tests=("tests/store/test_track_record.py",),
)

FOUND = (
    *changes_in(
        "track",
        ("against it first", "finds", "return not is_against, find", "return find"),
        ("what was mended", "finds", "any(on <= find.on for", "any(on < find.on for"),
        ("mended before", "finds", "any(on <= find.on for", "any(on for"),
        ("outranked", "finds", "is_measured and find.found is", "find.found is None and"),
        ("measured before seen", "finds", "not find.is_measured, find.on", "find.on"),
        ("counts", "finds", "if find.counts and not", "if not"),
        ("contradicting", "finds", "find.is_sound != judge.is_sound", "find != judge"),
        tests=("tests/track/test_finds.py",),
    ),
    *changes_in(
        "store",
        (
            "greatest of a day",
            "track_record",
            "=lambda one: one.record.cap",
            "=lambda one: -one.record.cap",
        ),
        ("bounds of a day", "track_record", "one.record.on) not in least", "one.record.on)"),
        ("least counts", "track_record", "replace(find, counts=counts)", "find"),
        (
            "open bounds",
            "track_record",
            "return None if is_open else Find(found",
            "return Find(found",
        ),
        (
            "finds of the same day",
            "track_record",
            "since <= one.day <= on",
            "since <= one.day < on",
        ),
        ("one rest of a connection", "track_record", "yield from rested[-1:]", "yield from rested"),
        ("known before a day", "track_record", "known_on < before)", "known_on <= before)"),
        (
            "longest file",
            "track_record",
            "last = max(ended, key=lambda one: one",
            "last = max(ended, key=lambda one: -one",
        ),
        (
            "readings of several batteries",
            "track_record",
            "or entry_id in doubled or told",
            "or told",
        ),
        (
            "rest where nearly full",
            "kept_answers",
            "- lesson.left < FULL_SOC",
            "- lesson.left < 0.0",
        ),
        tests=("tests/store/test_finds.py",),
    ),
)

ONE_CHECK = changes_in(
    "store",
    ("days of one check", "same_check", "SAME_CHECK_DAYS = 5\n", "SAME_CHECK_DAYS = 6\n"),
    ("measured otherwise", "told_twice", "a is None or b is None or a == b", "a or True"),
    ("asked about", "intake", "        if not again:\n", "        if False:\n"),
    ("filled in", "told_twice", " if more else there", ""),
    tests=("tests/store/test_same_check.py",),
)

TOLD_TWICE = (
    *changes_in(
        "store",
        ("bound told twice", "told_twice", "one.is_lower_bound or other.is_lower_bound", "False"),
        ("twice of a day", "told_twice", "battery_id, check.record.on]", "battery_id, date.min]"),
        ("twice of a battery", "told_twice", "of_day[check.record.battery_id, ", 'of_day["", '),
        ("least of two", "told_twice", 'update={"capacity_ah": least_ah}', "update={}"),
        ("last check told twice", "as_of", "once = each_once(checks)", "once = checks"),
        ("kind told twice", "kinds", "in each_once(every):", "in every:"),
        tests=("tests/store/test_told_twice.py",),
    ),
    *changes_in(
        "say",
        ("forecast told twice", "record_view", "each_once(looks.look", "(looks.look"),
        ("trend told twice", "attention", "each_once(store.entries", "(store.entries"),
        tests=("tests/store/test_told_twice.py",),
    ),
    *changes_in(
        "sheet",
        ("sheet of a check told twice", "case", "each_once(store", "(store"),
        tests=("tests/store/test_told_twice.py",),
    ),
)

JUDGED = changes_in(
    "soc",
    (
        "chance by widened ranges",
        "combination",
        "narrowed_value(soc, self.judged_by)",
        "narrowed_value(soc, 1.0)",
    ),
    (
        "current alone by widened ranges",
        "combination",
        "middle + (soc - middle) / self.judged_by",
        "middle + (soc - middle)",
    ),
    ("judged by narrowed ranges", "combination", "max(self.widening, 1.0)", "self.widening"),
    tests=("tests/track/test_widened.py",),
)

TRUTHS = changes_in(
    "track",
    (
        "least spread loosened",
        "truths",
        "LOOSENED, LOOSE_LOG_SD = 3.0, 1.0\n",
        "LOOSENED, LOOSE_LOG_SD = 1.0, 0.0\n",
    ),
    (
        "kind in the truth at rest",
        "truths",
        "expected = np.asarray(rest_voltage_v(bare,",
        "expected = np.asarray(rest_voltage_v(battery,",
    ),
    ("error of other laws", "truths", "(sd, OTHER_LAW_LOG_SD * unseen, ", "(sd, 0.0 * unseen, "),
    ("kind in the taper", "truths", '{"history": None, "kind": None}', '{"history": None}'),
    ("error that no fit tells", "truths", "METER_REL_SD = 0.03\n", "METER_REL_SD = 0.01\n"),
    tests=("tests/track/test_truths.py",),
)

KEPT = (
    *changes_in(
        "track",
        ("early seconds", "answers", "EARLY_S = 300.0\n", "EARLY_S = 270.0\n"),
        tests=("tests/store/test_track_record.py",),
    ),
    *changes_in(
        "store",
        ("rest before the end", "kept_answers", " or lesson is None or 1.0 -", " or 1.0 -"),
        ("length of early answers", "kept_answers", "LEAST_LENGTH = 2.0\n", "LEAST_LENGTH = 1.8\n"),
        tests=("tests/store/test_track_record.py",),
    ),
    *changes_in(
        "track",
        ("least shown", "score", "LEAST_SHOWN = 9\n", "LEAST_SHOWN = 8\n"),
        tests=("tests/track/test_score.py", "tests/pages/test_track_record.py"),
    ),
)

SAID = changes_in(
    "say",
    ("share of few", "track_record", "if tally.cases < LEAST_SHOWN:", "if tally.cases < 1:"),
    ("bounds of few", "track_record", ">= LEAST_SHOWN:\n        b", ">= 1:\n        b"),
    ("none by rounding", "track_record", 'in ("0", "100") and', "in () and"),
    tests=("tests/say/test_track_record.py",),
)

ALL = (
    *SAID,
    *KEPT,
    *TRUTHS,
    *WIDENING,
    *SCORE,
    *GATHERED,
    *FOUND,
    *ONE_CHECK,
    *TOLD_TWICE,
    *JUDGED,
)
