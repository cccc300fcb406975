"""What every test of a page needs."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import pytest
from streamlit.components.v2 import manifest_scanner


@pytest.fixture(autouse=True, scope="session")
def _installed_packages_are_looked_through_once() -> Iterator[None]:
    """Streamlit looks for components in every installed package each time a page starts."""
    patch = pytest.MonkeyPatch()
    once = cache(manifest_scanner.scan_component_manifests)
    patch.setattr(manifest_scanner, "scan_component_manifests", once)
    yield
    patch.undo()
