"""Shared fixtures: a battery, a supply, and connections simulated from the stated model."""

from __future__ import annotations

import itertools
import os
import shutil
import uuid
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import settings

from batterymodel import Assessment, Battery, Chemistry, Event, Readings, assess
from batterymodel.reference.chemistry import data_for
from batterymodel.samples.connections import SCENARIO_DAY, load_scenario, sample_readings_path
from batterymodel.samples.demo import fill_demo
from batterymodel.samples.simulate import TruePath, battery_current_a, meter_reading_a
from batterymodel.store import Store, open_store
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.taper.prior import MOST_C_RATE_PER_H, SHARE_RANGE
from tests.sparing import DEFAULT, EXAMPLES, THOROUGH, a_third_of

for profile, tried in ((DEFAULT, a_third_of(EXAMPLES)), (THOROUGH, EXAMPLES)):
    settings.register_profile(profile, deadline=None, max_examples=tried, derandomize=True)
settings.load_profile(DEFAULT)

BELIEF = data_for(Chemistry.VRLA).taper
"""What the estimator believes of lead-acid tapers."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Tests of one file stay on one worker while it can: they share what is made for them once."""
    if config.getoption("dist") != "load":
        return None
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What takes longest is started first, else one worker is still at it when all others end."""
    items.sort(key=lambda item: item.get_closest_marker("starts_first") is None)


@pytest.fixture(autouse=True, scope="session")
def _record_of_the_tests(tmp_path_factory):
    """Pages and commands never touch the record of whoever runs the tests."""
    patch = pytest.MonkeyPatch()
    patch.setenv(URL_VARIABLE, str(tmp_path_factory.mktemp("record") / "record.sqlite"))
    yield
    patch.undo()


@pytest.fixture
def battery() -> Battery:
    return Battery(
        tail="DEMO-1",
        chemistry="vrla",
        cells=12,
        rated_capacity_ah=40.0,
        history={"charge_time_h": 0.31, "charge_time_rel_sd": 0.06},
        capacity_check={"on": "2026-01-05", "capacity_ah": 40.0, "capacity_sd_ah": 0.8},
    )


def simulated_connection(
    depth: float,
    charge_time_h: float = 0.31,
    *,
    rated_ah: float = 40.0,
    load_a: float = 8.0,
    limit_a: float = 60.0,
    minutes: float = 5.0,
    every_s: float = 5.0,
    resolution_a: float = 0.1,
    noise_a: float = 0.03,
    seed: int = 1,
    steps: tuple[tuple[float, float], ...] = (),
    marked: bool = True,
    rise_a_per_min: float = 0.0,
    rise_from_s: float = 0.0,
    float_current_a: float = 0.1,
    fast_share: float | None = None,
    fast_ratio: float = BELIEF.fast_ratio,
    **columns: np.ndarray,
) -> Readings:
    """Readings of a connection whose charge to return is ``depth`` of rated capacity."""
    time = np.arange(0.0, 60.0 * minutes + 0.1, every_s)
    load = np.full(time.size, load_a)
    for at, by in steps:
        load = load + by * (time >= at)
    path = true_path(
        depth,
        charge_time_h,
        rated_ah,
        fast_share,
        fast_ratio,
        float_current_a,
        rise_a_per_min,
        rise_from_s,
        room_a=min(limit_a - load_a, 3.0 * rated_ah),
    )
    current = battery_current_a(path, time, limit_a - load) + load
    rng = np.random.default_rng(seed)
    return Readings(
        elapsed_s=time,
        supply_current_a=meter_reading_a(np.minimum(current, limit_a), resolution_a, noise_a, rng),
        events=tuple(Event(elapsed_s=at, text="switch") for at, _ in steps) if marked else (),
        **columns,
    )


def believed_at(c_rate_per_h: float, fast_share: float, slow_h: float) -> tuple[float, float]:
    """Fast share and slow time constant [h] at a rate, of a battery with these at a small one."""
    rate = min(c_rate_per_h, MOST_C_RATE_PER_H)
    share = fast_share + BELIEF.share_per_c_rate * rate
    return float(np.clip(share, *SHARE_RANGE)), slow_h * np.exp(-BELIEF.log_time_per_c_rate * rate)


def true_path(
    depth: float,
    charge_time_h: float = 0.31,
    rated_ah: float = 40.0,
    fast_share: float | None = None,
    fast_ratio: float = BELIEF.fast_ratio,
    float_current_a: float = 0.1,
    rise_a_per_min: float = 0.0,
    rise_from_s: float = 0.0,
    room_a: float = 52.0,
) -> TruePath:
    """Battery of a charge time at a small current, at the rate depth and supply drive it to.

    It obeys the same belief about rates as the estimator, so it checks the arithmetic; the belief
    itself is checked by `tests.reference_cases` and `tests.benchmarks`. With a fast share given,
    the charge time is taken as it stands.
    """
    charge, here, share = depth * rated_ah / BELIEF.efficiency, charge_time_h, fast_share
    if share is None:
        time_h = charge_time_h / (1.0 - (1.0 - fast_ratio) * BELIEF.fast_share)
        rate = 0.0
        for _ in range(80):
            rate = 0.7 * rate + 0.3 * min(charge / here, room_a) / rated_ah
            share = BELIEF.fast_share + BELIEF.share_per_c_rate * rate
            here = (
                time_h
                * np.exp(-BELIEF.log_time_per_c_rate * rate)
                * (1.0 - (1.0 - fast_ratio) * share)
            )
    return TruePath(charge, here, share, fast_ratio, float_current_a, rise_a_per_min, rise_from_s)


@cache
def assessed_sample(key: str) -> Assessment:
    """A sample connection with everything its story declares, assessed on its day."""
    samples, supply = load_scenario()
    sample = next(sample for sample in samples if sample.key == key)
    return assess(
        sample_readings_path(key),
        sample.battery,
        supply,
        rest_voltage_v=sample.rest_voltage_v,
        load_a=sample.load_a,
        ambient_c=sample.ambient_c,
        on=SCENARIO_DAY,
    )


POSTGRES_VARIABLE = "BATTERYMODEL_TEST_POSTGRES_URL"
BACKENDS = ("sqlite", "postgresql")
NewFile = Callable[[str], Path]


@pytest.fixture(scope="session")
def empty_sqlite(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty record, to be copied."""
    path = tmp_path_factory.mktemp("empty") / "record.sqlite"
    open_store(path)
    return path


