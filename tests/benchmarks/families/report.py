"""Tables of the race: shares, chances, effects and errors of every family and kind, from its JSON lines.

    python -m families.report lines.jsonl

All but the first figures are those of the whole grid of settings, whatever was drawn of it (`race.asked_points`).
`within` is the share of true chances inside the stated 90 % interval, over stated chances of 0.2 to 0.9; `off` the
calibration error (mean gap between stated and true chance over tenths of the stated one, weighted by count), of all
stated chances and of those of `WORTH` or more, since most settings are hopeless and known to be; `Brier` the expected
squared error of a stated chance, beside that of the plain model, least squares and the truth itself.

All of these are of worlds that can be won. The last two lines count the hopeless third in: the same figures over all
worlds, and what is said where an aim is out of reach: how often that its aims "cannot be met", how often the aim in the
way is among those named, and how often the same is said where a setting has a chance of `SERVED` or more.
"""

import json
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np

ORDER = ("kit", "plain", "process", "surfaces", "habit")
SERVED = 0.3  # best true chance of a context from which it is wrong to say that no settings are likely to meet the aims
WORTH = 0.1  # least stated chance at which a setting may come into question


def brier(stated, truth, weight=None):
    """Expected squared error of a stated chance where the true one is known."""
    return float(np.average((stated - truth) ** 2 + truth * (1 - truth), weights=weight))


def off(stated, truth, weight=None, bins=10):
    """Mean gap between stated and true chance over tenths of the stated chance, weighted by count."""
    weight = np.ones(len(stated)) if weight is None else weight
    place = np.clip((stated * bins).astype(int), 0, bins - 1)
    gaps = np.abs(np.bincount(place, weight * (stated - truth), minlength=bins))
    return float(gaps.sum() / weight.sum())


def held(rows, weight=None):
    """Share of intervals that hold the truth, over stated chances of 0.2 to 0.9; rows of stated, low, high, truth."""
    some = (rows[:, 0] >= 0.2) & (rows[:, 0] <= 0.9)
    inside = (rows[:, 1] <= rows[:, 3]) & (rows[:, 3] <= rows[:, 2])
    return float(np.average(inside[some], weights=None if weight is None else weight[some])) if some.any() else np.nan


def effects_held(worlds, session=None):
    """Share of effect intervals that hold the true effect: all, then by reading."""
    by, sessions = defaultdict(list), slice(None) if session is None else slice(session, session + 1)
    for world in worlds:
        for found in world["effects"][sessions]:
            for reading, _, low, high, truth in found:
                by["all"].append(low - 1e-9 <= truth <= high + 1e-9)
                by[reading].append(by["all"][-1])
    return {name: round(float(np.mean(inside)), 2) for name, inside in by.items()}


def said_of_aims(worlds):
    """Shares of contexts by session: said to be out of reach where they are, the right aim named, said wrongly.

    Parameters
    ----------
    worlds : list of dict
        Hopeless ones and others.
    """
    named = defaultdict(list)
    for world in worlds:
        for session, contexts in enumerate(world["in_the_way"]):
            for said, best in zip(contexts, world["best"], strict=True):
                if world["hopeless"]:
                    named["said", session].append(bool(said))
                    named["right", session].append(world["hopeless"] in said)
                elif best >= SERVED:
                    named["wrong", session].append(bool(said))
    sessions = range(max((session for _, session in named), default=-1) + 1)
    return {what: [float(np.mean(named[what, s])) if named[what, s] else np.nan for s in sessions] for what in ("said", "right", "wrong")}


