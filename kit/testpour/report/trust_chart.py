"""Chances said beside how often they were right."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from testpour.picture import BELIEF, LOG, Picture, new_picture

if TYPE_CHECKING:
    from testpour.causes.trust import Trust


def show_trust(trusted: Trust) -> Picture:
    """Chances said beside how often they were right.

    Parameters
    ----------
    trusted : Trust
        From `testpour.causes.trust.trust`.

    Returns
    -------
    Picture
        Dots on the diagonal are chances that can be taken at their word; bars are 90 % intervals. The number
        beside a dot is how many answers it stands for.
    """
    picture, axes = new_picture(trusted.sentence(), width=5.2, height=4.6)
    ax, table = axes[0, 0], 100 * trusted.table
    reach = np.clip([table["right"] - table["low"], table["high"] - table["right"]], 0, None)
    ax.plot([0, 100], [0, 100], color=BELIEF, linewidth=1, linestyle="--")
    ax.errorbar(table["said"], table["right"], yerr=reach, fmt="o", color=LOG, linewidth=1.6)
    for said, right, times in zip(table["said"], table["right"], trusted.table["times"], strict=True):
        ax.annotate(f"{times}", (said, right), xytext=(6, -12), textcoords="offset points", fontsize=9)
    ax.set(xlabel="Chance said (in 100)", ylabel="Turned out so (in 100)", xlim=(0, 103), ylim=(0, 103))
    ax.set_aspect("equal")
    return picture
