"""Every sentence said of capacity checks and of capacity fade, as templates."""

from __future__ import annotations

VERDICT_WORDS = {
    "pass": "Pass",
    "marginal": "Marginal",
    "fail": "Fail",
    "not_finished": "Not finished",
}

CAUSE_WORDS = {
    "current meter": "Current meter",
    "end of the discharge": "Moment of the end voltage",
    "discharge rate": "Discharge rate",
    "temperature": "Temperature",
    "repetition": "Repetition of the check",
}

SMALL_ERROR = 0.0005
"""Relative errors below this are not listed."""

CAPACITY_TEXTS = {
    "pass": "{percent:.0f} % of rated capacity ({low:.0f} to {high:.0f} %), at least "
    "{limit:.0f} % is asked.",
    "pass_bound": "at least {at_least:.0f} % of rated capacity, and {limit:.0f} % is "
    "asked; the discharge stopped early, so the capacity itself is not known.",
    "marginal": "{percent:.0f} % of rated capacity ({low:.0f} to {high:.0f} %), too close "
    "to the {limit:.0f} % asked to be sure.",
    "fail": "{percent:.0f} % of rated capacity ({low:.0f} to {high:.0f} %), below the "
    "{limit:.0f} % asked.",
    "not_finished": "the discharge stopped before the end voltage and shows only that the "
    "capacity is at least {at_least:.0f} % of rated; {limit:.0f} % is asked.",
    "next.pass": "Charge the battery by its maker's instructions before it goes back.",
    "next.pass_bound": "Charge the battery by its maker's instructions before it goes back; run "
    "the next check down to its end voltage, so that the record shows the trend.",
    "next.marginal": "Charge fully by the maker's instructions and repeat the check at 20 to 30 °C "
    "at the rated current, which narrows the range.",
    "next.marginal_temp": "Tell the battery's temperature at the start, which narrows the range. "
    "Without it charge fully by the maker's instructions and repeat the check at 20 to 30 °C at "
    "the rated current.",
    "next.fail": "Charge and repeat once if the maker's instructions allow it; otherwise the "
    "battery is due for replacement by those instructions.",
    "next.not_finished": "Charge fully and repeat the discharge down to its end voltage.",
}

