"""What the tool said of each case, held against the truth."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from batterymodel import BatteryModelError, assess
from tests.benchmarks.sickbay.cases import Case, assessed, growing
from tests.benchmarks.sickbay.tapers import TaperCase, taper_cases
from tests.benchmarks.sickbay.truth import LEAD_ACID

OUTCOMES = ("top_off", "keep_watching", "service", "disconnect", "refused", "crashed")
FULL_FIVE = ("full, 5 min, rest voltage", "full, 5 min, history")
FULL_TWENTY = ("full, 20 min, neither",)


@dataclass(frozen=True)
class Score:
    """The answer on one case; where the tool refuses or crashes, the rest is None or empty.

    A refusal is an error the tool raises on purpose, a crash is any other.
    """

    case: Case
    outcome: str
    covers_soc: bool | None = None
    covers_charge: bool | None = None
    not_checked: tuple[str, ...] = ()
    named: tuple[str, ...] | None = None

    @property
    def excused(self) -> bool:
        """A top-off that would be dangerous but names the check that is missing."""
        missing = set(self.case.truth.excused_by) & set(self.not_checked)
        return self.outcome == "top_off" and bool(missing)

    @property
    def dangerous(self) -> bool:
        """A top-off of a battery that must not be topped off, with nothing said."""
        wrong = self.outcome == "top_off" and self.case.truth.top_off_is_dangerous
        return wrong and not self.excused

    @property
    def needless(self) -> bool:
        """Service asked for a battery with nothing wrong, 85 % or more."""
        return self.outcome == "service" and self.case.truth.service_is_needless

    @property
    def false_disconnect(self) -> bool:
        """Power taken off where nothing asks for it."""
        return self.outcome == "disconnect" and self.case.truth.disconnect_is_false

    @property
    def names_it(self) -> bool | None:
        """Whether a right condition is named first or second; None: nothing is named."""
        if self.named is None:
            return None
        return bool(set(self.named[:2]) & set(self.case.truth.names))


def scored(case: Case) -> Score:
    """The tool's answer on one case."""
    try:
        result = assessed(case)
    except BatteryModelError:
        return Score(case, "refused")
    except Exception:
        return Score(case, "crashed")
    truth = case.truth
    return Score(
        case=case,
        outcome=result.outcome.value,
        covers_soc=_covers(result.state_of_charge.at_connection, truth.soc_at_zero),
        covers_charge=_covers(result.charge_to_return_ah, truth.charge_to_return_ah),
        not_checked=tuple(getattr(result, "not_checked", ())),
        named=_named(result),
    )


def _covers(interval: Any, truth: float) -> bool:
    return bool(interval.low <= truth <= interval.high)


def _named(result: Any) -> tuple[str, ...] | None:
    conditions = getattr(result, "conditions", None)
    return None if conditions is None else tuple(str(c.name) for c in conditions)


def minutes_to_disconnect(case: Case) -> float:
    """Minutes from a runaway's least current to the first disconnect, read on every minute.

    Infinite where power is left on to the end of the readings; a disconnect before counts as 0.
    """
    turn_min = case.truth.turn_s / 60.0
    for after in np.arange(0.0, case.plan.recording.minutes - turn_min + 1.0):
        if scored(growing(case, turn_min + after)).outcome == "disconnect":
            return float(after)
    return float("inf")


def share(scores: Sequence[Score], holds: Callable[[Score], bool | None]) -> float:
    """Share of the scores [percent] for which it holds, of those where it can be said."""
    said = [value for s in scores if (value := holds(s)) is not None]
    return 100.0 * float(np.mean(said)) if said else float("nan")


def row_of(name: str, scores: Sequence[Score]) -> dict[str, Any]:
    """Figures of one family, by the heads of the table."""
    counts = {outcome: sum(s.outcome == outcome for s in scores) for outcome in OUTCOMES}
    return {
        "family": name,
        "n": len(scores),
        **counts,
        "dangerous": sum(s.dangerous for s in scores),
        "excused": sum(s.excused for s in scores),
        "needless": sum(s.needless for s in scores),
        "false disc.": sum(s.false_disconnect for s in scores),
        "covers soc": share(scores, lambda s: s.covers_soc),
        "covers Ah": share(scores, lambda s: s.covers_charge),
        "named": share(scores, lambda s: s.names_it),
    }


