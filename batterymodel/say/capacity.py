"""A capacity check and a forecast of capacity as readable text for the terminal."""

from __future__ import annotations

from datetime import date

from batterymodel.basis.intervals import Interval
from batterymodel.capacity.check import CapacityResult
from batterymodel.capacity.wording import CAUSE_WORDS, SMALL_ERROR, odds_words, say_capacity
from batterymodel.fade.forecast import FadeForecast
from batterymodel.fade.moments import (
    HALF_YEARS_FROM,
    Moment,
    about_words,
    moment_words,
    range_words,
    width_years,
)
from batterymodel.inputs.records import record_toml
from batterymodel.reference.limits import Limit
from batterymodel.rules.wording import source_words
from batterymodel.say.connection import amount, wrapped

NOT_TOLD, MEASURED_BELOW = "not known yet", "by the last check"
"""Said of the crossing where the checks tell of none."""


def capacity_text(result: CapacityResult) -> str:
    """The whole check: verdict, figures, corrections, errors, next step, cautions.

    Parameters
    ----------
    result : CapacityResult

    Returns
    -------
    str
        Several lines of `WIDTH`; capacities [Ah] and [% of rated].
    """
    parts = [wrapped(result.headline), "", *_capacity_table(result), "", "Corrections"]
    for correction in result.corrections:
        known = correction.rel_sd < SMALL_ERROR
        spread = "" if known else f" ± {100 * correction.rel_sd:.1f} %"
        line = f"{correction.name}: times {correction.factor:.3f}{spread}, {correction.source}"
        parts.append(wrapped(line, "  - "))
    parts += ["", "Where the uncertainty comes from (standard error)"]
    parts += [
        f"  {CAUSE_WORDS[cause]:32}{100 * value:5.1f} %"
        for cause, value in result.rel_sd_by_cause.items()
        if value >= SMALL_ERROR
    ]
    parts += ["", *_limit_lines("Least capacity", result.limit, 100.0, "%")]
    parts += _limit_lines("End voltage", result.end_voltage, 1.0, "V")
    parts += ["", "What to do next", wrapped(result.next_step, "  1. ")]
    parts += _list("About the discharge", result.notes, "  - ")
    if result.record is not None:
        parts += ["", "For the battery's record (put it into its TOML)", "  [capacity_check]"]
        parts += [f"  {line}" for line in record_toml(result.record).splitlines()]
    return "\n".join([*parts, *_list("Cautions", result.cautions, "  ! ")])


def fade_text(forecast: FadeForecast) -> str:
    """The whole forecast: headline, figures, next check, models compared, notes.

    Parameters
    ----------
    forecast : FadeForecast

    Returns
    -------
    str
        Several lines of `WIDTH`; capacities [Ah], loss [% of rated per year or cycle].
    """
    parts = [wrapped(forecast.headline), "", *_fade_table(forecast)]
    change = forecast.slope_change
    if change is not None:
        parts += ["", wrapped(slope_sentence(forecast))]
    check = forecast.next_check
    when = str(check.on) if check.due_since is None else "now"
    parts += [
        "",
        "What to do next",
        wrapped(f"Next capacity check {when}: {check.why}.", "  1. "),
    ]
    parts += ["", *_limit_lines("Least capacity", forecast.limit, 100.0, "%")]
    parts += ["", *_model_lines(forecast)]
    parts += _list("About the checks", forecast.notes, "  - ")
    return "\n".join([*parts, *_list("Cautions", forecast.cautions, "  ! ")])


def slope_sentence(forecast: FadeForecast) -> str:
    """The change of slope in one sentence; empty where there is none.

    Parameters
    ----------
    forecast : FadeForecast

    Returns
    -------
    str
        Loss before and after [% of rated per year or cycle], and how strong the evidence is.
    """
    change = forecast.slope_change
    if change is None:
        return ""
    return say_capacity(
        "fade.slope",
        at=about_words(change.at, HALF_YEARS_FROM),
        before=change.before_percent,
        after=change.after_percent,
        odds=odds_words(change.odds),
        unit=forecast.unit,
    )


def _capacity_table(result: CapacityResult) -> list[str]:
    rows = []
    percent = result.percent_of_rated
    if result.capacity_ah is not None and percent is not None:
        rows += [
            ("Percent of rated capacity", *amount(percent, "%")),
            ("Capacity at 25 °C, rated current", *amount(result.capacity_ah, "Ah")),
        ]
    else:
        rows += [
            ("Percent of rated capacity", "not known", f"at least {result.at_least_percent:.0f} %"),
            (
                "Capacity at 25 °C, rated current",
                "not known",
                f"at least {result.at_least_ah:.1f} Ah",
            ),
        ]
    temp = "not given" if result.temp_c is None else f"{result.temp_c:.0f} °C"
    rows += [
        ("Delivered", f"{result.delivered_ah:.1f} Ah", f"in {result.minutes:.1f} min"),
        ("Mean current", f"{result.mean_current_a:.1f} A", f"{result.method} method"),
        ("Battery temperature at the start", temp, ""),
    ]
    return _table(rows, "90 % range")


