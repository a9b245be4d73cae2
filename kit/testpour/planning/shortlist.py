"""Exchange on a short list: for plans without sessions whose grid of settings is small enough to write out.

The pour that carries least is swapped for the listed setting that raises the determinant most (Fedorov 1972;
Johnson and Nachtsheim 1983, Technometrics 25, 271-277), for many random starts side by side. The variance at
every listed setting is kept up to date, so a trial costs one product with the list and no inverse.
"""

import numpy as np

from testpour.planning.candidates import inverse_of, small_products

GAIN = 1e-6        # smallest relative gain that counts; rounding of the kept variances stays well below it


def improve_choices(listed, chosen, base):
    """Improve random choices until no single swap raises the determinant.

    Parameters
    ----------
    listed : array (C, p)
        Model row of every listed setting.
    chosen : array (B, n) of int
        Listed setting of each pour of each start.
    base : array (p, p)
        Information already there: fixed pours and prior.

    Returns
    -------
    array (B, n) of int, starts in the order they finished
    """
    state = _Starts(listed, chosen, base)
    done = []
    while len(state.chosen):
        state.swap_weakest()
        finished = state.tried.all(1)
        if finished.sum() * 4 > len(finished):
            done.append(state.chosen[finished])
            state.keep(~finished)
    return np.concatenate(done)


class _Starts:
    """Starts under improvement, with the inverse and the variance at every listed setting."""

    def __init__(self, listed, chosen, base):
        self.listed, self.base, self.chosen = listed, base, chosen.copy()
        self.turned = np.ascontiguousarray(listed.T)
        self.tried = np.zeros(chosen.shape, bool)
        self.refresh()

    def refresh(self):
        """Recompute inverse and variances, so rounding cannot build up."""
        rows = self.listed[self.chosen]
        self.inverse = inverse_of(np.swapaxes(rows, 1, 2) @ rows + self.base)
        self.variance = ((self.listed @ self.inverse) * self.listed).sum(-1)
        self.age = 0

    def keep(self, which):
        """Drop every start outside the boolean mask `which`."""
        for name in ("chosen", "tried", "inverse", "variance"):
            setattr(self, name, getattr(self, name)[which])

    def swap_weakest(self):
        """Try the pour of least variance not tried since the last swap; swap it where that helps."""
        every = np.arange(len(self.chosen))
        leaving = self.variance[every[:, None], self.chosen]
        i = np.where(self.tried, np.inf, leaving).argmin(1)
        old, leave = self.chosen[every, i], leaving[every, i]
        out = (self.inverse @ self.listed[old][:, :, None])[:, :, 0]
        out_line = small_products(out, self.turned)
        ratio = out_line * out_line
        ratio += (1 - leave)[:, None] * (1 + self.variance)
        new = ratio.argmax(1)
        better = ratio[every, new] > 1 + GAIN
        if better.any():
            self._swap(np.where(better, new, old), (old, leave, out, out_line, better))
            self.chosen[every, i] = np.where(better, new, old)
        self.tried[every, i] = True
        self.tried[better] = False
        if self.age > 60:
            self.refresh()

    def _swap(self, new, leaving):
        """Rank-two update of inverse and variances; starts without a better swap stay as they are."""
        _, leave, out, out_line, better = leaving
        every = np.arange(len(new))
        enter, cross = self.variance[every, new], out_line[every, new]
        share = better / ((1 + enter) * (1 - leave) + cross**2)
        a, b, c = (x[:, None] for x in (share * (1 - leave), share * cross, -share * (1 + enter)))
        come = (self.inverse @ self.listed[new][:, :, None])[:, :, 0]
        come_line = small_products(come, self.turned)
        self.inverse -= (a * come + b * out)[:, :, None] * come[:, None, :]
        self.inverse -= (b * come + c * out)[:, :, None] * out[:, None, :]
        self.variance -= (a * come_line + b * out_line) * come_line
        self.variance -= (b * come_line + c * out_line) * out_line
        self.age += 1
