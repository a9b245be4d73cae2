"""Tables of the race: shares, chances, effects and errors of every family and kind, from its JSON lines.

    python -m families.report lines.jsonl

All but the first figures are those of the whole grid of settings, whatever was drawn of it (`race.asked_points`).
`within` is the share of true chances inside the stated 90 % interval, over stated chances of 0.2 to 0.9; `off` the
calibration error (mean gap between stated and true chance over tenths of the stated one, weighted by count), of all
stated chances and of those of `WORTH` or more, since most settings are hopeless and known to be; `Brier` the expected
squared error of a stated chance, beside that of the plain model, least squares and the truth itself.
"""

import json
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np

ORDER = ("kit", "plain", "process", "surfaces", "habit")
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


def told(worlds):
    """The figures of one family and kind, as lines of text."""
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
    squares = np.vstack([row for world in worlds for found in world.get("stated", {}).get("surfaces", []) for row in [np.array(found)]] or [np.full((1, 3), np.nan)])
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
    return lines


def _row(values):
    return " ".join(f"{value:.2f}".lstrip("0") for value in values)


def main(paths):
    groups = defaultdict(dict)
    for path in paths:
        for line in Path(path).read_text().splitlines():
            world = json.loads(line)
            groups[world["family"], world["kind"]][world["seed"]] = world  # a world played again replaces the older
    for (family, kind), worlds in sorted(groups.items()):
        print(f"\n## {family}, {kind}: {len(worlds)} worlds\n")
        print("\n".join(f"    {line}" for line in told(list(worlds.values()))))


if __name__ == "__main__":
    main(sys.argv[1:])
