"""Arrays by what is in them, and the type of a quantity: a float or an array; the result has its form."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
Numeric = TypeVar("Numeric", float, Floats)
