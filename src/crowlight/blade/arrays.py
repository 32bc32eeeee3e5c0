"""Names for array types used throughout the package."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "Ints"]

Array = NDArray[np.floating[Any]]
Ints = NDArray[np.integer[Any]]
