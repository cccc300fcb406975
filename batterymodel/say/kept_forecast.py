"""The forecast of a battery on record, kept with the digest of the checks it was made from."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import date
from typing import Any

import numpy as np
from pydantic import ValidationError

from batterymodel.fade.forecast import FadeCurves, FadeForecast, fade_forecast
from batterymodel.inputs.check_record import CheckRecord
from batterymodel.inputs.records import Battery
from batterymodel.store import Store
from batterymodel.store.kept_results import KeptResult, digest_of, keep_results, kept_results

KIND = "forecast"


def kept_forecast(
    store: Store, battery_id: str, checks: CheckRecord, battery: Battery, today: date
) -> FadeForecast:
    """`fade_forecast`, as it was kept where checks, battery, day and estimate are the same.

    Parameters
    ----------
    store : Store
    battery_id : str
        `Entry.id` under which the forecast is kept.
    checks : CheckRecord
    battery : Battery
    today : date
        Day from which the next check is advised.

    Returns
    -------
    FadeForecast

    Raises
    ------
    InputError
        As `fade_forecast`.
    """
    about = json.dumps(asdict(checks), default=_plain)
    digest = digest_of(KIND, about, battery.model_dump_json(), today.isoformat())
    kept = kept_results(store, KIND, [battery_id]).get(battery_id)
    found = None if kept is None or kept.digest != digest else forecast_from(kept.value)
    if found is None:
        found = fade_forecast(checks, battery, today=today)
        keep_results(store, KIND, {battery_id: KeptResult(digest, forecast_json(found))})
    return found


def forecast_json(forecast: FadeForecast) -> str:
    """The whole forecast as JSON, its curves too.

    Parameters
    ----------
    forecast : FadeForecast

    Returns
    -------
    str
    """
    curves = {name: getattr(forecast.curves, name) for name in FadeCurves.model_fields}
    return json.dumps({**forecast.model_dump(mode="json"), "curves": curves}, default=_plain)


def forecast_from(text: str) -> FadeForecast | None:
    """The forecast of `forecast_json`.

    Parameters
    ----------
    text : str

    Returns
    -------
    FadeForecast or None
        None where other hands spoilt the text.
    """
    try:
        told = json.loads(text)
        told["curves"] = FadeCurves.model_validate(_with_arrays(told["curves"]))
        return FadeForecast.model_validate(told)
    except (ValidationError, ValueError, KeyError, TypeError):
        return None


def _with_arrays(told: object) -> dict[str, Any]:
    if not isinstance(told, dict):
        raise TypeError("curves must be one JSON object")
    arrays = {n for n, field in FadeCurves.model_fields.items() if field.annotation is np.ndarray}
    return {name: np.array(value) if name in arrays else value for name, value in told.items()}


def _plain(value: object) -> object:
    return value.tolist() if isinstance(value, np.ndarray | np.generic) else str(value)
