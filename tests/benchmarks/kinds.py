"""What other batteries of a kind teach of a new one: held-back batteries without own history.

``python -m tests.benchmarks.kinds [--kinds 20] [--seed 3110]`` draws kinds from the spread between
them and batteries from that within each, lets some of them complete tapers through the tool, and
reads five minutes of others that no one has seen. Two simulations: batteries of the tool's own
charging law, and of five others (`tests.benchmarks.sickbay`). ``mixed in`` says that three of ten
batteries noted for the kind are of another one.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import numpy as np

from batterymodel import Battery, BatteryModelError, Chemistry, Readings, Supply, assess
from batterymodel.inputs.kinds import KindBelief, KindCheck, TaperLesson
from batterymodel.reference.capacity_in_use import capacity_belief
from batterymodel.reference.chemistry import data_for
from batterymodel.samples.simulate import meter_reading_a
from batterymodel.soc.kinds import BatteryLessons, kind_belief
from batterymodel.soc.learning import completed_taper, taper_lesson
from batterymodel.taper.fit import fit_taper
from batterymodel.taper.posterior import charge_posterior
from batterymodel.taper.prior import prior_for
from batterymodel.taper.signals import signal_from
from tests.benchmarks.cases import ON
from tests.benchmarks.sickbay.circuit import Trace, traces
from tests.benchmarks.sickbay.draw import drawn_bus, drawn_cell, drawn_source
from tests.benchmarks.sickbay.meter import told
from tests.benchmarks.sickbay.plan import LAWS, Cell, Plan, Recording
from tests.conftest import believed_at

SEED = 3110
ON_RECORD = {5: 3, 20: 8, 100: 25}
"""Completed tapers on record, and of how many batteries."""

EACH = 4
"""Most tapers that a battery completes."""

HELD_BACK = 6
"""Batteries of each kind that are read for five minutes."""

MIXED_IN = 0.3
WITHIN = 0.10
"""Spread of the log time constant within a kind; of the fast share a fifth of that. Own choice:
between a quarter and a third of what the chemistry spans."""

BELIEF = data_for(Chemistry.VRLA).taper
PLATE_AH = 40.0
TAPER_S, WINDOW_S = np.arange(0.0, 3 * 3600.0 + 1.0, 60.0), np.arange(0.0, 300.1, 5.0)


@dataclass(frozen=True)
class Given:
    """One connection as the tool gets it, and the state of charge that is true."""

    readings: Readings
    battery: Battery
    supply: Supply | None
    keywords: dict[str, Any]
    temp_c: float
    soc: float


@dataclass(frozen=True)
class Score:
    """One held-back connection: estimate less truth, whether the range holds it, its width.

    ``left_out`` says that the answer was made without the kind, which contradicts the readings or
    would have lifted the outcome.
    """

    error: float
    covered: bool
    width: float
    left_out: bool


@dataclass(frozen=True)
class OwnLaw:
    """A kind, or a battery of it, by the law the tool assumes."""

    log_time: float
    share: float

    @classmethod
    def drawn(cls, _number: int, rng: np.random.Generator, within: float) -> OwnLaw:
        between = np.sqrt(BELIEF.time_constant_log_sd**2 - within**2)
        between_share = np.sqrt(BELIEF.fast_share_sd**2 - (within / 5.0) ** 2)
        return cls(
            float(np.log(BELIEF.time_constant_h) + rng.normal(0.0, between)),
            float(BELIEF.fast_share + rng.normal(0.0, between_share)),
        )

    def battery(self, rng: np.random.Generator, within: float) -> OwnLaw:
        share = self.share + rng.normal(0.0, within / 5.0)
        return OwnLaw(self.log_time + float(rng.normal(0.0, within)), max(float(share), 0.02))

    def connected(
        self, rng: np.random.Generator, depths: tuple[float, float], time_s: np.ndarray
    ) -> Given:
        """A connection in the hold, whose values moved a little, on a supply without limit."""
        depth, load = float(rng.uniform(*depths)), float(rng.uniform(2.0, 20.0))
        time_h = float(np.exp(self.log_time + rng.normal(0.0, BELIEF.time_transfer_log_sd)))
        moved = max(self.share + float(rng.normal(0.0, BELIEF.share_transfer_sd)), 0.02)
        share, slow_h = moved, time_h
        for _ in range(40):
            charge_h = slow_h * (1.0 - (1.0 - BELIEF.fast_ratio) * share)
            rate = depth / BELIEF.efficiency / charge_h
            share, slow_h = believed_at(rate, moved, time_h)
        hours = time_s / 3600.0
        fast = share * np.exp(-hours / (slow_h * BELIEF.fast_ratio))
        level = fast + (1.0 - share) * np.exp(-hours / slow_h)
        floats_a = max(float(rng.normal(0.12, 0.12)), 0.0)
        current = rate * PLATE_AH * level + floats_a + load
        readings = Readings(
            elapsed_s=time_s, supply_current_a=meter_reading_a(current, 0.1, 0.03, rng)
        )
        known = {"load_a": load + rng.uniform(-1.0, 1.0), "load_sd_a": 0.58, "ambient_c": 25.0}
        return Given(readings, _plate(), Supply(rated_current_a=400.0), known, 25.0, 1.0 - depth)


def _plate() -> Battery:
    check = {"on": "2026-02-10", "capacity_ah": PLATE_AH, "capacity_sd_ah": 0.02 * PLATE_AH}
    return Battery(
        tail="DEMO-1",
        chemistry=Chemistry.VRLA,
        cells=12,
        rated_capacity_ah=PLATE_AH,
        capacity_check=check,
    )


@dataclass(frozen=True)
class OtherLaw:
    """A kind, or a battery of it, by one of five laws that are not the tool's own."""

    cell: Cell

    @classmethod
    def drawn(cls, number: int, rng: np.random.Generator, within: float) -> OtherLaw:
        law = LAWS[number % len(LAWS)]
        cell = drawn_cell(Chemistry.VRLA, law, (0.5, 0.5), rng)
        return cls(replace(cell, cells=12, plate_ah=PLATE_AH, capacity_ah=PLATE_AH))

    def battery(self, rng: np.random.Generator, within: float) -> OtherLaw:
        cell = self.cell
        return OtherLaw(
            replace(
                cell,
                capacity_ah=PLATE_AH * float(np.exp(rng.normal(0.0, 0.03))),
                tau_h=cell.tau_h * float(np.exp(rng.normal(0.0, within))),
                ohm_vh=cell.ohm_vh * float(np.exp(rng.normal(0.0, within))),
                fast_s=cell.fast_s * float(np.exp(rng.normal(0.0, within))),
            )
        )

    def planned(
        self, rng: np.random.Generator, depths: tuple[float, float], time_s: np.ndarray
    ) -> Plan:
        """A connection on a supply with wires, at some temperature."""
        ambient = float(rng.uniform(8.0, 33.0))
        soc = 1.0 - float(rng.uniform(*depths))
        cell = replace(self.cell, soc=soc, temp_c=ambient, ambient_c=ambient)
        recording = Recording(
            minutes=float(time_s[-1]) / 60.0,
            every_s=float(time_s[1] - time_s[0]),
            resolution_a=0.1,
            noise_a=0.05,
            temperature="column",
            told_load_error_a=float(rng.normal(0.0, 0.5)),
            check=(float(cell.capacity_ah / cell.plate_ah * rng.normal(1.0, 0.02)), 20),
        )
        seed = (int(rng.integers(2**31)),)
        source = replace(drawn_source(cell, rng), limit_a=300.0)
        return Plan(seed, cell, replace(drawn_bus(rng), steps=()), source, recording)


