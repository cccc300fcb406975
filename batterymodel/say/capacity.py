"""A capacity check and a forecast of capacity as readable text for the terminal."""

from __future__ import annotations

from batterymodel.basis.intervals import Interval
from batterymodel.capacity.check import CapacityResult
from batterymodel.capacity.wording import CAUSE_WORDS, SMALL_ERROR, say_capacity
from batterymodel.fade.forecast import FadeForecast, Moment
from batterymodel.inputs.records import record_toml
from batterymodel.reference.limits import Limit
from batterymodel.rules.wording import source_words
from batterymodel.say.connection import amount, wrapped


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
        Loss before and after [% of rated per year or cycle], and the odds.
    """
    change = forecast.slope_change
    if change is None:
        return ""
    return say_capacity(
        "fade.slope",
        at=change.at,
        before=change.before_percent,
        after=change.after_percent,
        odds=change.odds,
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
    crossing = forecast.crossing
    level = f"{100 * crossing.level:.0f} %"
    ends = f"{moment_words(crossing.low)} to {moment_words(crossing.high)} ({level})"
    if crossing.low is None:
        ends = ""
    words = {"year": ("Below the limit from", "a year"), "cycle": ("Last cycle above", "a cycle")}
    name, per = words[forecast.unit]
    rows = [
        ("Capacity by the trend, last check", *amount(forecast.capacity_ah, "Ah")),
        (f"Loss {per}, % of rated", *loss_words(forecast.fade_percent)),
        (name, moment_words(crossing.best), ends),
    ]
    return _table(rows, "90 % range")


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


def moment_words(moment: Moment | None) -> str:
    """A day or a cycle, or that it is beyond the horizon.

    Parameters
    ----------
    moment : Moment, optional
        None for beyond the horizon.

    Returns
    -------
    str
    """
    return "not in view" if moment is None else str(moment)


def _model_lines(forecast: FadeForecast) -> list[str]:
    if not forecast.comparison:
        return [f"Model: {forecast.model} (the record is too short to compare models)"]
    lines = [f"Models compared on this record (kept: {forecast.model})"]
    lines.append(f"  {'':22}{'error, % of rated':>20}{'log density':>14}")
    for score in forecast.comparison:
        error = f"{100.0 * score.mean_error:.2f}"
        lines.append(f"  {score.label:22}{error:>20}{score.log_density:>14.2f}")
    return lines


def _limit_lines(name: str, limit: Limit, scale: float, unit: str) -> list[str]:
    source = source_words(limit.source, limit.generic)
    return [wrapped(f"{name} {scale * limit.value:.4g} {unit}, from {source}")]


def _table(rows: list[tuple[str, str, str]], spread: str) -> list[str]:
    header = f"  {'':34}{'best value':>12}   {spread}"
    return [header, *(f"  {name:34}{value:>12}   {ends}".rstrip() for name, value, ends in rows)]


def _list(title: str, lines: tuple[str, ...], lead: str) -> list[str]:
    return ["", title, *(wrapped(line, lead) for line in lines)] if lines else []
