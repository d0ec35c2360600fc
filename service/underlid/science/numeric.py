"""The type of a quantity here: a float, or an array of them; the result has the same form."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Numeric = TypeVar("Numeric", float, Floats)
