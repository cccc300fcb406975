"""Measured tapers of a worn 12 V lead-acid battery: plate 50 Ah, holds about 8 to 11 Ah.

Source in `tests/data/README.md`: figures of a public repository, verified. What they show and an
ideal battery does not: a spike at the start, a fall along a line before the exponential, and a
capacity far below the plate. Nobody told the tool of a capacity check.
"""

import pytest

from batterymodel import Outcome, assess
from tests.benchmarks.sickbay.tapers import TaperCase, taper_cases
from tests.sparing import sparing

CASES = taper_cases()


@pytest.mark.long
@pytest.mark.parametrize(
    "case", sparing(CASES, every=2), ids=lambda c: f"{c.taper.name}-{c.minutes:g}-{c.clamp}"
)
def test_a_worn_battery_is_never_topped_off_on_its_current_alone(case: TaperCase) -> None:
    result = assess(case.readings, case.battery, case.supply, **case.keywords)
    assert result.outcome is not Outcome.TOP_OFF
    assert "capacity" in result.not_checked
