"""Names for the arrays in the records: shapes stand in the docstrings of their owners."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Float32Array = NDArray[np.float32]
ByteArray = NDArray[np.uint8]
BoolArray = NDArray[np.bool_]
DeepArray = NDArray[np.uint16]
SampleArray = ByteArray | DeepArray
