"""One change of the code that some test must notice."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Mutation:
    """One change of the code: file, text before and after, and the test files that notice."""

    name: str
    file: str
    before: str
    after: str
    tests: tuple[str, ...]


def changes_in(
    folder: str, *changes: tuple[str, str, str, str], tests: tuple[str, ...] = ()
) -> tuple[Mutation, ...]:
    """Mutations of one package, noticed by its boundary tests where nothing else is said."""
    noticing = tests or (f"tests/{folder}/test_boundaries.py",)
    return tuple(
        Mutation(name, f"batterymodel/{folder}/{module}.py", before, after, noticing)
        for name, module, before, after in changes
    )