def over_all(worlds):
    """Two lines: chances over hopeless worlds and others, and what is said of aims out of reach."""
    every = np.vstack([rows for world in worlds for rows in world["chances"]])
    stated, truth, plain, weight = every[:, 0], every[:, 3], every[:, 4], every[:, 5]
    worth, best = stated >= WORTH, np.vstack([rows for world in worlds for rows in world["told"]])
    said, hopeless = said_of_aims(worlds), sum(bool(world["hopeless"]) for world in worlds)
    return [
        (f"with {hopeless} hopeless worlds: within 90 % {_row([held(every, weight), held(best)])} (asked, recommended); calibration error "
        f"{off(stated, truth, weight):.3f} (of stated {WORTH} or more {off(stated[worth], truth[worth], weight[worth]):.3f}, recommended "
        f"{off(*best[:, [0, 3]].T):.3f}); "
        f"Brier {brier(stated, truth, weight):.3f}, plain {brier(plain, truth, weight):.3f}, truth {brier(truth, truth, weight):.3f}"),
        f"aims out of reach: said so {_row(said['said'])}, the right one named {_row(said['right'])}; wrongly said {_row(said['wrong'])}",
    ]


def told(played):
    """The figures of one family and kind, as lines of text."""
    worlds = [world for world in played if not world.get("hopeless")]
    pours = 4 * np.arange(1, len(worlds[0]["scores"]["kit"]) + 1)
    lines = [f"after {' '.join(map(str, pours))} pours; then the worst tenth of worlds"]
    for name in ORDER:
        scores = [world["scores"][name] for world in worlds if name in world["scores"]]
        if scores:
            mean, tenth = np.mean(scores, axis=0), np.quantile(scores, 0.1, axis=0)
            error = np.std(scores, axis=0, ddof=1)[-1] / np.sqrt(len(scores)) if len(scores) > 1 else np.nan
            lines.append(f"{name:>9} {_row(mean)} (se of the last {error:.2f}); {_row(tenth)}")
    sessions = [np.vstack([world["chances"][session] for world in worlds]) for session in range(len(pours))]
    best = [np.vstack([world["told"][session] for world in worlds]) for session in range(len(pours))]
    surfaces = [np.array(found) for world in worlds for found in world.get("stated", {}).get("surfaces", [])]
    squares = np.vstack(surfaces or [np.full((1, 3), np.nan)])
    every = np.vstack(sessions)
    stated, truth, plain, weight = every[:, 0], every[:, 3], every[:, 4], every[:, 5]
    worth = stated >= WORTH
    lines += [
        f"within 90 % by count: {_row([held(rows, rows[:, 5]) for rows in sessions])}; at what it recommends {_row([held(rows) for rows in best])}",
        (f"calibration error {off(stated, truth, weight):.3f} (of stated {WORTH} or more "
        f"{off(stated[worth], truth[worth], weight[worth]):.3f}, recommended {off(*np.vstack(best)[:, [0, 3]].T):.3f}); "
        f"Brier {brier(stated, truth, weight):.3f}, plain {brier(plain, truth, weight):.3f}, "
        f"least squares {brier(*squares.T):.3f}, truth {brier(truth, truth, weight):.3f}"),
        f"effect intervals hold: {effects_held(worlds)}; after 12 pours {effects_held(worlds, 2)['all']}, 24 {effects_held(worlds, 5).get('all')}",
        (f"raised instead of answering: recommend {sum(w['raised']['recommend'] for w in worlds)}, next_pours {sum(w['raised']['next_pours'] for w in worlds)}"
        f" (in {sum(any(w['raised'].values()) for w in worlds)} of {len(worlds)} worlds); best possible chance {np.mean([w['best'] for w in worlds]):.2f}"),
    ]
    return lines + (over_all(played) if all("in_the_way" in world for world in played) else [])


def _row(values):
    return " ".join(f"{value:.2f}".lstrip("0") for value in values)


def main(paths):
    groups = defaultdict(dict)
    for path in paths:
        for line in Path(path).read_text().splitlines():
            world = json.loads(line)
            groups[world["family"], world["kind"]][world["seed"], bool(world.get("hopeless"))] = world  # a world played again replaces the older
    for (family, kind), worlds in sorted(groups.items()):
        print(f"\n## {family}, {kind}: {len(worlds)} worlds\n")
        print("\n".join(f"    {line}" for line in told(list(worlds.values()))))


if __name__ == "__main__":
    main(sys.argv[1:])
