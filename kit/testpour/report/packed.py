"""Numbers packed into text: sixteen bits each between a column's ends, finer than three digits need, or eight where many add up."""

import base64
from typing import Any

import numpy as np

KINDS = {1: "u1", 2: "<u2"}  # bytes a number: unsigned integers, lowest byte first


def packed(columns: np.ndarray, size: int = 2) -> dict[str, Any]:
    """Columns of numbers as a small dict that a page can hold.

    Parameters
    ----------
    columns : array, shape (rows,) or (rows, columns)
    size : {1, 2}
        Bytes a number takes.

    Returns
    -------
    dict
        ``low`` and ``step`` of each column, ``size`` as given, and ``data``: base64 of unsigned integers, lowest byte
        first, column after column; a value is ``low + step * integer``, off by half a step at most.
    """
    columns = np.asarray(columns, float).reshape(len(columns), -1)
    low = columns.min(axis=0)
    step = np.ptp(columns, axis=0) / (256**size - 1)
    counted = np.round((columns - low) / np.where(step > 0, step, 1.0)).astype(KINDS[size])
    return {"low": low.tolist(), "step": step.tolist(), "size": size, "data": base64.b64encode(counted.T.tobytes()).decode()}


def unpacked(held: dict[str, Any]) -> np.ndarray:
    """The columns again: shape (rows, columns). The inverse of `packed`, to half a step."""
    counted = np.frombuffer(base64.b64decode(held["data"]), KINDS[held["size"]]).reshape(len(held["low"]), -1).T
    return np.array(held["low"]) + counted * np.array(held["step"])
