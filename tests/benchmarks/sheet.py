"""How long a sheet for the owner takes: ``python -m tests.benchmarks.sheet``.

CPU seconds beyond imports, assessment and forecast: what the sheet says (with its charts as
specifications), and its layout as PDF. The first sheet of a process also loads typst and the fonts,
and starts the chart converter, which takes most of it.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator

import numpy as np

from batterymodel.fade.forecast import fade_forecast
from batterymodel.samples.connections import SAMPLE_FOLDER, SCENARIO_DAY, load_scenario
from batterymodel.sheet.pdf import PAPERS, sheet_pdf
from batterymodel.sheet.sections import sheet_content
from tests.conftest import assessed_sample

CHECKS, OWNER = str(SAMPLE_FOLDER / "checks-fading.csv"), "A. Owner"


def lines(checks: str = CHECKS, owner: str = OWNER) -> Iterator[str]:
    """Seconds of the first sheet, and of the others."""
    samples, supply = load_scenario()
    forecast = fade_forecast(checks, samples[0].battery, today=SCENARIO_DAY)
    said, laid = [], []
    for sample in samples:
        result = assessed_sample(sample.key)
        begun = time.process_time()
        content = sheet_content(
            result, sample.battery, SCENARIO_DAY, supply=supply, forecast=forecast, owner=owner
        )
        said.append(time.process_time() - begun)
        begun = time.process_time()
        sheet_pdf(content, tuple(PAPERS)[len(laid) % 2])
        laid.append(time.process_time() - begun)
    first = said[0] + laid[0]
    yield (
        f"- first sheet: {said[0]:.2f} s to say, {laid[0]:.2f} s to lay out, {first:.2f} s together"
    )
    for name, taken in (("say", said[1:]), ("lay out", laid[1:])):
        yield f"- later sheets: median {np.median(taken):.2f} s to {name}, most {max(taken):.2f} s"


def main(arguments: list[str] | None = None) -> int:
    """Print the seconds of the first sheet, and of the others by paper."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--checks", default=CHECKS)
    parser.add_argument("--owner", default=OWNER, help="another script costs a font more")
    options = parser.parse_args(arguments)
    for line in lines(options.checks, options.owner):
        print(line, flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