@pytest.fixture(scope="session")
def demo_sqlite(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record of the invented fleet, to be copied."""
    path = tmp_path_factory.mktemp("demo") / "record.sqlite"
    fill_demo(open_store(path))
    return path


@pytest.fixture(scope="session")
def new_sqlite(tmp_path_factory: pytest.TempPathFactory, empty_sqlite: Path) -> NewFile:
    """Gives an empty record under a name, in a folder of the whole run.

    The same name is the same path in every test, so that its statements are compiled once.
    """
    folder = tmp_path_factory.mktemp("records")

    def made(name: str) -> Path:
        for left in folder.glob(f"{name}.sqlite*"):
            left.unlink()
        return Path(shutil.copy(empty_sqlite, folder / f"{name}.sqlite"))

    return made


@pytest.fixture(params=BACKENDS)
def new_url(request, new_sqlite: NewFile) -> Iterator[Callable[[], str]]:
    """Gives the URL of a new empty record each time it is called, on either database."""
    schemas: list[str] = []
    names = (f"record-{k}" for k in itertools.count())

    def on_sqlite() -> str:
        return str(new_sqlite(next(names)))

    def on_postgres() -> str:
        schemas.append(f"t{uuid.uuid4().hex}")
        _run_on_postgres(f"CREATE SCHEMA {schemas[-1]}")
        joint = "&" if "?" in os.environ[POSTGRES_VARIABLE] else "?"
        return f"{os.environ[POSTGRES_VARIABLE]}{joint}options=-csearch_path%3D{schemas[-1]}"

    if request.param == "postgresql" and not os.environ.get(POSTGRES_VARIABLE):
        pytest.skip(f"{POSTGRES_VARIABLE} is not set; .ci/run starts a PostgreSQL for it")
    yield on_sqlite if request.param == "sqlite" else on_postgres
    for schema in schemas:
        _run_on_postgres(f"DROP SCHEMA {schema} CASCADE")


def _run_on_postgres(statement: str) -> None:
    import psycopg

    with psycopg.connect(os.environ[POSTGRES_VARIABLE], autocommit=True) as connection:
        connection.execute(statement)


@pytest.fixture
def store(new_url: Callable[[], str]) -> Store:
    """An empty record on either database."""
    return open_store(new_url())


@pytest.fixture
def sqlite_store(new_sqlite: NewFile) -> Store:
    """An empty record in a file."""
    return open_store(new_sqlite("record"))


@pytest.fixture
def own_store(tmp_path: Path, empty_sqlite: Path) -> Store:
    """An empty record in a file of this test alone, to be treated badly."""
    return open_store(shutil.copy(empty_sqlite, tmp_path / "record.sqlite"))
