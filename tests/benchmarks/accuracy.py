"""How good the state of charge at connection is, by condition, on batteries nobody tuned to.

``python -m tests.benchmarks.accuracy [--half test] [--mixed 10] [--unseen]`` prints, per condition,
median and 95th percentile of the absolute error in points, interval coverage and width, dangerous
misses (truth below the service limit, outcome "top_off"), needless service (truth above 85 %), and
with ``--settling`` the median time until the outcome settles.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice

import numpy as np

from batterymodel import Assessment, assess
from batterymodel.reference.limits import limit_for
from tests.benchmarks.cases import (
    CARD,
    DRAWN,
    ON,
    Case,
    Recording,
    cases,
    mixed_cases,
    recorded,
)
from tests.benchmarks.generate import TEST

HEADS = (
    "condition",
    "cases",
    "median error",
    "95th pct",
    "bias",
    "covered",
    "width",
    "misses",
    "needless",
)
SETTLING_MINUTES = (2.0, 3.0, 5.0, 10.0, 20.0)
SETTLING_EVERY = 4
"""Every so many connections are followed until their outcome settles."""


@dataclass(frozen=True)
class Score:
    """One assessed case."""

    case: Case
    mean: float
    low: float
    high: float
    outcome: str

    @property
    def error(self) -> float:
        """Estimate less truth."""
        return self.mean - self.case.soc

    @property
    def covered(self) -> bool:
        """The interval holds the truth."""
        return self.low <= self.case.soc <= self.high

    @property
    def dangerous(self) -> bool:
        """Topped off although below the service limit."""
        limit = limit_for(self.case.battery, "min_top_off_soc").value
        return self.outcome == "top_off" and self.case.soc < limit

    @property
    def needless(self) -> bool:
        """Sent for servicing although above 85 %."""
        return self.outcome in ("service", "disconnect") and self.case.soc > 0.85


CONDITIONS: dict[str, Recording] = {
    "5 min, history, load +-1 A, 0.1 A": Recording(),
    "5 min, history, load known, 0.1 A": Recording(load_error_a=0.0),
    "5 min, history, load unknown, 0.1 A": Recording(load_error_a=None),
    "5 min, no history, load +-1 A, rest voltage": Recording(history=False, rest_voltage=DRAWN),
    "same, with the cell's own rest-voltage curve": Recording(history=False, rest_voltage=CARD),
    "5 min, no history, load +-1 A": Recording(history=False),
    "5 min, no history, load unknown": Recording(history=False, load_error_a=None),
    "5 min, history, 1 A meter every 30 s": Recording(every_s=30.0, resolution_a=1.0),
    "5 min, history, by hand": Recording(every_s=None),
    "2 min, history": Recording(minutes=2.0),
    "3 min, history": Recording(minutes=3.0),
    "10 min, history": Recording(minutes=10.0),
    "20 min, history": Recording(minutes=20.0),
    "20 min, no history": Recording(minutes=20.0, history=False),
}


def assessed(case: Case) -> Assessment:
    """The case through the tool."""
    return assess(
        case.readings,
        case.battery,
        case.supply,
        rest_voltage_v=case.rest_voltage_v,
        load_a=case.load_a,
        load_sd_a=case.load_sd_a,
        on=ON,
    )


def scored(case: Case) -> Score:
    """The case's score."""
    result = assessed(case)
    soc = result.state_of_charge.at_connection
    return Score(case, soc.mean, soc.low, soc.high, result.outcome.value)


def summary(scores: list[Score]) -> dict[str, float]:
    """Figures of a list of scores; errors and widths in points, shares in percent.

    Errors leave out connections with the supply at its limit throughout, which bound the state of
    charge and do not fix it; coverage and outcomes include them.
    """
    free = [s for s in scores if not s.case.limited_throughout]
    errors = 100.0 * np.abs([s.error for s in free])
    full = [s for s in scores if s.case.soc > 0.85]
    return {
        "cases": len(scores),
        "median": float(np.median(errors)),
        "p95": float(np.quantile(errors, 0.95)),
        "bias": 100.0 * float(np.mean([s.error for s in free])),
        "cover": 100.0 * float(np.mean([s.covered for s in scores])),
        "width": 100.0 * float(np.median([s.high - s.low for s in scores])),
        "misses": sum(s.dangerous for s in scores),
        "needless": 100.0 * sum(s.needless for s in full) / max(len(full), 1),
    }


def settling_seconds(half: str, recording: Recording) -> np.ndarray:
    """Seconds of readings until each outcome is the one it keeps; inf: it keeps watching."""
    seconds = []
    for case in islice(cases(half, recording), 0, None, SETTLING_EVERY):
        outcomes = []
        for minutes in SETTLING_MINUTES:
            rng = np.random.default_rng([5, case.connection.row])
            longer = Recording(**{**vars(recording), "minutes": minutes})
            outcomes.append(scored(recorded(case.connection, longer, rng)).outcome)
        last = next(
            (
                i
                for i in range(len(outcomes))
                if len(set(outcomes[i:])) == 1 and outcomes[i] != "keep_watching"
            ),
            None,
        )
        seconds.append(np.inf if last is None else 60.0 * SETTLING_MINUTES[last])
    return np.array(seconds)


def line(name: str, figures: dict[str, float]) -> str:
    """One row of the table."""
    return (
        f"| {name} | {figures['cases']:.0f} | {figures['median']:.1f} | {figures['p95']:.1f} | "
        f"{figures['bias']:+.1f} | {figures['cover']:.0f} % | {figures['width']:.0f} | "
        f"{figures['misses']:.0f} | {figures['needless']:.1f} % |"
    )


def table(half: str, mixed: int, unseen: bool) -> Iterable[str]:
    """Rows of the accuracy table."""
    yield "| " + " | ".join(HEADS) + " |"
    yield "|---" * len(HEADS) + "|"
    for name, recording in CONDITIONS.items():
        yield line(name, summary([scored(c) for c in cases(half, recording, unseen=unseen)]))
    if mixed:
        every = [scored(c) for c in mixed_cases(half, mixed, unseen=unseen)]
        yield line("all ways of recording", summary(every))


def settling_lines(half: str) -> Iterable[str]:
    """How soon the outcome settles, one line for each of the first conditions."""
    for name in list(CONDITIONS)[:4]:
        seconds = settling_seconds(half, CONDITIONS[name])
        settled = 100.0 * float(np.isfinite(seconds).mean())
        half_s = float(np.median(seconds))
        when = f"half of all after {half_s:.0f} s" if np.isfinite(half_s) else "less than half"
        yield f"- {name}: {settled:.0f} % settle within 20 minutes, {when}"


def main(arguments: list[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--half", default=TEST, choices=("calibration", "test"))
    parser.add_argument("--mixed", type=int, default=10, help="ways of recording per connection")
    parser.add_argument(
        "--unseen", action="store_true", help="only batteries drawn after all rules were settled"
    )
    parser.add_argument("--settling", action="store_true", help="also the time until it settles")
    options = parser.parse_args(arguments)
    for row in table(options.half, options.mixed, options.unseen):
        print(row, flush=True)
    for row in settling_lines(options.half) if options.settling else ():
        print(row, flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
