"""Sparse matrices by the kind of number they hold.

SciPy before 1.16 types them in its stubs only: there `csr_array[...]` fails when it is run.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import csr_array

if TYPE_CHECKING:
    SparseFloats = csr_array[np.float64]
    SparseSingles = csr_array[np.float32]
    SparseTruths = csr_array[np.bool_]
else:
    SparseFloats = SparseSingles = SparseTruths = csr_array
