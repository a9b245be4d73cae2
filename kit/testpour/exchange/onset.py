"""When a casting begins to warm itself: a line for the room and a power of time for the resin, fitted together."""

from dataclasses import dataclass

import numpy as np

RISE = 3.0  # K of self-heating that counts as its onset
LEAVES, GELLED = 1.0, 10.0 * 5 / 9  # K of self-heating between which the gel lies: see `Trace`
WINDOW = 8.0  # K of rise that is fitted
DRIFT = 0.7  # K/h, prior standard deviation of the drift of a casting with its workshop
APART = 1.0  # K, prior standard deviation of resin as poured from the temperature it would settle at
POWERS = (1.0, 1.2, 1.35, 1.5, 1.65, 1.8, 2.0, 2.3, 2.7)
POWER, POWER_SPREAD = 1.65, 0.3  # prior: heat and cure of castings 8 to 40 mm give 1.3 to 1.9 (`physics.slab`)
FIT = 0.1  # K, error of the curve itself on those castings
LAGS = (8.0, 20.0, 45.0)  # min in which a casting follows its room: thin, usual, thick
STARTS = 60  # instants tried for the start of the power
BIN = 0.5  # min


@dataclass(frozen=True)
class Onset:
    """The start of self-heating, from weighted candidate curves."""

    minutes: np.ndarray  # when each candidate passes `RISE`; infinite where it does not within the trace
    leaves: np.ndarray  # the same for `LEAVES`
    gelled: np.ndarray  # the same for `GELLED`
    weight: np.ndarray  # how well each candidate agrees with the trace; the sum is 1
    inert: np.ndarray  # each row without cure, degC

    def between(self, which: str, share: float) -> float:
        """The weighted quantile `share` of instants (min after mixing); `which` names their array."""
        return float(np.quantile(getattr(self, which), share, weights=self.weight, method="inverted_cdf"))


def find_onset(minutes: np.ndarray, degrees: np.ndarray, noise: float, room: np.ndarray | None = None) -> Onset:
    """Fit candidate curves of room drift and self-heating to the early trace, and weight them by their fit.

    Each candidate is ``a + b t + d exp(-t / lag) + c max(t - start, 0) ** power``: the first three terms are
    the casting without cure, the last is the cure. Start, lag and power are tried on a grid; the rest follow
    by least squares with normal priors on drift and start, with Huber weights for outliers. `noise` is the
    standard deviation of one row, K; with `room`, degC, the drift is measured instead.
    """
    far = _last_row(minutes, degrees)
    early = minutes <= minutes[far]
    t, y, n = _binned(minutes[early], degrees[early] - (0.0 if room is None else room[early] - room[0]))
    start, power, lag = _candidates(t)
    base = np.stack([np.ones((len(lag), len(t))), np.broadcast_to(t / 60.0, (len(lag), len(t))), np.exp(-(t - t[0]) / lag)], axis=2)
    scale = max(t[-1] - t[0], 1.0)
    growth = (np.maximum(t - start, 0.0) / scale) ** power
    design = np.concatenate([base, growth[:, :, None]], axis=2)
    known = np.array([1e-6, 1.0 / DRIFT**2, 1.0 / APART**2, 1e-6])
    found, loss = _fitted(design, y, np.sqrt(noise**2 / n + FIT**2), known)
    loss += ((power[:, 0] - POWER) / POWER_SPREAD) ** 2
    weight = np.exp(-0.5 * (loss - loss.min()))
    weight[found[:, 3] <= 0.0] = 0.0
    weight = weight / weight.sum() if weight.sum() > 0.0 else np.full(len(loss), 1.0 / len(loss))
    minutes_at, leaves_at, gelled_at = (_crossing_times(level, found[:, 3], start[:, 0], power[:, 0], scale, minutes[-1]) for level in (RISE, LEAVES, GELLED))
    return Onset(minutes_at, leaves_at, gelled_at, weight, _inert(minutes, found, lag, weight, t[0]) + (0.0 if room is None else room - room[0]))


def _last_row(minutes, degrees):
    """The row at which the smoothed trace has first risen by `WINDOW`, or its last."""
    rough = running_mean(minutes, degrees, 3.0)
    risen = rough - np.minimum.accumulate(rough) >= WINDOW
    return int(np.argmax(risen)) if risen.any() else len(minutes) - 1


def running_mean(minutes: np.ndarray, degrees: np.ndarray, width: float) -> np.ndarray:
    """Mean of the trace within `width` minutes about each row."""
    total = np.concatenate([[0.0], np.cumsum(degrees)])
    first = np.searchsorted(minutes, minutes - width / 2, "left")
    after = np.searchsorted(minutes, minutes + width / 2, "right")
    return (total[after] - total[first]) / (after - first)


def _binned(minutes, degrees):
    """Means of time and temperature, and counts, of the rows in each bin, so that a long trace is as fast as a short one."""
    width = max(BIN, (minutes[-1] - minutes[0]) / 300.0)
    place = ((minutes - minutes[0]) / width).astype(int)
    rows = np.bincount(place)
    full = rows > 0
    return *(np.bincount(place, of)[full] / rows[full] for of in (minutes, degrees)), rows[full].astype(float)


def _candidates(t):
    """Starts, powers and lags, each (candidates, 1)."""
    starts = np.linspace(0.0, t[-1], STARTS, endpoint=False)
    return [x.reshape(-1, 1) for x in np.meshgrid(starts, POWERS, LAGS, indexing="ij")]


def _fitted(design, y, sd, known):
    """Coefficients (candidates, 4) and the loss of each fit, with outliers downweighted."""
    precision = 1.0 / sd**2
    for _ in range(3):
        weighed = (design * precision[:, None]).transpose(0, 2, 1)
        square = weighed @ design + np.diag(known)
        coefficients = np.linalg.solve(square, (weighed @ y)[..., None])
        residuals, coefficients = y - (design @ coefficients)[..., 0], coefficients[..., 0]
        loss = (precision * residuals**2).sum(axis=1) + (known * coefficients**2).sum(axis=1)
        off = np.abs(residuals[np.argmin(loss)]) / sd
        precision = 1.0 / sd**2 * np.minimum(1.0, 2.5 / np.maximum(off, 1e-9))
    return coefficients, loss + np.linalg.slogdet(square)[1]


def _crossing_times(level, size, start, power, scale, last):
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        when = start + scale * (level / np.maximum(size, 1e-12)) ** (1.0 / power)
    return np.where(when <= last, when, np.inf)


def _inert(minutes, found, lag, weight, first):
    best = np.argsort(weight)[-40:]
    share = weight[best] / weight[best].sum()
    relax = np.exp(-np.maximum(minutes - first, 0.0) / lag[best])
    level, drift, apart = (found[best, k][:, None] for k in range(3))
    return (share[:, None] * (level + drift * minutes / 60.0 + apart * relax)).sum(axis=0)