def _fade_table(forecast: FadeForecast) -> list[str]:
    words = {"year": ("Below the limit from", "a year"), "cycle": ("Last cycle above", "a cycle")}
    name, per = words[forecast.unit]
    rows = []
    if forecast.measured_ah is not None:
        value, spread = amount(forecast.measured_ah, "Ah")
        rows.append((f"Capacity measured, {_at(forecast.measured_on)}", value, spread))
    if forecast.crossing.dated:
        value, spread = amount(forecast.capacity_ah, "Ah")
        rows.append((f"Capacity by the trend, {_at(forecast.last)}", value, spread))
    usual = ", usual" if forecast.is_usual else ""
    rows.append((f"Loss {per}, % of rated{usual}", *loss_words(forecast.fade_percent)))
    rows.append((name, *crossing_words(forecast)))
    return _table(rows, "90 % range")


def _at(moment: Moment | None) -> str:
    return str(moment) if isinstance(moment, date) else f"cycle {moment}"


def capacity_figures(forecast: FadeForecast) -> list[tuple[str, str, str]]:
    """Figures to read first: what was measured, what the trend says, each with its own range.

    Parameters
    ----------
    forecast : FadeForecast

    Returns
    -------
    list of (name, value, more)
        Measured and trend where there is such a thing, loss, and when the limit is crossed.
    """
    found = []
    if forecast.measured_ah is not None:
        (value, spread), on = amount(forecast.measured_ah, "Ah"), _at(forecast.measured_on)
        found.append(("Capacity measured", value, f"check of {on}; {spread}"))
    if forecast.crossing.dated:
        value, spread = amount(forecast.capacity_ah, "Ah")
        found.append(("Capacity by the trend", value, f"on {_at(forecast.last)}; {spread}"))
    usual = "usual for its kind; " if forecast.is_usual else ""
    loss, spread = loss_words(forecast.fade_percent)
    found.append((f"Loss per {forecast.unit}, of rated", f"{loss} %", f"{usual}{spread} %"))
    found = [(name, value, f"{more} (90 % range)") for name, value, more in found]
    best, spread = crossing_words(forecast)
    return [*found, (f"Below {100 * forecast.limit.value:.0f} % of rated", best, spread)]


def loss_words(interval: Interval) -> tuple[str, str]:
    """Loss of capacity a year or cycle, in percent of rated: best value and range.

    Parameters
    ----------
    interval : Interval
        [% of rated per year or cycle].

    Returns
    -------
    best, spread : str
        One decimal, three where the interval is narrower than 0.5.
    """
    digits = 1 if interval.high - interval.low > 0.5 else 3
    low = f"{interval.low:.{digits}f} to {interval.high:.{digits}f}"
    return f"{interval.mean:.{digits}f}", low


def crossing_words(forecast: FadeForecast) -> tuple[str, str]:
    """When the trend falls below the limit: best value, and range with its own level.

    Parameters
    ----------
    forecast : FadeForecast

    Returns
    -------
    best, spread : str
        Days as coarse as the range is wide; the range is empty where none is known.
    """
    crossing, measured = forecast.crossing, forecast.measured_ah
    if not crossing.dated:
        below = measured is not None and measured.mean < forecast.limit_ah
        return MEASURED_BELOW if below else NOT_TOLD, ""
    best = moment_words(crossing.best, width_years(crossing.low, crossing.high))
    spread = range_words(crossing.low, crossing.high)
    return best, f"{spread} ({100 * crossing.level:.0f} % range)" if spread else ""


def _model_lines(forecast: FadeForecast) -> list[str]:
    if not forecast.crossing.dated:
        return []
    lines = ["Models of fade, by their share of the forecast"]
    lines.append(f"  {'':22}{'before the checks':>20}{'after them':>14}")
    for model in forecast.models:
        lines.append(f"  {model.label:22}{model.before:>20.0%}{model.after:>14.0%}")
    past = forecast.past_forecasts
    if past is None:
        return [*lines, "The record is too short to see how earlier forecasts held."]
    told = say_capacity(
        "fade.past", origins=past.origins, error=100.0 * past.mean_error, wider=past.widening
    )
    return [*lines, wrapped(told)]


def _limit_lines(name: str, limit: Limit, scale: float, unit: str) -> list[str]:
    source = source_words(limit.source, limit.generic)
    return [wrapped(f"{name} {scale * limit.value:.4g} {unit}, from {source}")]


def _table(rows: list[tuple[str, str, str]], spread: str) -> list[str]:
    header = f"  {'':34}{'best value':>12}   {spread}"
    return [header, *(f"  {name:34}{value:>12}   {ends}".rstrip() for name, value, ends in rows)]


def _list(title: str, lines: tuple[str, ...], lead: str) -> list[str]:
    return ["", title, *(wrapped(line, lead) for line in lines)] if lines else []
