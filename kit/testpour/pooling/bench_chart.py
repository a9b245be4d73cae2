"""What differs by bench: each bench of a pool against the average one."""

import numpy as np

from testpour.common.problems import Problem
from testpour.pooling.bench_words import difference_unit, differences_in_words, shown_difference, too_few
from testpour.pooling.pooled_logs import PooledLogs
from testpour.study.picture import INK, LOG, SECOND, SHADE, Picture, drawable, new_picture

NAMED = 24  # benches that a figure has room to name


def show_benches(pooled: PooledLogs, reading: str) -> Picture:
    """How each bench of a pool differs from the average bench in one reading.

    Parameters
    ----------
    pooled : PooledLogs
        From `pool`.
    reading : str
        Name of a reading, for example ``"gel_time"``.

    Returns
    -------
    Picture
        A matplotlib Figure. Dot and bar: a bench's difference from the average one at the usual settings, with its
        90 % interval; a full dot if it stands out. Band: nine in ten new benches should be in it.

    Raises
    ------
    NoSuchName
        If the pool has no such reading.
    Problem
        If none of its pours has this reading.

    Examples
    --------
    >>> tp.figures.show_benches(tp.pool(tp.practice_guild(study, benches=3)), "gel_time").says
    'Gel time: two benches in three lie within ...'
    """
    fit = pooled[reading]
    if not fit.average.pours:
        raise Problem(f"No pour of this pool has a {fit.reading.words}: there is nothing to show.")
    table = fit.differences().sort_values("middle", kind="stable")
    says = differences_in_words(fit) if pooled.tells else too_few(len(pooled.benches))
    picture, [[ax]] = new_picture(says, height=2.0 + 0.3 * min(len(table), NAMED))
    places = np.arange(len(table))
    low, high = shown_difference(fit, fit.where_new_benches_lie())
    ax.axvspan(low, high, color=SHADE, zorder=0, label="nine in ten new benches")
    ax.axvline(0, color=INK, linewidth=0.8)
    for apart, face, words in ((False, "white", "a bench, 90 % interval"), (True, SECOND, "a bench that stands out")):
        rows = (table["stands_out"] == apart).to_numpy()
        if rows.any():
            low, middle, high = (shown_difference(fit, table.loc[rows, end].to_numpy()) for end in ("low", "middle", "high"))
            ax.errorbar(middle, places[rows], xerr=[middle - low, high - middle], fmt="D" if apart else "o",
                        color=SECOND if apart else LOG, markerfacecolor=face, linewidth=2, markersize=7, label=words)
    _name_benches(ax, table)
    ax.set(ylim=(-0.8, len(table) - 0.2), xlabel=drawable(f"Difference in {fit.reading.words} from the average bench ({difference_unit(fit)})", 70))
    picture.legend(loc="outside lower left", ncols=2, frameon=False)
    return picture


def _name_benches(ax, table):
    """All names if there is room for them, else only those that stand out, and the count."""
    shown = np.arange(len(table)) if len(table) <= NAMED else np.flatnonzero(table["stands_out"])
    if len(table) > NAMED:
        ax.set_ylabel(f"{len(table)} benches, in order")
    if len(shown) > NAMED:
        shown = np.zeros(0, int)
    ax.set_yticks(shown, [drawable(name) for name in table.index[shown]])
    ax.tick_params(axis="y", length=0)
