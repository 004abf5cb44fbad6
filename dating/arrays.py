"""Names of the arrays that the package is written in."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

type Floats = NDArray[np.float64]
type Positions = NDArray[np.int64]
type Integers = NDArray[np.integer[Any]]
type Booleans = NDArray[np.bool_]
type Unsigned = NDArray[np.uint64]
