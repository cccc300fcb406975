"""Capacity over the years: models, forecasts, their words, and which checks they are made from."""

from __future__ import annotations

from tests.mutation_list.mutation import changes_in

FADE = changes_in(
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
    ("horizon", "fitted", "HORIZON_YEARS = 5.0\n", "HORIZON_YEARS = 10.0\n"),
    ("bad check", "fitted", "BAD_PROBABILITY = 0.5\n", "BAD_PROBABILITY = 0.01\n"),
)

WORDS_OF_FADE = (
    *changes_in(
        "fade",
        ("years told", "moments", "FROM = 2.0, 1.0, 1.0 / 6.0", "FROM = 2.1, 1.0, 1.0 / 6.0"),
        ("half-years told", "moments", "FROM = 2.0, 1.0, 1.0 / 6.0", "FROM = 2.0, 1.1, 1.0 / 6.0"),
        ("months told", "moments", "FROM = 2.0, 1.0, 1.0 / 6.0", "FROM = 2.0, 1.0, 1.0 / 5.0"),
        ("two months", "moments", "width_years < MONTHS_FROM", "width_years <= MONTHS_FROM"),
        ("end of a half-year", "moments", "moment.month <= 6", "moment.month <= 7"),
        (
            "a range in years",
            "moments",
            "wide = YEARS_FROM if wide >= HALF_YEARS_FROM else wide",
            "wide = wide",
        ),
        tests=("tests/fade/test_moments.py",),
    ),
    *changes_in(
        "fade",
        (
            "a last check below before its trend",
            "forecast",
            "if below and (by_year or not crossing.dated):",
            "if False:",
        ),
        ("past crossing", "forecast", "crossing.best < today", "False"),
        (
            "a date from one day",
            "fitted",
            "span_of(self.record) >= self.least_span",
            "span_of(self.record) >= 0.0",
        ),
        ("crossing before the interval", "forecast", "early < regular:", "early < regular - 0.25:"),
        ("crossing within a month", "forecast", "if early <= soon:", "if early <= last:"),
        ("slower is no knee", "forecast", "< KNEE_ODDS or after <= before:", "< KNEE_ODDS:"),
        (
            "already below",
            "forecast",
            '"next.below" if fitted.below_now > TAIL else "next.soon"',
            '"next.below"',
        ),
        (
            "below by now",
            "forecast",
            '"next.below" if fitted.below_now > TAIL else "next.soon"',
            '"next.soon"',
        ),
        (
            "measured in service",
            "fitted",
            "np.flatnonzero(~record.lower_bound & ~record.in_service)",
            "np.flatnonzero(~record.lower_bound)",
        ),
        tests=("tests/fade/test_forecast.py",),
    ),
    *changes_in(
        "fade",
        ("least span", "doubts", "LEAST_SPAN_LIVES = 0.1\n", "LEAST_SPAN_LIVES = 0.11\n"),
        ("less span", "doubts", "LEAST_SPAN_LIVES = 0.1\n", "LEAST_SPAN_LIVES = 0.097\n"),
        ("least rise of capacity", "doubts", "LEAST_RISE = 0.1\n", "LEAST_RISE = 0.11\n"),
        ("less rise of capacity", "doubts", "LEAST_RISE = 0.1\n", "LEAST_RISE = 0.09\n"),
        ("errors of a rise", "doubts", "RISE_SD = 3.0\n", "RISE_SD = 3.1\n"),
        ("fewer errors of a rise", "doubts", "RISE_SD = 3.0\n", "RISE_SD = 2.9\n"),
        ("checks after a rise", "doubts", "FEW_SINCE = 3\n", "FEW_SINCE = 4\n"),
        ("few after a rise", "doubts", "FEW_SINCE = 3\n", "FEW_SINCE = 2\n"),
        ("one day after a rise", "doubts", "np.unique(at[at > since]).size", "at[at > since].size"),
        (
            "a rise that is borne out",
            "doubts",
            "or _is_step(at, ah, sd, since, rated_ah)",
            "or False",
        ),
        ("the check that rose", "doubts", "kept = at != since", "kept = at >= 0.0"),
        ("step by the loss", "doubts", "(later, np.column_stack([loss, later]))", "(later,)"),
        (
            "step without a loss",
            "doubts",
            "(later, np.column_stack([loss, later]))",
            "(np.column_stack([loss, later]),)",
        ),
        (
            "least step",
            "doubts",
            "max(LEAST_RISE * rated_ah, RISE_SD * error_ah)",
            "RISE_SD * error_ah",
        ),
        (
            "errors of a step",
            "doubts",
            "max(LEAST_RISE * rated_ah, RISE_SD * error_ah)",
            "LEAST_RISE * rated_ah",
        ),
        ("span without bounds", "doubts", "record.at[~record.lower_bound]", "record.at"),
        ("rise of one day", "doubts", "(np.diff(at) > 0.0) & ", ""),
        ("rise after a dip", "doubts", "used[sound & ~", "used[~"),
        ("rise in service", "doubts", "used[sound & ~record.in_service[used]]", "used[sound]"),
        (
            "a date across a rise",
            "fitted",
            "self.is_spread and self.rise is None",
            "self.is_spread",
        ),
        (
            "rise before a date",
            "forecast",
            '"undated" if fitted.rise is None else "rose"',
            '"undated"',
        ),
        (
            "trend against the bench",
            "forecast",
            '"below_by_trend" if fitted.passes else "below"',
            '"below"',
        ),
        tests=("tests/fade/test_doubts.py",),
    ),
    *changes_in(
        "fade",
        (
            "little of capacity",
            "fitted",
            "HORIZON = 0.02, 0.05, 0.1\n",
            "HORIZON = 0.022, 0.05, 0.1\n",
        ),
        (
            "little of chance",
            "fitted",
            "HORIZON = 0.02, 0.05, 0.1\n",
            "HORIZON = 0.02, 0.06, 0.1\n",
        ),
        ("little of time", "fitted", "HORIZON = 0.02, 0.05, 0.1\n", "HORIZON = 0.02, 0.05, 0.11\n"),
        (
            "less of capacity",
            "fitted",
            "HORIZON = 0.02, 0.05, 0.1\n",
            "HORIZON = 0.018, 0.05, 0.1\n",
        ),
        ("less of chance", "fitted", "HORIZON = 0.02, 0.05, 0.1\n", "HORIZON = 0.02, 0.03, 0.1\n"),
        ("less of time", "fitted", "HORIZON = 0.02, 0.05, 0.1\n", "HORIZON = 0.02, 0.05, 0.09\n"),
        ("left out", "fitted", "LEFT_OUT_SD = 100.0\n", "LEFT_OUT_SD = 0.1\n"),
        (
            "failed or a slip",
            "forecast",
            'return "cause.was_low" if better',
            'return "cause.low" if better',
        ),
        tests=("tests/fade/test_fitted.py", "tests/fade/test_doubts.py"),
    ),
    *changes_in(
        "inputs",
        ("least check of one day", "last_check", "return min(of_last,", "return max(of_last,"),
        tests=("tests/inputs/test_last_check.py",),
    ),
    *changes_in(
        "inputs",
        (
            "first year of a check",
            "check_record",
            "LAST_YEAR = 1980, 2200",
            "LAST_YEAR = 1981, 2200",
        ),
        ("year before it", "check_record", "LAST_YEAR = 1980, 2200", "LAST_YEAR = 1979, 2200"),
        (
            "last year of a check",
            "check_record",
            "LAST_YEAR = 1980, 2200",
            "LAST_YEAR = 1980, 2199",
        ),
        ("year after it", "check_record", "LAST_YEAR = 1980, 2200", "LAST_YEAR = 1980, 2201"),
        tests=("tests/inputs/test_check_record.py",),
    ),
    *changes_in(
        "store",
        ("last check of a day", "as_of", "None if k is None else ended[k]", "latest(checks, on)"),
        (
            "bound before an ended one",
            "as_of",
            "ended.record.on < last.record.on",
            "ended.record.on <= last.record.on",
        ),
        tests=("tests/store/test_store.py",),
    ),
    *changes_in(
        "store",
        ("least teaches", "kinds", "checks[-1 if k is None else k]", "checks[-1]"),
        tests=("tests/store/test_kinds.py",),
    ),
    *changes_in(
        "say",
        (
            "a repeat that passes",
            "battery_since",
            "of_day = last_check(store.entries(BenchCheck, battery_id=plate.id, on=told.on), None)",
            "of_day = None",
        ),
        tests=("tests/say/test_battery_since.py",),
    ),
    *changes_in(
        "capacity",
        ("very strong evidence", "wording", "((100.0, ", "((101.0, "),
        ("strong evidence", "wording", "(30.0, ", "(31.0, "),
        tests=("tests/say/test_capacity.py",),
    ),
)

