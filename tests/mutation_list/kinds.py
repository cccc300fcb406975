"""What other batteries of a kind teach: pooling, lessons, and where they stand."""

from __future__ import annotations

from tests.mutation_list.mutation import Mutation, changes_in

POOLING = changes_in(
    "soc",
    (
        "degrees of another kind",
        "pooling",
        'DEGREES = 4.0\n"""Degrees',
        'DEGREES = 40.0\n"""Degrees',
    ),
    ("spread within a kind", "pooling", "np.linspace(0.1, 1.0, 10)", "np.linspace(0.05, 0.5, 10)"),
    ("weights of another kind", "pooling", "[0.4, 0.3, 0.2, 0.1]", "[0.1, 0.2, 0.3, 0.4]"),
    ("shares of another kind", "pooling", "[0.02, 0.1, 0.2, 0.35]", "[0.02, 0.04, 0.06, 0.08]"),
    (
        "degrees of a spread",
        "pooling",
        "SPREAD_DEGREES = 4.0\n",
        "SPREAD_DEGREES = 12.0\n",
    ),
    ("never wider", "pooling", "min(float(np.sqrt(variance)), 1.0)", "float(np.sqrt(variance))"),
    ("a battery counts once", "pooling", "/ weight.sum()))", "/ weight.max()))"),
    tests=("tests/soc/test_pooling.py",),
)

LESSONS = changes_in(
    "soc",
    ("rest moves", "kinds", "REST_MOVES_SD_V = 0.004\n", "REST_MOVES_SD_V = 0.012\n"),
    ("float moves", "kinds", "FLOAT_MOVES_OF_SD = 0.5\n", "FLOAT_MOVES_OF_SD = 1.0\n"),
    ("nearly full", "kinds", "FULL_SOC = 0.9\n", "FULL_SOC = 0.8\n"),
    ("called narrower", "kinds", "NARROWER = 0.9\n", "NARROWER = 0.95\n"),
    ("full afterwards", "kinds", "        soc = 1.0 - lesson.left\n", "        soc = 1.0\n"),
    (
        "shares that none told",
        "kinds",
        " for t in one.tapers if t.fast_share_sd)",
        " for t in one.tapers)",
    ),
    (
        "temperature at rest",
        "kinds",
        "lesson.missing_sd, lesson.temp_c)",
        "lesson.missing_sd, None)",
    ),
    ("voltage that nobody read", "kinds", "if not lesson.voltage_read:", "if False:"),
    (
        "a history learns no kind",
        "learning",
        """    battery = battery.model_copy(update={"kind": None})
    taper =""",
        "    taper =",
    ),
    tests=("tests/soc/test_kinds.py",),
)

CAREFUL = (
    Mutation(
        "set voltage for a read one",
        "batterymodel/assessment.py",
        "held_voltage_v(case.readings, None, case.fit",
        "held_voltage_v(case.readings, case.supply, case.fit",
        ("tests/soc/test_kinds.py",),
    ),
    Mutation(
        "outcome lifted by a kind",
        "batterymodel/assessment.py",
        "if _ORDER.index(outcome_of(without)) <= _ORDER.index(outcome_of(findings)):",
        "if without:",
        ("tests/soc/test_kinds.py",),
    ),
    Mutation(
        "outcome lifted by a kind that tells little",
        "batterymodel/assessment.py",
        "if is_worst or battery.kind is None or",
        "if is_worst or battery.kind is None or battery.kind.rest_shift_sd_v > 0.01 or",
        ("tests/soc/test_kinds.py",),
    ),
    Mutation(
        "figures of the kind beside findings without it",
        "batterymodel/assessment.py",
        "return replace(plain, kind=battery.kind, kind_would_lift=True), posterior_plain, without",
        "return replace(case, kind=battery.kind, kind_would_lift=True), posterior, without",
        ("tests/soc/test_kinds.py",),
    ),
    Mutation(
        "said to be contradicted",
        "batterymodel/assessment.py",
        "kind=battery.kind, kind_would_lift=True)",
        "kind=battery.kind)",
        ("tests/soc/test_kinds.py",),
    ),
    Mutation(
        "outcome without the kind alone",
        "batterymodel/assessment.py",
        "if _ORDER.index(outcome_of(without)) <= _ORDER.index(outcome_of(findings)):",
        "if not without:",
        ("tests/soc/test_kinds.py",),
    ),
)

