"""How precisely a plan will predict over its region, before anything is poured."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from testpour.picture import LOG, Picture, new_picture

if TYPE_CHECKING:
    from testpour.planning.outlook import PlanOutlook


def show_promise(promise: PlanOutlook) -> Picture:
    """How sharply a plan will predict, from the best part of its region to the worst.

    Parameters
    ----------
    promise : PlanOutlook
        From `outlook`.

    Returns
    -------
    Picture
        Spread of a prediction's average, as a share of the scatter of one pour.
    """
    share, spread = 100 * promise.spread["fraction"], np.sqrt(promise.spread["variance"])
    half = float(np.interp(50, share, spread))
    says = (
        f"In half of the region the plan will know the average casting to {half:.2g} of one pour's scatter or better, "
        f"in its worst corner to {spread.iloc[-1]:.2g}."
    )
    picture, axes = new_picture(says, height=3.4, found=promise.cautions)
    ax = axes[0, 0]
    ax.plot(share, spread, color=LOG, linewidth=2.2)
    ax.fill_between(share, 0, spread, color=LOG, alpha=0.13, linewidth=0)
    ax.set(xlabel="Share of the region (in 100)", ylabel="Spread of the average\n(scatter of one pour is 1)")
    ax.set(xlim=(0, 100), ylim=(0, None))
    return picture