FADE_TEXTS = {
    "fade.ahead": "By its trend capacity falls below {limit:.0f} % of rated around {best}.",
    "fade.passed": "By its trend capacity has been below {limit:.0f} % of rated since around "
    "{best}.",
    "fade.undated": "{checks} not tell when capacity falls below {limit:.0f} % of rated.",
    "undated.one": "One check does",
    "undated.more": "Checks of one day do",
    "undated.short": "Checks so close together do",
    "fade.ahead_cycles": "The last cycle at or above {limit:.0f} % of rated is around {best}.",
    "fade.below": "Capacity is more likely than not below {limit:.0f} % of rated already.",
    "fade.below_by_trend": "By its trend capacity is below {limit:.0f} % of rated already with a "
    "probability of {probability:.0f} %, though the last check measured {measured} %.",
    "fade.far": "Capacity does not fall below {limit:.0f} % of rated within five years "
    "(until {until}) by its best value.",
    "fade.far_cycles": "Capacity does not fall below {limit:.0f} % of rated until cycle {until} by "
    "its best value.",
    "fade.bad": "The check of {on} ({percent:.0f} %) does not fit the others and counts little: "
    "was the battery full, and was the discharge run to its end voltage?",
    "fade.bad_moves": "The check of {on} ({percent:.0f} %) does not fit the others, and the "
    "forecast is another one without it: {cause}",
    "fade.bad_alone": "The check of {on} ({percent:.0f} %) is unlike that of most batteries of its "
    "kind, and the forecast counts it little: was the battery full, and was the discharge run to "
    "its end voltage?",
    "fade.bad_alone_moves": "The check of {on} ({percent:.0f} %) is unlike that of most batteries "
    "of its kind, and the forecast is another one without it: {cause}",
    "cause.low": "a slip (not full, or not run to its end voltage), or the battery failed. "
    "Measure again.",
    "cause.was_low": "a slip (not full, or not run to its end voltage), or those that measured "
    "more since are of another battery or new cells.",
    "cause.high": "a slip, or the checks are not all of one battery. Measure again.",
    "fade.rise": "Capacity rose by {rise:.0f} % of rated from the check before to that of {on}, "
    "more than the errors told explain: another battery or new cells? Enter it as a battery "
    "of its own. The trend of all checks has it below its limit with a probability of "
    "{probability:.0f} %.",
    "fade.rose": "Capacity rose by {rise:.0f} % of rated up to the check of {on}: checks that may "
    "not be of one battery do not tell when it falls below {limit:.0f} %.",
    "fade.measured_below": "The last check measured {measured} % of rated, below the "
    "{limit:.0f} % asked.",
    "fade.bound": "One check stopped early and counts only as a lower bound.",
    "fade.bounds": "{count} checks stopped early and count only as lower bounds.",
    "fade.in_service": "One value is an estimate in service, weighed by its wide error and no "
    "substitute for a capacity check.",
    "fade.in_services": "{count} values are estimates in service, weighed by their wide errors and "
    "no substitute for capacity checks.",
    "fade.slope": "Since about {at} the battery loses {after:.1f} % of rated a {unit}, before that "
    "{before:.1f} % (the checks are {odds} evidence for a change of slope).",
    "fade.past": "Forecasts from {origins} earlier points of this record missed later checks by "
    "{error:.1f} % of rated on average; this one's spread is multiplied by {wider:.2f} for it.",
    "one_check": "One check says nothing of the loss: the forecast is common practice for the "
    "chemistry, without a source.",
    "one_day": "Checks of one day say nothing of the loss: the forecast is common practice for the "
    "chemistry, without a source.",
    "short": "Checks within less than {least} say next to nothing of the loss: the forecast is "
    "common practice for the chemistry, without a source.",
    "two_checks": "Two checks say little of the loss: the forecast leans on common practice for "
    "the chemistry, without a source.",
    "next.likely_below": "the capacity is probably below its limit already: confirm it before the "
    "battery goes back into use",
    "next.below": "the capacity may be below its limit already",
    "next.soon": "from about then on the chance that the capacity is below its limit exceeds one "
    "in ten",
    "next.measured_below": "the last check measured less than is asked: confirm it before the "
    "battery goes back into use",
    "next.early": "from then on the chance that the capacity is below its limit exceeds one in ten",
    "next.early_undated": "from then on the chance that the capacity is below its limit exceeds "
    "one in ten, at the loss that is usual for the chemistry",
    "next.interval": "the regular interval of {days} ({source})",
    "next.cycles": "a tenth of the cycles so far",
    "next.overdue": "{why}; due since {due}",
    "next.doubtful_alone": "the check is unlike that of most batteries of its kind: repeat it",
    "next.doubtful": "the last check does not fit the others: repeat it",
}

ODDS_WORDS = ((100.0, "overwhelming"), (30.0, "very strong"), (0.0, "strong"))
"""How strong evidence of such odds is called, from the highest down (own choice, in steps of about
the square root of ten)."""


def odds_words(odds: float) -> str:
    """How strong evidence of such odds is.

    Parameters
    ----------
    odds : float
        Of a change against none [-], from `fade.forecast.KNEE_ODDS` on.

    Returns
    -------
    str

    >>> odds_words(1196.0), odds_words(12.0)
    ('overwhelming', 'strong')
    """
    return next(words for least, words in ODDS_WORDS if odds >= least)


def say_capacity(key: str, **values: object) -> str:
    """The sentence under a key of `CAPACITY_TEXTS` or `FADE_TEXTS` with its values filled in.

    Parameters
    ----------
    key : str
        Of `CAPACITY_TEXTS` or `FADE_TEXTS`.
    **values
        One for each name in the braces of that sentence; others are not used.

    Returns
    -------
    str
    """
    return {**CAPACITY_TEXTS, **FADE_TEXTS}[key].format(**values)