CAPACITY = changes_in(
    "reference",
    ("check of another kind", "capacity_of_kind", "OF_ANOTHER = 0.1\n", "OF_ANOTHER = 0.3\n"),
    ("a slip tells nothing", "capacity_of_kind", "MISTAKEN = 0.1\n", "MISTAKEN = 0.01\n"),
    ("where slips lie", "capacity_of_kind", "= 0.9, 0.15", "= 0.9, 0.5"),
    ("aged alike", "capacity_of_kind", "(0.3, 0.7, 0.95)", "(0.3, 0.7, 0.8)"),
    tests=("tests/reference/test_capacity_of_kind.py",),
)

STORE = changes_in(
    "store",
    ("never from itself", "kinds", "if one.id != plate.id}", "}"),
    ("invented apart", "kinds", '(*PLATE, "invented")', "PLATE"),
    ("most that teaches", "kinds", "<= share <= MOST_SHARE", "<= share <= CHECK_RANGE[1]"),
    ("files of one connection", "kinds", "one.clock or one.row_id", "one.row_id"),
    (
        "lessons of a former plate",
        "kinds",
        "is_former = written_in(former.get(battery_id, ()), written_at)",
        "is_former = False",
    ),
    ("tapers of before lessons", "kinds", "told | older)", "told)"),
    ("only what taught before", "kinds", "HISTORY_MARK) &", "LESSON_NAME) |"),
    (
        "rests beside an older lesson",
        "kinds",
        "(row.assessment.contains(VOLTAGE_NAME) | no_rests)",
        "True",
    ),
    (
        "lessons without rests",
        "kinds",
        "contains(VOLTAGE_NAME) | no_rests)",
        "contains(VOLTAGE_NAME))",
    ),
    (
        "an older lesson stays",
        "kinds",
        "taper = older or _lesson_in(text)",
        "taper = _lesson_in(text) if one.is_whole else older",
    ),
    ("as of a day", "kinds", "if on is not None:\n        teaching", "if False:\n        teaching"),
    ("lessons read for another battery", "older_lessons", "there.digest != digest", "False"),
    ("longest taper", "kinds", "min(tapers, key=lambda taper", "max(tapers, key=lambda taper"),
    (
        "check of the day",
        "kinds",
        "if on is None or row.on <= on:",
        "if on is None or row.on < on:",
    ),
    ("one file of several batteries", "kinds", "and entry_id not in doubled", ""),
    (
        "columns of one file",
        "same_readings",
        "(one.sha256, one.columns), one",
        "(one.sha256, ''), one",
    ),
    ("first writing", "same_readings", "(written[one.entry_id], one.entry_id)", "one.battery_id"),
    ("said of another", "same_readings", "one.columns == columns and", ""),
    ("lessons read once", "older_lessons", "    if fresh:\n", "    if not fresh:\n"),
    tests=("tests/store/test_kinds.py",),
)

FORMER = changes_in(
    "store",
    ("spells begin", "former_plates", "since <= at < until", "since < at < until"),
    ("spells end", "former_plates", "since <= at < until", "since <= at <= until"),
    ("learned from a former plate", "former_plates", "or one.recorded_at < first", "or True"),
    (
        "charge times that were told",
        "former_plates",
        "if one.record.connection_id is None or",
        "if",
    ),
    ("anew by the right plate", "corrections", "not of_one_kind(new, record)", "False"),
    ("an older correction", "corrections", "or _learned_by_another(store, corrected)", "or False"),
    (
        "forgotten first",
        "intake",
        "        _forget(store, [entry.id for entry in every], said)\n",
        "",
    ),
    ("an answer that none replaces", "intake", "and not loses_answer:", "or loses_answer:"),
    ("kept by another plate", "corrections", "kept if anew or is_another else ()", "kept"),
    (
        "answers by a former plate",
        "track_record",
        "if written_in(former.get(told[0], ()), written_at)",
        "if False",
    ),
    tests=("tests/store/test_former_plates.py",),
)

UNREADABLE = changes_in(
    "store",
    (
        "an answer that cannot be read anew",
        "intake",
        "if why_not is None:\n        return None",
        "",
    ),
    ("answer of another battery", "intake", " or before.battery_id != record.battery_id:", ":"),
    ("an answer by other facts", "intake", "is_same = is_told_same and", "is_same ="),
    (
        "an answer of a former plate",
        "intake",
        "is_told_same and not written_in(former, there.recorded_at)",
        "is_told_same",
    ),
    ("kind by other facts", "kinds", ".where(row.not_assessed.is_(None))", ""),
    ("score by other facts", "track_record", '.where(table["not_assessed"].is_(None))', ""),
    ("charge by other facts", "as_of", "if connection.not_assessed is None else None", ""),
    tests=("tests/store/test_unreadable.py",),
)

ALL = (*POOLING, *LESSONS, *CAREFUL, *CAPACITY, *STORE, *FORMER, *UNREADABLE)
