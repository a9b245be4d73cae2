"""The likelihood of several readings of one casting that share an unknown shift."""

import numpy as np

from testpour.likelihood.truncated import LOG_ROOT_2PI, log_interval_probability

# Values of the shift about its likeliest, in standard deviations; finer and further moves no chance of the demonstration by 1e-5
NODES = np.linspace(-3, 3, 5)
LOWEST = -1e300  # in place of the log of 0


def log_joint_likelihood(low: np.ndarray, high: np.ndarray, own: np.ndarray, one: np.ndarray) -> np.ndarray:
    """Log chance that k readings lie in their intervals, or log density where they are exact, the shift they share integrated out.

    Parameters
    ----------
    low, high : ndarray, shape (..., k)
        Ends of each reading less its mean, infinite where open; whether an end is open is the same for all of the first axes.
    own, one : ndarray, shape (...)
        Standard deviation of the shift, which is normal with mean 0, and of one reading about it.

    Returns
    -------
    ndarray, shape (...)
    """
    if low.shape[-1] == 1:
        whole = np.hypot(own, one)[..., None]
        return log_likelihood_of_each(low / whole, high / whole, whole)[..., 0]
    # Equal repeats are calculated once; one draw of every case shows which they are.
    some = np.vstack([ends[..., 0, :].reshape(-1, ends.shape[-1]) for ends in (low, high)])
    _, first, times = np.unique(some, axis=1, return_index=True, return_counts=True)
    low, high, own = low[..., first], high[..., first], np.maximum(own, 1e-6)
    middle, known = middles(low, high, one)
    precision = known @ times + 1 / own**2
    centre, step = (known * middle) @ times / precision, 1 / np.sqrt(precision)
    scale, heights = one[..., None], []
    low, high = low / scale, high / scale
    for node in NODES:
        shift = centre + node * step
        moved = shift[..., None] / scale
        heights.append(log_likelihood_of_each(low - moved, high - moved, scale) @ times - (shift / own) ** 2 / 2 - np.log(own))
    return log_integral(np.array(heights), step)


def log_likelihood_of_each(low: np.ndarray, high: np.ndarray, sd: np.ndarray) -> np.ndarray:
    """Log chance of each interval, its ends in standard deviations `sd` from the mean; log density where a reading is exact."""
    exact = low == high
    if not exact.any():
        return log_interval_probability(low, high)
    out = np.empty(low.shape)
    out[~exact] = log_interval_probability(low[~exact], high[~exact])
    out[exact] = -(low[exact] ** 2) / 2 - LOG_ROOT_2PI - np.log(np.broadcast_to(sd, low.shape)[exact])
    return out


def middles(low: np.ndarray, high: np.ndarray, one: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Middle of each closed reading and its precision (..., k), with scatter `one` (...); an open one has precision 0."""
    closed = np.isfinite(low) & np.isfinite(high)
    low, high = np.where(closed, low, 0.0), np.where(closed, high, 0.0)
    return (low + high) / 2, np.where(closed, 1 / (one[..., None] ** 2 + (high - low) ** 2 / 12), 0.0)


def log_integral(heights: np.ndarray, step: np.ndarray) -> np.ndarray:
    """Log of the integral of ``exp(heights)``, known at the `NODES` along the first axis, by the normal density's constant; a `step` is one sd."""
    return log_sum(heights, 0) + np.log(step * (NODES[1] - NODES[0])) - LOG_ROOT_2PI


def log_sum(logs: np.ndarray, axis: int) -> np.ndarray:
    """Log of the sum of ``exp(logs)`` along an axis; scipy's `logsumexp` takes several times as long here."""
    top = logs.max(axis=axis, keepdims=True, initial=LOWEST)
    return np.log(np.exp(logs - top).sum(axis=axis)) + top.squeeze(axis)
