"""Numbers packed into text: sixteen bits each between a column's ends, which is finer than three digits need."""

import base64
from typing import Any

import numpy as np

STEPS = 2**16 - 1


def packed(columns: np.ndarray) -> dict[str, Any]:
    """Columns of numbers as a small dict that a page can hold.

    Parameters
    ----------
    columns : array, shape (rows,) or (rows, columns)

    Returns
    -------
    dict
        ``low`` and ``step`` of each column, and ``data``: base64 of unsigned 16-bit integers, lowest byte
        first, column after column; a value is ``low + step * integer``, off by half a step at most.
    """
    columns = np.asarray(columns, float).reshape(len(columns), -1)
    low = columns.min(axis=0)
    step = np.ptp(columns, axis=0) / STEPS
    counted = np.round((columns - low) / np.where(step > 0, step, 1.0)).astype("<u2")
    return {"low": low.tolist(), "step": step.tolist(), "data": base64.b64encode(counted.T.tobytes()).decode()}


def unpacked(held: dict[str, Any]) -> np.ndarray:
    """The columns again: shape (rows, columns). The inverse of `packed`, to half a step.

    Parameters
    ----------
    held : dict
        From `packed`.

    Returns
    -------
    array
    """
    counted = np.frombuffer(base64.b64decode(held["data"]), "<u2").reshape(len(held["low"]), -1).T
    return np.array(held["low"]) + counted * np.array(held["step"])
