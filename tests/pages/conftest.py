"""What every test of a page needs."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest
from altair.utils import schemapi
from streamlit.components.v2 import manifest_scanner


@pytest.fixture(autouse=True, scope="session")
def _installed_packages_are_looked_through_once() -> Iterator[None]:
    """Streamlit looks for components in every installed package each time a page starts."""
    patch = pytest.MonkeyPatch()
    once = cache(manifest_scanner.scan_component_manifests)
    patch.setattr(manifest_scanner, "scan_component_manifests", once)
    yield
    patch.undo()


@pytest.fixture(autouse=True)
def _charts_are_not_compared_with_the_schema(monkeypatch: pytest.MonkeyPatch) -> None:
    """`tests.charts` compares each with it, and the browser draws them; it takes most of a run."""

    def unseen(*_: Any, **__: Any) -> None: ...

    monkeypatch.setattr(schemapi.SchemaBase, "validate", unseen)
