"""What kinds of arrays are there? One name each, so that a signature says it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
"""Places, lengths, angles, forces; SI units."""

Floats32 = NDArray[np.float32]
"""Large tables where seven digits are enough."""

Ints = NDArray[np.signedinteger]
"""Rows and counts, of any width."""

Ints32 = NDArray[np.int32]
"""Rows stored by the million: nodes, limbs, voxels."""

Flags = NDArray[np.bool_]
"""True or False, one each."""
