"""The arrays of the package by what they hold."""

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
TextArray = NDArray[np.object_]
DateArray = NDArray[np.datetime64]
