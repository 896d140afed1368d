"""The one name for arrays of real numbers in signatures; their shapes stand in the docstrings."""

import numpy as np
from numpy.typing import NDArray

Reals = NDArray[np.float64]
