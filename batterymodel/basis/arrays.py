"""Types of arrays in signatures; unit and shape stand in the docstring of each function."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
"""Numbers in an array."""

BoolArray: TypeAlias = NDArray[np.bool_]
"""A mask."""

IntArray: TypeAlias = NDArray[np.intp]
"""Indices."""

FloatOrArray: TypeAlias = FloatArray | float
"""One number, or an array of them that broadcasts against others."""
