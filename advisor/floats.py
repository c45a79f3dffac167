"""Turns numbers and arrays into floating arrays of one type, so that float32 stays float32."""

from __future__ import annotations

import numpy as np


def as_floats(*values):
    """Return `values` as floating arrays of one common type.

    The type is decided by the arrays with at least one axis: float32 only if they all are float32 or smaller;
    plain numbers follow it.  Numbers alone, and integers, give float64.  None counts as NaN.

    Parameters
    ----------
    *values : float, array or None

    Returns
    -------
    tuple of numpy.ndarray, or one array when called with one value
    """
    arrays = [np.asarray(np.nan if value is None else value) for value in values]
    deciding = [array.dtype for array in arrays if array.ndim and array.dtype.kind == "f"]
    if any(array.ndim and array.dtype.kind != "f" for array in arrays):
        deciding.append(np.dtype(np.float64))
    kind = np.result_type(*deciding) if deciding else np.dtype(np.float64)
    if kind.itemsize < 4:
        kind = np.dtype(np.float32)
    converted = tuple(array.astype(kind, copy=False) for array in arrays)
    return converted[0] if len(converted) == 1 else converted
