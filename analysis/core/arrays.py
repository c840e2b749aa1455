"""What arrays of core hold. Apart from `types`, whose many records take longer to make than some commands have."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
IntArray = NDArray[np.intp]
