"""Where pours lie, by session, in each pair of settings that differ."""

from matplotlib.lines import Line2D

from testpour.common.problems import Problem
from testpour.common.wording import count
from testpour.logbook.castings import Castings
from testpour.planning.plan import Plan
from testpour.study.picture import INK, LOG, MARKERS, SECOND, Picture, drawable, label_axis, new_picture

MOST = 5  # settings drawn against each other; with more, panels are too small to read
COLOURS = (LOG, SECOND, "#5a5a5a", "#6b8e00", "#8a3ea8", "#00786c")
PALE = "#b4b4b4"  # colour of the sessions too early to get their own shape
RINGS = 3  # around one mark; more would hide its neighbours


def show_plan(plan: Plan) -> Picture:
    """Where the pours of a plan lie, by session.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    Picture
        A matplotlib Figure: one panel per pair of settings that differ, one mark per pour, one shape per session; pours at the same
        spot are concentric rings. If there are more sessions than shapes, the earlier ones are pale dots.

    Raises
    ------
    Problem
        If no setting differs between the pours.

    Examples
    --------
    >>> tp.figures.show_plan(tp.plan_pours(study, sessions=2, pours=4)).says
    "Where the 8 planned pours lie: 4 in session S1, 4 in session S2. ..."
    """
    return _pairs(plan.study, plan.table, "planned pours", plan.all_cautions())


def show_pours(castings: Castings) -> Picture:
    """Where the pours of a log lie, by session; see `show_plan`.

    Parameters
    ----------
    castings : Castings

    Returns
    -------
    Picture

    Examples
    --------
    >>> tp.figures.show_pours(castings).says
    'Where the 18 pours lie: 5 in session S1, 5 in session S2, 4 in session S3, 4 in session S4.'
    """
    return _pairs(castings.study, castings.pours, "pours")


def _pairs(study, table, what, cautions=None):
    factors = [f for f in study.numeric if f.name in table and table[f.name].nunique() > 1][:MOST]
    if not factors:
        raise Problem("No setting differs between these pours, so there is nothing to draw against anything.")
    ups, acrosses = (factors[1:], factors[:-1]) if len(factors) > 1 else ([None], factors)
    size = len(acrosses)
    pours = table["session"].value_counts(sort=False)
    before, last = pours.iloc[: -len(MARKERS)], pours.iloc[-len(MARKERS) :]
    told = [f"{before.sum()} in {count(len(before), 'earlier session')}"] if len(before) else []
    says = f"Where the {len(table)} {what} lie: {', '.join(told + [f'{number} in session {name}' for name, number in last.items()])}."
    picture, axes = new_picture(says, width=max(5.0, 1.2 + 1.9 * size), height=max(3.4, 1.4 + 1.8 * size),
                                rows=len(ups), columns=size, cautions=cautions)
    sessions, rings = {name: drawable(name) for name in last.index}, []
    for i, up in enumerate(ups):
        for j, across in enumerate(acrosses):
            if j > i:
                axes[i, j].remove()
                continue
            rings.append(_panel(axes[i, j], table, sessions, across, up, outer=(i == len(ups) - 1, j == 0)))
    _legend(picture, sessions, len(before), max(rings))
    return picture


def _panel(ax, table, sessions, across, up, outer):
    """Draw one pair of settings; returns the most rings around a mark. Coinciding pours are not shifted, as that would show settings nobody poured."""
    days = table["session"].map({name: i for i, name in enumerate(sessions)}).fillna(-1).to_numpy(float)
    places = [table[across.name].to_numpy(float), table[up.name].to_numpy(float) if up else days]
    early = days < 0
    if early.any():
        ax.scatter(*(place[early] for place in places), marker=".", s=30, linewidth=0, facecolor=PALE)
    repeat = table[~early].groupby([place[~early] for place in places], dropna=False).cumcount().reindex(table.index, fill_value=0)
    rings = repeat.clip(upper=RINGS).to_numpy()
    for i in range(len(sessions)):
        colour = COLOURS[i % len(COLOURS)]
        for ring in sorted(set(rings[days == i])):  # one call per ring, so that the SVG holds each outline once
            spot = (days == i) & (rings == ring)
            ax.scatter(*(place[spot] for place in places), marker=MARKERS[i], s=42 * (1 + 0.6 * ring) ** 2, linewidth=1,
                       facecolor="none" if ring else colour, edgecolor=colour if ring else "white")
    ax.margins(0.2)
    label_axis(ax, "x", across)
    if up:
        label_axis(ax, "y", up)
    else:
        ax.set(ylabel="Session")
        names = dict(enumerate(sessions.values())) | ({-1: "earlier"} if early.any() else {})
        ax.set_yticks(list(names), names.values())
    if not outer[0]:
        ax.set_xlabel("")
    if not outer[1]:
        ax.set_ylabel("")
    return int(repeat.max())


def _legend(picture, sessions, before, rings):
    marks = [Line2D([], [], marker=".", color=PALE, linestyle="none", label=count(before, "earlier session"))] if before else []
    marks += [
        Line2D([], [], marker=MARKERS[i], color=COLOURS[i % len(COLOURS)], linestyle="none", markersize=8, label=f"session {name}")
        for i, name in enumerate(sessions.values())
    ]
    if rings:
        label = "ring: one more pour" + (f", {RINGS} rings: {RINGS} or more" if rings > RINGS else "")
        marks.append(Line2D([], [], marker="o", color=INK, markerfacecolor="none", linestyle="none", markersize=11, label=label))
    picture.legend(handles=marks, loc="outside lower left", ncols=min(3, len(marks)), frameon=False, labelcolor=INK)
