"""One world after another: who finds good settings with fewest pours, and whose chances can be trusted.

    PYTHONPATH=kit:tests/benchmarks python -m families.race --family radical --kind contradicting --worlds 8

Six sessions of four pours, each in a room drawn from 15 to 26 degC. After each session every player recommends
catalyst, pigment and cover for two rooms and two depths; the score is the true chance of a good casting over that of
a chooser who knows everything. Writes one JSON line a world; `families.report` makes tables of them. `--peers none`
plays the kit and the plain model alone, which is what changes when a model does; a world then costs little beyond the
kit's own time. Every other seed is played again as a hopeless world (see `world`): there only chances and what the kit
says of the aims are judged.
"""

import argparse
import json
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd

from families.bench import GRADES
from families.hidden import FAMILIES, KINDS
from families.players import PEERS, Habit, Kit, Plain, Surfaces
from families.world import CONTEXTS, World, rooms_of

SESSIONS = 6
ASKED = 80  # settings at which the kit's chances are judged, after each session
SOME_CHANCE = 0.05  # true chance from which settings are drawn more often
WHO = {"all": PEERS, "quick": (Habit, Surfaces), "none": ()}  # a process takes as long as the kit
USUAL = {"catalyst": 1.5, "pigment": 0.5, "thickness": 10.0, "cover": 1.0, "room_temperature": 20.0}


def true_effects(world, said):
    """What moving one setting really does to the average casting, others at their usual values.

    Parameters
    ----------
    world : World
    said : list
        Effects as `Kit.effects` gives them: reading, factor, from, to, low, high, good grades.
    """
    moves = sorted({(factor, start, end) for _, factor, start, end, *_ in said})
    rows = pd.DataFrame([{**USUAL, factor: value} for factor, *ends in moves for value in ends])
    ideals = {name: np.reshape(values, (-1, 2)) for name, values in world.hidden.ideal(rows).items()}
    return [
        _change(world.hidden.bench, reading, ideals[reading][moves.index((factor, start, end))], good)
        for reading, factor, start, end, *_, good in said
    ]


def _change(bench, reading, ideal, good):
    """From one average reading to another, in the terms an effect is stated in; `good` is the first and the last grade of an aim."""
    if reading == "gel_time":
        return float(np.exp(ideal[1] - ideal[0]))
    if reading in GRADES:
        up_to = [np.zeros(2), *(bench.below(reading, grade + 0.5, ideal, session=False) for grade in range(3)), np.ones(2)]
        return float(np.diff(up_to[good[1] + 1] - up_to[good[0]] if good else -sum(up_to[1:4]))[0])
    return float(ideal[1] - ideal[0])


def asked_points(world, seed):
    """Settings of the grid with their true chances and weights; half are drawn from those that are not hopeless.

    That half was picked for its truth, so a stated chance looks too low among them however right it is. A weight is one
    over how often its setting is drawn: weighted figures are those of the whole grid.
    """
    rng = np.random.default_rng([world.seed, seed, 3])
    some = np.flatnonzero(world.truth > SOME_CHANCE)
    half, few = ASKED // 2, min(ASKED // 2, len(some))
    rows = np.concatenate([rng.choice(len(world.truth), half, replace=False), rng.choice(some, few, replace=False)])
    drawn = half / len(world.truth) + (world.truth[rows] > SOME_CHANCE) * few / max(len(some), 1)
    return world.points.iloc[rows].reset_index(drop=True), world.truth[rows], 1 / (len(world.truth) * drawn)


def judged(world, kit, plain, session, out):
    """After a session: scores, chances and effects of the kit, and the score of the plain model on its pours."""
    advice = {context: kit.recommend(*context) for context in CONTEXTS}
    share, chances = world.share(lambda *context: advice[context])
    out["scores"]["kit"].append(share)
    out["scores"]["plain"].append(world.share(plain.recommend)[0])
    rows = pd.DataFrame([[*said, context[0]] for context, said in advice.items()], columns=list(USUAL))
    out["told"].append(np.column_stack([kit.intervals(rows), chances]).round(4).tolist())
    table, truth, weight = asked_points(world, session)
    said = kit.intervals(table)
    out["chances"].append(np.column_stack([said, truth, plain.stated(table), weight]).round(4).tolist())
    stated = list(kit.effects())
    found = zip(stated, true_effects(world, stated), strict=True)
    out["in_the_way"].append([list(kit.conflicts[context]) for context in CONTEXTS])
    out["effects"].append([[*effect[:2], *(round(float(x), 4) for x in (*effect[4:6], real))] for effect, real in found])


def played(world, player, sessions):
    """Play; yields the session once the player has learnt from it."""
    world.clear()
    for session, room in enumerate(rooms_of(world, sessions)):
        world.pour(player.propose(room, session), f"S{session + 1}", room)
        player.learn()
        yield session


def worlds_of(seeds):
    """The worlds to be played for these seeds: pairs of a seed and whether the world is hopeless, one of three so."""
    return [(seed, hopeless) for seed in seeds for hopeless in ((False, True) if seed % 2 == 0 else (False,))]


def play(family, kind, which, peers=PEERS, sessions=SESSIONS):
    """One world's scores, chances, effects and errors, as a dict of plain numbers; `which` is a pair of `worlds_of`."""
    seed, hopeless = which
    clock, world = time.time(), World(family, kind, seed, hopeless)
    out = {"family": family, "kind": kind, "seed": seed, "hopeless": world.in_the_way, "signs": world.hidden.resin.signs, "best": list(world.best.values())}
    out |= {"scores": {"kit": [], "plain": []}, "told": [], "chances": [], "in_the_way": [], "effects": [], "made": round(time.time() - clock, 1)}
    kit, plain = Kit(world), Plain(world)
    for session in played(world, kit, sessions):
        plain.learn()
        judged(world, kit, plain, session, out)
    out["raised"], out["kit_seconds"] = kit.raised, round(time.time() - clock, 1)
    for runner in () if hopeless else peers:
        player = runner(world)
        out["scores"][player.name] = []
        out.setdefault("stated", {})
        for session in played(world, player, sessions):
            out["scores"][player.name].append(world.share(player.recommend)[0])
            if hasattr(player, "stated"):
                table, truth, weight = asked_points(world, session)
                rows = np.column_stack([player.stated(table), truth, weight]).round(4)
                out["stated"].setdefault(player.name, []).append(rows.tolist())
    out["seconds"] = round(time.time() - clock, 1)
    return out


def main(given=None):
    parser = argparse.ArgumentParser(prog="families.race", description=__doc__.splitlines()[0])
    parser.add_argument("--family", choices=FAMILIES, required=True)
    parser.add_argument("--kind", choices=KINDS, default="ordinary")
    parser.add_argument("--worlds", type=int, default=8)
    parser.add_argument("--start", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--peers", choices=WHO, default="all")
    parser.add_argument("--out", type=Path, help="file that the lines are added to; the screen otherwise")
    asked = parser.parse_args(given)
    one = partial(play, asked.family, asked.kind, peers=WHO[asked.peers])
    seeds = worlds_of(range(asked.start, asked.start + asked.worlds))
    with ProcessPoolExecutor(asked.jobs) as pool, asked.out.open("a") if asked.out else sys.stdout as out:
        for line in pool.map(one, seeds) if asked.jobs > 1 else map(one, seeds):
            print(json.dumps(line), file=out, flush=True)


if __name__ == "__main__":
    main()
