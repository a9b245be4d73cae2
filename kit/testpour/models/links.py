"""Links between the scale a reading is read on and the latent scale on which effects add."""

from dataclasses import dataclass

import numpy as np

KINDS = ("identity", "log", "logit")


@dataclass(frozen=True)
class Link:
    """A one-to-one map from readings to the latent normal scale.

    Parameters
    ----------
    kind : {"identity", "log", "logit"}
        ``log`` for times, ``logit`` for a share of a range, ``identity`` for a plain value.
    low, high : float
        Ends of the range, in the reading's unit; used by ``logit`` only.

    Raises
    ------
    ValueError
        When `kind` is unknown, or a logit range is empty or endless.
    """

    kind: str = "identity"
    low: float = 0.0
    high: float = 1.0

    def __post_init__(self):
        if self.kind not in KINDS:
            raise ValueError(f"Link {self.kind!r} is not known; choose one of {', '.join(KINDS)}.")
        if self.kind == "logit" and not -np.inf < self.low < self.high < np.inf:
            raise ValueError(f"A logit link needs a finite range, not {self.low:g} to {self.high:g}.")

    def forward(self, value):
        """Return readings on the latent scale; the ends of the range, and beyond, go to -inf and inf."""
        value = np.asarray(value, dtype=float)
        if self.kind == "identity":
            return value
        with np.errstate(divide="ignore"):
            if self.kind == "log":
                return np.log(np.maximum(value, 0.0))
            inside = np.clip(value, self.low, self.high)
            return np.log(inside - self.low) - np.log(self.high - inside)

    def backward(self, latent):
        """Return latent values in the reading's unit."""
        latent = np.asarray(latent, dtype=float)
        if self.kind == "identity":
            return latent
        if self.kind == "log":
            return np.exp(latent)
        share = 0.5 * (1 + np.tanh(latent / 2))
        return self.low + (self.high - self.low) * share

    def log_jacobian(self, low, high):
        """Return what to add to a latent log-likelihood to bring it to the reading's own scale.

        Parameters
        ----------
        low, high : array_like, shape (n,)
            Ends of each reading, in its unit. Only exact rows (``low == high``) contribute: the chance of
            lying in an interval does not change with the scale, a density does.
        """
        low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
        exact = low[low == high]
        if self.kind == "log":
            return float(-np.log(exact).sum())
        if self.kind == "logit":
            span = self.high - self.low
            return float(np.sum(np.log(span) - np.log(exact - self.low) - np.log(self.high - exact)))
        return 0.0