Kind = OwnLaw | OtherLaw
Draw = Callable[[int, np.random.Generator, float], Kind]


def connected(
    batteries: list[Kind],
    rng: np.random.Generator,
    depths: tuple[float, float],
    time_s: np.ndarray,
) -> list[Given]:
    """A connection of each battery, in order."""
    own = [one.connected(rng, depths, time_s) for one in batteries if isinstance(one, OwnLaw)]
    plans = [one.planned(rng, depths, time_s) for one in batteries if isinstance(one, OtherLaw)]
    return own + [_given(plan, trace) for plan, trace in zip(plans, traces(plans), strict=True)]


def _given(plan: Plan, trace: Trace) -> Given:
    one, cell = told(plan, trace, None), plan.cell
    keywords = {"load_a": None, "load_sd_a": 0.5, **one.keywords}
    return Given(one.readings, one.battery, one.supply, keywords, cell.temp_c, cell.soc)


def lesson_of(given: Given) -> TaperLesson | None:
    """What the tool learns of a completed taper, before conditions are asked, which may refuse."""
    temp_c = given.temp_c
    load, load_sd = given.keywords["load_a"], given.keywords["load_sd_a"]
    signal = signal_from(given.readings, given.supply, load, load_sd)
    try:
        fit = fit_taper(signal, prior_for(given.battery, temp_c, ON))
    except BatteryModelError:
        return None
    measured = completed_taper(fit, charge_posterior(fit), given.battery, temp_c)
    return taper_lesson(measured, given.battery, temp_c, ON) if measured else None