def rows_of(scores: Sequence[Score]) -> list[dict[str, Any]]:
    """Figures of each family, in order, and of all."""
    names = list(dict.fromkeys(s.case.family for s in scores))
    by_family = [row_of(name, [s for s in scores if s.case.family == name]) for name in names]
    return [*by_family, row_of("all", scores)]


def _has_rest_voltage(score: Score) -> bool:
    return score.case.chemistry in LEAD_ACID and score.case.plan.recording.rest_voltage


def _near_limit(score: Score) -> bool:
    return 0.50 <= score.case.truth.soc < 0.75


def totals_of(scores: Sequence[Score]) -> list[str]:
    """Sentences with the totals over all families."""
    at_risk = [s for s in scores if s.case.truth.top_off_is_dangerous]
    witnessed = [s for s in at_risk if _has_rest_voltage(s)]
    near = [s for s in at_risk if _near_limit(s)]
    well = [s for s in scores if s.case.truth.service_is_needless]
    calm = [s for s in scores if s.case.truth.disconnect_is_false]
    return [
        _count("dangerous top-offs", at_risk, lambda s: s.dangerous),
        _count("of these lead-acid with rest voltage", witnessed, lambda s: s.dangerous),
        _count("of these truly at 50 to 75 %", near, lambda s: s.dangerous),
        _count("top-offs excused by a missing check that is named", at_risk, lambda s: s.excused),
        _count("needless service of sound batteries at 85 % or more", well, lambda s: s.needless),
        _count("false disconnects", calm, lambda s: s.false_disconnect),
        *[_topped_off(scores, name, 5) for name in FULL_FIVE],
        *[_topped_off(scores, name, 20) for name in FULL_TWENTY],
    ]


def _topped_off(scores: Sequence[Score], name: str, minutes: int) -> str:
    chosen = [s for s in scores if s.case.family == name]
    what = f"sound above 90 % topped off within {minutes} min ({name})"
    return _count(what, chosen, lambda s: s.outcome == "top_off")


def _count(what: str, scores: Sequence[Score], holds: Callable[[Score], bool]) -> str:
    hits = sum(holds(s) for s in scores)
    percent = 100.0 * hits / len(scores) if scores else float("nan")
    return f"{what}: {hits} of {len(scores)} ({percent:.1f} %)"


def runaway_lines(cases: Iterable[Case]) -> list[str]:
    """How soon power is taken off in each runaway family, in minutes from the least current."""
    by_family: dict[str, list[float]] = {}
    for case in cases:
        if case.truth.turn_s is not None:
            by_family.setdefault(case.family, []).append(minutes_to_disconnect(case))
    return [_runaway_line(name, np.array(found)) for name, found in by_family.items()]


def taper_lines() -> list[str]:
    """The answers on the measured tapers, one line for each and window (battery read by clamp)."""
    return [_taper_line(case) for case in taper_cases() if case.clamp]


def _taper_line(case: TaperCase) -> str:
    result = assess(case.readings, case.battery, case.supply, **case.keywords)
    charge, soc = result.charge_to_return_ah, result.state_of_charge.at_connection
    least, most = case.charge_to_return_ah
    return (
        f"measured taper {case.taper.name}, {case.minutes:.0f} min: {result.outcome.value}, "
        f"to return {charge.low:.2f} to {charge.high:.2f} Ah, truly {least:.2f} to {most:.2f}; "
        f"at connection {100 * soc.low:.0f} to {100 * soc.high:.0f} %, "
        f"truly {100 * case.soc[0]:.0f} to {100 * case.soc[1]:.0f} %"
    )


def _runaway_line(name: str, minutes: np.ndarray) -> str:
    seen = minutes[np.isfinite(minutes)]
    missed = f"never in {minutes.size - seen.size} of {minutes.size}"
    if not seen.size:
        return f"{name}: disconnect {missed}"
    middle, late = np.median(seen), np.quantile(seen, 0.9)
    return f"{name}: disconnect after {middle:.0f} min (median), {late:.0f} (90 %), {missed}"
