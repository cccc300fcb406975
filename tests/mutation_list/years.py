"""What is kept and shown over the years: capacity checks, record, files, pages."""

from __future__ import annotations

from tests.mutation_list.mutation import changes_in

CAPACITY = changes_in(
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

OLD_RECORDS = (
    *changes_in(
        "store",
        ("migration left out", "upgrade", "lacked and lacked != BROUGHT_BY_IT", "lacked"),
        ("what lacks is looked for", "upgrade", "== HEAD and not lacking(connection)", "== HEAD"),
        tests=("tests/store/test_upgrade.py",),
    ),
    *changes_in(
        "store",
        ("first exports", "archive", 'frozenset({"connections.rest_after_v"})', "frozenset()"),
        ("of the first format", "archive", "MAY_LACK = {1: ", "MAY_LACK = {2: "),
        tests=("tests/store/test_zip_import.py",),
    ),
    *changes_in(
        "store",
        ("may be written", "engine", "not os.access(path.parent, os.W_OK)", "False"),
        ("last writes beside", "engine", '("-wal", "-journal")', '("-journal",)'),
        ("a writer beside", "engine", '{address}?mode=ro"', '{address}?mode=ro&immutable=1"'),
        tests=("tests/store/test_only_read.py",),
    ),
    *changes_in(
        "store",
        ("spoilt name", "engine", "except UnicodeDecodeError:", "except KeyError:"),
        ("another kind", "column_types", "if not isinstance(found, kind):", "if False:"),
        ("spoilt truth", "column_types", "if value not in (None, True, False):", "if False:"),
        ("no such day", "column_types", "except (TypeError, ValueError) as", "except KeyError as"),
        ("outcome", "records", 'content.get("outcome") not in set(Outcome)', "False"),
        tests=("tests/store/test_damaged.py",),
    ),
    *changes_in(
        "pages",
        ("fault on a page", "kept", "except StoreError as error:", "except KeyError as error:"),
        tests=("tests/pages/test_damaged_record.py",),
    ),
)

KEPT = (
    *changes_in(
        "capacity",
        ("temperatures at an end", "in_service", "AT_AN_END = 3\n", "AT_AN_END = 1\n"),
        ("temperature before", "in_service", "read[:AT_AN_END]", "read[-AT_AN_END:]"),
        tests=("tests/capacity/test_in_service.py",),
    ),
    *changes_in(
        "say",
        ("points of a taper", "connection_looks", "MOST_KEPT = 600\n", "MOST_KEPT = 700\n"),
        (
            "battery in the digest",
            "connection_looks",
            "digest_of(KIND, told, battery.model_dump_json())",
            "digest_of(KIND, told)",
        ),
        (
            "told in the digest",
            "connection_looks",
            "digest_of(KIND, told, battery.model_dump_json())",
            "digest_of(KIND, battery.model_dump_json())",
        ),
        tests=("tests/say/test_connection_looks.py", "tests/say/test_kept_after_changes.py"),
    ),
    *changes_in(
        "say",
        (
            "day of a forecast",
            "kept_forecast",
            "battery.model_dump_json(), today.isoformat())",
            "battery.model_dump_json())",
        ),
        (
            "checks in the digest of a forecast",
            "kept_forecast",
            "digest_of(KIND, about, battery",
            "digest_of(KIND, battery",
        ),
        (
            "battery in the digest of a forecast",
            "kept_forecast",
            "about, battery.model_dump_json(), today",
            "about, today",
        ),
        tests=("tests/say/test_kept_forecast.py", "tests/say/test_kept_after_changes.py"),
    ),
    *changes_in(
        "store",
        (
            "version in the digest",
            "kept_results",
            "(estimate_version() if version is None else version, *inputs)",
            "inputs",
        ),
        ("statement of many", "kept_results", "ids[start : start + AT_ONCE]", "ids[:AT_ONCE]"),
        tests=("tests/store/test_kept_results.py",),
    ),
    *changes_in(
        "store",
        ("sheets in the stamp", "stamps", "(AircraftRow, SheetRow, ", "(AircraftRow, "),
        tests=("tests/store/test_stamps.py",),
    ),
    *changes_in(
        "basis",
        ("fade decides", "estimate_version", '    "fade",\n', ""),
        tests=("tests/basis/test_estimate_version.py",),
    ),
)

SHEET = (
    *changes_in(
        "sheet",
        ("half empty", "consequences", "HALF = 0.5\n", "HALF = 0.55\n"),
        ("half empty at best", "consequences", "now.mean <= HALF:", "now.mean < HALF - 0.05:"),
        tests=("tests/sheet/test_consequences.py",),
    ),
    *changes_in(
        "rules",
        ("topping off done", "results", "DONE_MINUTES = 1.0\n", "DONE_MINUTES = 1.1\n"),
        tests=("tests/sheet/test_consequences.py",),
    ),
    *changes_in(
        "sheet",
        ("later checks", "case", "if check.on <= case.on]", "]"),
        ("same plate", "case", "if same and alike(", "if alike("),
        tests=("tests/sheet/test_case.py",),
    ),
    *changes_in(
        "say",
        ("checks until the day", "record_view", "if until is None or e.record.on <= until]", "]"),
        tests=("tests/sheet/test_case.py",),
    ),
)

IN_PROGRESS = (
    *changes_in(
        "store",
        ("meters together", "noted_readings", "\nTOGETHER_S = 10.0\n", "\nTOGETHER_S = 9.0\n"),
        (
            "temperature together",
            "noted_readings",
            "TEMP_TOGETHER_S = 30.0\n",
            "TEMP_TOGETHER_S = 31.0\n",
        ),
        (
            "voltage together",
            "noted_readings",
            "VOLTS_TOGETHER_S = 60.0\n",
            "VOLTS_TOGETHER_S = 61.0\n",
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
    *changes_in(
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
    *changes_in(
        "say",
        ("overdue a day late", "attention", "- round(interval), 0)", "- round(interval) - 1, 0)"),
        ("mildest first", "attention", "sorted(-SEVERITY_ORDER", "sorted(+SEVERITY_ORDER"),
        ("latest due first", "attention", "-row.overdue_days, share", "row.overdue_days, share"),
        ("stopped early", "attention", "if not check.is_lower_bound]", "]"),
        tests=("tests/say/test_attention.py",),
    ),
    *changes_in(
        "store",
        ("corrections in the stamp", "stamps", "(*common, corrections,", "(*common,"),
        ("deletions in the stamp", "stamps", "DeletionRow, RestorationRow)\n", "RestorationRow)\n"),
        tests=("tests/store/test_stamps.py",),
    ),
)

FOREIGN = (
    *changes_in(
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
        ("clock from", "time_guess", "LEAST_CLOCK_H = 4.0\n", "LEAST_CLOCK_H = 3.9\n"),
        ("counts since 1970", "time_guess", "UNIX_S = (5e8, 5e9)\n", "UNIX_S = (4e8, 5e9)\n"),
        ("counts until", "time_guess", "UNIX_S = (5e8, 5e9)\n", "UNIX_S = (5e8, 6e9)\n"),
        ("afternoon", "cell_values", "AFTERNOON_SINCE_H = 12\n", "AFTERNOON_SINCE_H = 11\n"),
        (
            "a decimal mark in doubt",
            "cell_values",
            'return ("," if either else "."), not either',
            'return ("," if either else "."), True',
        ),
        tests=("tests/inputs/test_column_guess.py",),
    ),
    *changes_in(
        "inputs",
        ("faults told", "faults", "MOST_TOLD = 20\n", "MOST_TOLD = 21\n"),
        ("faults kept", "faults", "MOST_KEPT = 1000\n", "MOST_KEPT = 19\n"),
        (
            "the clock's shorter way",
            "clock_times",
            "steps_s + HALF_DAY_S)",
            "steps_s + HALF_DAY_S - 2.0)",
        ),
        ("fahrenheit", "column_map", '"degF": (5.0 / 9.0, -160.0 / 9.0)', '"degF": (0.5, -16.0)'),
        ("header within", "foreign_table", "HEADER_WITHIN = 60\n", "HEADER_WITHIN = 59\n"),
        tests=("tests/inputs/test_foreign.py",),
    ),
    *changes_in(
        "inputs",
        ("rows of a run", "table_times", "LEAST_LAST = 3, 2\n", "LEAST_LAST = 2, 2\n"),
        ("rows of the last run", "table_times", "LEAST_LAST = 3, 2\n", "LEAST_LAST = 3, 1\n"),
        (
            "start of a run",
            "table_times",
            "<= begins_s[0] + usual_s",
            "<= begins_s[0] + 1.2 * usual_s",
        ),
        tests=("tests/inputs/test_readings_errors.py",),
    ),
    *changes_in(
        "inputs",
        ("far from all others", "no_value_marks", "LEAST_RATIO = 5.0\n", "LEAST_RATIO = 4.99\n"),
        ("constants of a logger", "no_value_marks", "LEAST_TIMES = 2\n", "LEAST_TIMES = 3\n"),
        ("nines of a current", "no_value_marks", "NINES = 999.0\n", "NINES = 998.0\n"),
        ("the only negative one", "no_value_marks", "(values < 0.0) & bool", "bool"),
        ("half are marks", "no_value_marks", "known.sum() <= len(", "known.sum() < len("),
        ("possible marks", "no_value_marks", "LONE_RATIO = 1.1\n", "LONE_RATIO = 1.09\n"),
        ("a unit in the cell", "foreign", "marks | ~bare)", "marks)"),
        ("a mark typed alone", "readings", "and value in MARKS", "and False"),
        tests=("tests/inputs/test_no_value_marks.py",),
    ),
    *changes_in(
        "inputs",
        (
            "least gap",
            "second_starts",
            "LEAST_GAP_S, GAP_STEPS = 300.0",
            "LEAST_GAP_S, GAP_STEPS = 299.0",
        ),
        ("steps of a gap", "second_starts", "GAP_STEPS = 300.0, 5.0\n", "GAP_STEPS = 300.0, 4.9\n"),
        ("rows beside a gap", "second_starts", "LEAST_ROWS = 3\n", "LEAST_ROWS = 2\n"),
        ("fall before a gap", "second_starts", "LEAST_FALL = 0.1\n", "LEAST_FALL = 0.097\n"),
        ("rise after a gap", "second_starts", "LEAST_RISE = 0.25\n", "LEAST_RISE = 0.24\n"),
        ("falls compared", "second_starts", "WINDOW = 1.0 / 3.0\n", "WINDOW = 1.0\n"),
        ("back at a limit", "second_starts", "BACK_AT_FIRST = 0.95\n", "BACK_AT_FIRST = 0.94\n"),
        ("falls faster", "second_starts", "highest and falls > fell", "highest"),
        tests=("tests/inputs/test_two_connections.py",),
    ),
    *changes_in(
        "inputs",
        ("apart when sorted", "set_back", "LEAST_APART = 0.1\n", "LEAST_APART = 0.01\n"),
        ("rows beside a set clock", "set_back", "LEAST_RUN = 2\n", "LEAST_RUN = 1\n"),
        ("share when sorted", "set_back", "MOST_SHARE = 0.75\n", "MOST_SHARE = 1.0\n"),
        (
            "winter time",
            "set_back",
            "HOUR_S, HOUR_WITHIN_S = 3600.0, 60.0",
            "HOUR_S, HOUR_WITHIN_S = 3600.0, 59.0",
        ),
        ("no rise where set back", "set_back", "rises_a.max() <= apart_a", "True"),
        tests=("tests/inputs/test_set_back.py",),
    ),
    *changes_in(
        "inputs",
        ("comma of thousands", "table_columns", r'r"[+-]?[1-9]\d{0,2},\d{3}"', 'r"x"'),
        ("no thousands below one", "table_columns", r"[+-]?[1-9]\d{0,2},", r"[+-]?\d{1,3},"),
        tests=("tests/inputs/test_typed_lines.py",),
    ),
    *changes_in(
        "commands",
        (
            "measured again and kept once",
            "record_add_work",
            "if was_there and is_again else",
            "if was_there else",
        ),
        (
            "finding measured again",
            "record_add_work",
            "_added(store, *taken, options.measured_again)",
            "_added(store, *taken)",
        ),
        (
            "check measured again",
            "record_add_work",
            "taken.was_there, options.measured_again)",
            "taken.was_there)",
        ),
        tests=("tests/commands/test_record_score.py", "tests/commands/test_record.py"),
    ),
    *changes_in(
        "inputs",
        ("marks typed by hand", "no_value_marks", "(found.doubted | is_typed)", "found.doubted"),
        tests=("tests/inputs/test_typed_lines.py",),
    ),
    *changes_in(
        "store",
        ("marks of the pad", "noted_readings", "marks.sure.index[marks.sure]", "[]"),
        (
            "too many marks of the pad",
            "noted_readings",
            "values.index[doubted][:1]",
            "values.index[doubted][:0]",
        ),
        tests=("tests/store/test_noted_readings.py",),
    ),
    *changes_in(
        "inputs",
        ("a pair of temperatures", "temperature_unit", " to | and |–", " to |–"),
        ("a minus of print", "temperature_unit", "[+\\-−]?", "[+\\-]?"),
        tests=("tests/inputs/test_temperature_unit.py",),
    ),
    *changes_in(
        "inputs",
        ("rows of totals", "totals", "MOST_TOTALS = 12\n", "MOST_TOTALS = 13\n"),
        (
            "half of the cells are units",
            "unit_columns",
            "2 * len(known) >= len(said)",
            "len(known) >= len(said)",
        ),
        tests=("tests/inputs/test_table_ends.py",),
    ),
    *changes_in(
        "inputs",
        (
            "span of a clock",
            "time_guess",
            "MOST_CLOCK_SPAN_S = 3600.0\n",
            "MOST_CLOCK_SPAN_S = 3602.0\n",
        ),
        (
            "one on a clock of 12 hours",
            "clock_times",
            "at_one = times_s >= HALF_DAY_S, times_s < 2.0",
            "at_one = times_s >= HALF_DAY_S, times_s < 1.0",
        ),
        tests=("tests/inputs/test_guess_doubts.py",),
    ),
    *changes_in(
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
    *changes_in(
        "inputs",
        ("first below", "typed_lines", "FIRST_BEFORE_S = 60.0\n", "FIRST_BEFORE_S = 59.0\n"),
        ("first above", "typed_lines", "FIRST_BEFORE_S = 60.0\n", "FIRST_BEFORE_S = 60.5\n"),
        ("first line", "typed_lines", "float(times_s.iloc[0])", "float(times_s.min())"),
        ("close times above", "typed_lines", "MOST_APART_S = 5.0\n", "MOST_APART_S = 6.0\n"),
        ("close times below", "typed_lines", "MOST_APART_S = 5.0\n", "MOST_APART_S = 4.0\n"),
        ("more lines asked", "typed_lines", "ASKED_LINES = 3\n", "ASKED_LINES = 4\n"),
        ("fewer lines asked", "typed_lines", "ASKED_LINES = 3\n", "ASKED_LINES = 2\n"),
        ("parts of a second", "typed_lines", ' and "." not in time', ""),
        ("backwards", "typed_lines", "times.diff() < 0.0", "times.diff() < -1e9"),
        ("same time twice", "typed_lines", "times.diff() < 0.0", "times.diff() <= 0.0"),
        ("dashes", "typed_lines", 'MISSING | {"–", "—"}', "MISSING"),
        ("large letters", "typed_lines", "current.lower() in NOT_READ", "current in NOT_READ"),
        ("no event in large letters", "typed_lines", "text.lower() in NOT", "text in NOT"),
        ("a lone mark", "typed_lines", "nines.sum() == 1", "nines.sum() == 0"),
        ("a mark alone", "typed_lines", " and currents_a.notna().sum() > 1", ""),
        ("marks out of bounds", "typed_lines", "and value in MARKS", "and False"),
        ("enough lines", "typed_lines", ".sum() >= LEAST_TIMES", ".sum() > LEAST_TIMES"),
        ("a number no event begins with", "typed_lines", "_is_value(words[0]) or ", ""),
        ("milliamperes typed", "typed_lines", "is_small or ", ""),
        ("a line's unit is no event", "typed_lines", " or all(map(_is_value_or_unit, words))", ""),
        ("a cell without a time", "typed_lines", 'rf"[^\\S\\t]*{_VALUE}', 'rf"\\s*{_VALUE}'),
        tests=("tests/inputs/test_typed_lines.py",),
    ),
    *changes_in(
        "commands",
        ("least look", "follow", "LEAST_EVERY_S, MOST_S = 0.05,", "LEAST_EVERY_S, MOST_S = 0.03,"),
        tests=("tests/commands/test_follow.py",),
    ),
    *changes_in(
        "inputs",
        ("back to the start", "runs", "BACK_TO = 0.5\n", "BACK_TO = 0.49\n"),
        ("rows before a guess", "log_columns", "LEAST_ROWS = 3\n", "LEAST_ROWS = 2\n"),
        tests=("tests/commands/test_follow_runs.py", "tests/commands/test_follow.py"),
    ),
)

ALL = (
    *CAPACITY,
    *OLD_RECORDS,
    *KEPT,
    *SHEET,
    *IN_PROGRESS,
    *ATTENTION,
    *FOREIGN,
)
