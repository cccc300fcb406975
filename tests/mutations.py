"""Does a test notice when a deciding value is wrong? Changes the code in a copy and looks.

``python -m tests.mutations [--only NAME] [--part 1/3] [--jobs 2]`` applies one mutation after
another to a copy of the checkout and runs the test files that should notice. Status 1 if any
survives, if a text to replace is not found exactly once, or if those tests fail without any
mutation. All of them take half an hour on two cores. `tests.mutation_list` holds the list.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from queue import SimpleQueue

from tests.mutation_list import MUTATIONS, Mutation
from tests.sparing import THOROUGH

ROOT = Path(__file__).parents[1]
COPIED = ("batterymodel", "tests", "sample_data", "pyproject.toml", "README.md")
TESTS_FAILED = 1
"""Exit status of pytest when tests ran and some failed; any other but 0 is no verdict."""

COMPILED_ONCE = {"PYTHONDONTWRITEBYTECODE": ""}
"""Lets the next mutation start with what was compiled for the last, whatever is set outside."""

FIRST_TIME_S = 1_000_000_000


@dataclass(frozen=True)
class Verdict:
    """What the tests said of one mutation."""

    mutation: Mutation
    caught: bool
    words: str


def times_found(mutation: Mutation) -> int:
    """How often the text to replace stands in its file."""
    return (ROOT / mutation.file).read_text(encoding="utf-8").count(mutation.before)


def copy_of_checkout(folder: Path) -> Path:
    """A copy that tests can run in."""
    for name in COPIED:
        source, target = ROOT / name, folder / name
        if source.is_dir():
            shutil.copytree(source, target, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy2(source, target)
    return folder


def status_of(tests: Iterable[str], checkout: Path, workers: int = 0) -> tuple[int, str]:
    """Exit status of pytest on these files in a checkout, and the last lines it wrote."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-n", str(workers)]
    command += ["-p", "no:cacheprovider", f"--hypothesis-profile={THOROUGH}"]
    command += ["-m", "not physics and not browser and not slow"]
    one_thread = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")
    run = subprocess.run(
        [*command, *tests],
        cwd=checkout,
        env=os.environ | one_thread | COMPILED_ONCE,
        capture_output=True,
        text=True,
        check=False,
    )
    return run.returncode, "\n".join(run.stdout.strip().splitlines()[-3:])


class Bench:
    """Copies of the checkout, one for each job, that mutations take turns in."""

    def __init__(self, folder: Path, jobs: int) -> None:
        self.copies: SimpleQueue[Path] = SimpleQueue()
        self.times = count(FIRST_TIME_S)
        for k in range(jobs):
            self.copies.put(copy_of_checkout(folder / str(k)))

    def verdict(self, mutation: Mutation) -> Verdict:
        """The mutation applied, tested and taken back."""
        found = times_found(mutation)
        if found != 1:
            return Verdict(mutation, False, f"text found {found} times in {mutation.file}")
        checkout = self.copies.get()
        try:
            self._apply(mutation, checkout)
            status, words = status_of(mutation.tests, checkout)
        finally:
            shutil.copy2(ROOT / mutation.file, checkout / mutation.file)
            self.copies.put(checkout)
        if status in (0, TESTS_FAILED):
            return Verdict(mutation, status == TESTS_FAILED, "SURVIVED" if status == 0 else words)
        return Verdict(mutation, False, f"tests did not run (status {status}): {words}")

    def _apply(self, mutation: Mutation, checkout: Path) -> None:
        path = checkout / mutation.file
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace(mutation.before, mutation.after), encoding="utf-8")
        stamp = next(self.times)
        os.utime(path, (stamp, stamp))  # else compiled code of the last mutation could be taken


def sound(mutations: Iterable[Mutation], checkout: Path, workers: int = 0) -> bool:
    """Whether all tests that should notice pass on the code as it is."""
    tests = sorted({test for mutation in mutations for test in mutation.tests})
    status, words = status_of(tests, checkout, workers)
    if status != 0:
        print(f"the tests fail without any mutation (status {status}):\n{words}")
    return status == 0


def part(text: str) -> tuple[int, int]:
    """Which part of how many, of a text like ``2/3``."""
    try:
        number, parts = (int(word) for word in text.split("/"))
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is no part like 2/3") from None
    if not 1 <= number <= parts:
        raise argparse.ArgumentTypeError(f"there is no part {number} of {parts}")
    return number, parts


def main(arguments: list[str] | None = None) -> int:
    """Run the mutations and say which survive."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", help="run the mutations whose name holds this text")
    parser.add_argument("--jobs", type=int, default=2, help="mutations tried at once")
    parser.add_argument("--part", type=part, default=(1, 1), help="one part of all, like 2/3")
    parser.add_argument(
        "--passed-before",
        action="store_true",
        help="all tests passed on this code, with all examples: not run again unchanged",
    )
    options = parser.parse_args(arguments)
    number, parts = options.part
    chosen = [m for m in MUTATIONS if options.only is None or options.only in m.name]
    chosen = chosen[number - 1 :: parts]
    if not chosen:
        parser.error(f"no mutation is named like {options.only!r}")
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(options.jobs) as pool:
        unchanged = Path(folder) / "sound"
        proven = options.passed_before or sound(chosen, copy_of_checkout(unchanged), options.jobs)
        if not proven:
            return 1
        verdicts = []
        for verdict in pool.map(Bench(Path(folder), options.jobs).verdict, chosen):
            verdicts.append(verdict)
            said = "caught" if verdict.caught else verdict.words
            print(f"{verdict.mutation.name}: {said}", flush=True)
    caught = sum(v.caught for v in verdicts)
    print(f"{caught} of {len(verdicts)} caught")
    return 0 if caught == len(verdicts) else 1


if __name__ == "__main__":
    raise SystemExit(main())