PAST_FORECASTS = changes_in(
    "fade",
    ("believed origins", "past_forecasts", "BELIEVED_ORIGINS = 2.0\n", "BELIEVED_ORIGINS = 6.0\n"),
    ("least widening", "past_forecasts", "LEAST_WIDENING = 0.8\n", "LEAST_WIDENING = 0.5\n"),
    tests=("tests/fade/test_past_forecasts.py",),
)

BENDS = changes_in(
    "fade",
    ("odds of a knee in the record", "mixture", "seen = own[1] < self.x_.max()", "seen = True"),
    (
        "square root from the first check",
        "bends",
        "began = self.prior.began / self.prior.life if power < 1.0 else 0.0",
        "began = 0.0",
    ),
    ("models by their shares", "mixture", "share * model.hyperprior()", "model.hyperprior()"),
    tests=("tests/fade/test_bends.py", "tests/fade/test_mixture.py"),
)

POWERS = changes_in(
    "reference",
    ("powers of loss", "capacity", "LOSS_POWERS = (1.0, 1.5)\n", "LOSS_POWERS = (1.0, 1.2)\n"),
    ("powers of lithium", "capacity", "(0.5, *LOSS_POWERS)", "(0.8, *LOSS_POWERS)"),
    tests=("tests/fade/test_bends.py",),
)

POWERS_BY_CHEMISTRY = changes_in(
    "fade",
    ("lithium by years", "fitted", "prior.per_year_sd, prior.powers", "prior.per_year_sd"),
    tests=("tests/fade/test_fitted.py",),
)

ALL = (*FADE, *WORDS_OF_FADE, *PAST_FORECASTS, *BENDS, *POWERS, *POWERS_BY_CHEMISTRY)