def lessons_of(
    kind: Kind, batteries: int, rng: np.random.Generator, within: float
) -> list[list[TaperLesson]]:
    """Completed tapers of so many batteries of a kind; some of them teach nothing."""
    own = [kind.battery(rng, within) for _ in range(batteries)]
    every = connected([one for one in own for _ in range(EACH)], rng, (0.06, 0.3), TAPER_S)
    found = [lesson_of(given) for given in every]
    return [[x for x in found[k : k + EACH] if x] for k in range(0, len(found), EACH)]


def beliefs_of(
    kind: list[list[TaperLesson]], other: list[list[TaperLesson]]
) -> dict[str, KindBelief | None]:
    """What is believed of one more battery of the kind, by what is on record."""
    found: dict[str, KindBelief | None] = {"none": None}
    for tapers, batteries in ON_RECORD.items():
        foreign = max(round(MIXED_IN * batteries), 1)
        sets = {f"{tapers}": kind[:batteries]}
        sets[f"{tapers}, mixed in"] = kind[: batteries - foreign] + other[:foreign]
        for name, lessons in sets.items():
            each = [tapers // batteries + (k < tapers % batteries) for k in range(batteries)]
            told = (BatteryLessons(tuple(one[:n])) for one, n in zip(lessons, each, strict=True))
            found[name] = kind_belief(Chemistry.VRLA, told)
    return found


def score(given: Given, belief: KindBelief | None) -> Score:
    """One held-back connection, with what its kind taught."""
    battery = given.battery.model_copy(update={"kind": belief})
    result = assess(given.readings, battery, given.supply, **{"on": ON, **given.keywords})
    soc = result.state_of_charge.at_connection
    return Score(
        error=soc.mean - given.soc,
        covered=soc.low <= given.soc <= soc.high,
        width=soc.high - soc.low,
        left_out=result.kind is not None and not result.kind.in_use,
    )


def scores(
    draw: Draw, kinds: int, seed: int = SEED, within: float = WITHIN
) -> dict[str, list[Score]]:
    """Scores of every held-back connection, by what was on record."""
    found: dict[str, list[Score]] = {}
    for number in range(kinds):
        rng = np.random.default_rng([seed, number])
        kind, other = (draw(number + k, rng, within) for k in range(2))
        most = max(ON_RECORD.values())
        taught = lessons_of(kind, most, rng, within)
        beliefs = beliefs_of(taught, lessons_of(other, round(MIXED_IN * most), rng, within))
        new = [kind.battery(rng, within) for _ in range(HELD_BACK)]
        for given in connected(new, rng, (0.05, 0.5), WINDOW_S):
            for name, belief in beliefs.items():
                found.setdefault(name, []).append(score(given, belief))
    return found


SIMULATIONS: dict[str, tuple[Draw, float]] = {
    "the tool's own law": (OwnLaw.drawn, WITHIN),
    "own law, alike within a kind": (OwnLaw.drawn, 0.5 * WITHIN),
    "five other laws": (OtherLaw.drawn, WITHIN),
}


CHECKS = (0, 3, 10, 30)
"""Other batteries with a bench check on record."""

AGEING_KINDS = 300
"""Kinds whose capacity is told without own check."""


def capacity_scores(checks: int, seed: int = SEED) -> tuple[np.ndarray, np.ndarray]:
    """Mean told less true capacity over plate, and whether the 90 % range holds it.

    A kind's start is drawn as the chemistry has it, its loss per year from a gamma distribution of
    mean 0.05 and spread 0.04; batteries lie 0.03 and a fifth around these, and one in eight loses
    4.5 times as much.
    """
    errors, covered = [], []
    for number in range(AGEING_KINDS):
        rng = np.random.default_rng([seed, 7, number])
        start, loss = float(rng.normal(1.0, 0.06)), float(rng.gamma(1.56, 0.032))
        others = [_aged(start, loss, rng) for _ in range(max(CHECKS))]
        told = [
            KindCheck(
                age_years=y, share=c * float(np.exp(rng.normal(0.0, 0.03))), share_log_sd=0.03
            )
            for y, c in others[:checks]
        ]
        years, share = _aged(start, loss, rng)
        kind = kind_belief(Chemistry.VRLA, [BatteryLessons(check=one) for one in told])
        installed = ON - timedelta(days=round(365.25 * years))
        about = {"capacity_check": None, "installed_on": installed, "kind": kind}
        belief = capacity_belief(_plate().model_copy(update=about), ON)
        low, high = belief.quantile_ah(np.array([0.05, 0.95])) / PLATE_AH
        errors.append(belief.mean_ah / PLATE_AH - share)
        covered.append(low <= share <= high)
    return np.array(errors), np.array(covered)


def _aged(start: float, loss: float, rng: np.random.Generator) -> tuple[float, float]:
    """Age [a] and capacity over plate of one battery of a kind."""
    years = float(rng.uniform(0.5, 8.0))
    own = loss * float(np.exp(rng.normal(0.0, 0.2))) * (4.5 if rng.random() < 0.12 else 1.0)
    share = (start + float(rng.normal(0.0, 0.03))) * np.exp(-own * years)
    return years, float(np.clip(share, 0.1, 1.3))


def capacity_lines(seed: int = SEED) -> Iterable[str]:
    """The table of capacities without own check, a row for each number of others' checks."""
    yield "| checks of others | batteries | median error | mean error | 95th pct | covered |"
    yield "|---|---|---|---|---|---|"
    for checks in CHECKS:
        errors, covered = capacity_scores(checks, seed)
        of_plate = 100.0 * np.abs(errors)
        yield (
            f"| {checks} | {errors.size} | {np.median(of_plate):.1f} | {of_plate.mean():.1f} | "
            f"{np.quantile(of_plate, 0.95):.1f} | {100.0 * covered.mean():.0f} % |"
        )


def lines(kinds: int = 20, seed: int = SEED) -> Iterable[str]:
    """The table, a row for each simulation and record."""
    yield (
        "| batteries follow | tapers on record | cases | median error | mean error | 95th pct | "
        "covered | width | made without |"
    )
    yield "|---|---|---|---|---|---|---|---|---|"
    for words, (draw, within) in SIMULATIONS.items():
        for name, found in scores(draw, kinds, seed, within).items():
            errors = 100.0 * np.abs([s.error for s in found])
            width = 100.0 * np.median([s.width for s in found])
            covered = 100.0 * np.mean([s.covered for s in found])
            without = 100.0 * np.mean([s.left_out for s in found])
            yield (
                f"| {words} | {name} | {errors.size} | {np.median(errors):.1f} | "
                f"{errors.mean():.1f} | {np.quantile(errors, 0.95):.1f} | {covered:.0f} % | "
                f"{width:.0f} | {without:.0f} % |"
            )


def main(arguments: list[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kinds", type=int, default=20, help="kinds of each simulation (20)")
    parser.add_argument("--seed", type=int, default=SEED, help=f"of the draws ({SEED})")
    options = parser.parse_args(arguments)
    for line in (*capacity_lines(options.seed), "", *lines(options.kinds, options.seed)):
        print(line, flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
