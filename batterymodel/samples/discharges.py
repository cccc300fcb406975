"""Invented discharge logs and an invented record of checks, from a stated model and seed.

They play at Saltmarsh Field, a place that does not exist; `samples.connections` writes them beside
the connections.
"""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from batterymodel.basis.calendar import DAYS_PER_YEAR
from batterymodel.inputs.discharge_log import DischargeLog

SEED = 20260302
DISCHARGE_PASSES = "discharge-passes.csv"
DISCHARGE_STOPPED = "discharge-stopped-early.csv"
CHECKS_FADING = "checks-fading.csv"

CELL_START_V, CELL_SLOPE_V, KNEE_WIDTH = 2.02, 0.10, 0.05
"""Loaded voltage of a lead-acid cell at the start, its steady fall over the discharge, and how
late the knee comes (invented)."""


def loaded_voltage_v(discharged: np.ndarray, cells: int, end_v: float) -> np.ndarray:
    """Battery voltage under load [V] at discharged fractions of the capacity.

    ``V = cells (start - slope x - a x / (1 + width - x))``, with ``a`` so that the end voltage is
    met at ``x = 1`` exactly.

    Parameters
    ----------
    discharged : ndarray, any shape
        ``x``, charge taken over the capacity at that current [0..1]; beyond ``1 + 0.9 width`` the
        voltage falls no further.
    cells : int
        Cells in series.
    end_v : float
        End voltage of the whole battery [V].

    Returns
    -------
    ndarray, shape of `discharged`
        Voltage of the whole battery [V].
    """
    x = np.minimum(np.asarray(discharged, dtype=float), 1.0 + 0.9 * KNEE_WIDTH)
    drop = (CELL_START_V - CELL_SLOPE_V - end_v / cells) * KNEE_WIDTH
    return cells * (CELL_START_V - CELL_SLOPE_V * x - drop * x / (1.0 + KNEE_WIDTH - x))


def simulated_discharge(
    capacity_ah: float,
    current_a: float = 40.0,
    *,
    cells: int = 12,
    end_v: float = 20.0,
    stop_s: float | None = None,
    every_s: float = 10.0,
    temp_c: float | None = 21.0,
    noise_v: float = 0.01,
    seed: int = SEED,
) -> DischargeLog:
    """Log of a discharge at one current of a battery that gives ``capacity_ah`` at that current.

    The load goes off at ``stop_s``, else shortly after the end voltage; a few rows follow with
    the load off.

    Parameters
    ----------
    capacity_ah, current_a : float
        Capacity at that current [Ah], and the current [A].
    cells, end_v : int, float
        Cells in series, and the end voltage of the battery [V].
    stop_s, every_s : float
        When the load goes off and time between rows [s].
    temp_c, noise_v : float
        Temperature at the start [degC] (None: not read) and noise of the voltage [V].
    seed : int

    Returns
    -------
    DischargeLog
    """
    rng = np.random.default_rng(seed)
    end_s = 3600.0 * capacity_ah / current_a
    off_s = every_s * np.ceil(1.005 * end_s / every_s) if stop_s is None else stop_s
    time = np.arange(0.0, off_s + 60.0, every_s)
    loaded = time <= off_s
    current = np.where(loaded, current_a + 0.05 * rng.standard_normal(time.size), 0.0)
    volts = loaded_voltage_v(
        current_a * np.minimum(time, off_s) / 3600.0 / capacity_ah, cells, end_v
    )
    volts = np.where(loaded, volts, volts + 1.6) + noise_v * rng.standard_normal(time.size)
    temp = None if temp_c is None else np.round(temp_c + 4.0 * time / 3600.0, 1)
    return DischargeLog(time, np.round(current, 1), np.round(volts, 2), temp)


def discharge_csv(log: DischargeLog) -> str:
    """The log as CSV text.

    Parameters
    ----------
    log : DischargeLog

    Returns
    -------
    str
        With a column ``battery_temp_c`` only where the log has temperatures.
    """
    columns = {
        "elapsed_s": log.elapsed_s,
        "discharge_current_a": log.current_a,
        "battery_voltage_v": log.voltage_v,
    }
    if log.temp_c is not None:
        columns["battery_temp_c"] = log.temp_c
    return pd.DataFrame(columns).to_csv(index=False, lineterminator="\n")


def fading_checks_csv() -> str:
    """Checks of DEMO-6, rated 40 Ah, over six years: steady, then faster; one was not full."""
    rng = np.random.default_rng(SEED)
    years = np.array([0.0, 0.9, 1.8, 2.4, 2.9, 3.5, 4.1, 4.7, 5.2])
    true_ah = 40.4 - 0.9 * years - 1.9 * np.maximum(years - 3.2, 0.0)
    read = true_ah + 0.4 * rng.standard_normal(years.size)
    read[2] -= 5.5
    kind = np.where(np.arange(years.size) == 5, "in_service", "check")
    bound = np.where(np.arange(years.size) == 3, "yes", "")
    read[3] -= 7.0
    read[5] += 1.5
    rows = {
        "on": [
            (date(2020, 3, 16) + timedelta(days=round(DAYS_PER_YEAR * y))).isoformat()
            for y in years
        ],
        "capacity_ah": np.round(read, 1),
        "capacity_sd_ah": np.where(kind == "check", 1.0, 4.5),
        "kind": kind,
        "lower_bound": bound,
    }
    return pd.DataFrame(rows).to_csv(index=False, lineterminator="\n")


def write_capacity_samples(folder: Path) -> None:
    """Write the discharge logs and the record of checks into a folder.

    Parameters
    ----------
    folder : Path
        One that is there; files of the same names are overwritten.

    Raises
    ------
    OSError
        A folder that is missing or cannot be written to.
    """
    texts = {
        DISCHARGE_PASSES: discharge_csv(simulated_discharge(36.9)),
        DISCHARGE_STOPPED: discharge_csv(simulated_discharge(36.9, stop_s=1800.0, seed=SEED + 1)),
        CHECKS_FADING: fading_checks_csv(),
    }
    for name, text in texts.items():
        invented = "# invented\n" + text
        (folder / name).write_text(invented, encoding="utf-8", newline="")
