"""Practice resin: a virtual resin, room and bench with hidden truth, to learn the round without fumes."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit, ndtr

from testpour.models.settings import settings_table
from testpour.models.terms import post_cure, warmth

CHECK_EVERY = 4.0  # minutes between two looks at the pot
RESIN_IN_POT = 120.0  # g weighed for one pot


@dataclass(frozen=True)
class Truth:
    """What nobody at the bench can see: the resin's own numbers.

    All on the scales a bench would measure: minutes, degrees, Shore D, steps of tack.
    """

    gel: float  # min at 1.5 %, 20 °C
    exponent: float
    activation: float  # kJ/mol
    thickness_gel: float
    pigment_gel: float
    peak_level: float  # logit of the share of the full rise at 10 mm, 1.5 %, 20 °C
    peak_thickness: float
    cure_best: float  # % catalyst at which the casting ends hardest
    cure_width: float
    cold: float  # share of hardness lost in a room 10 °C colder
    thin: float
    hardest: float  # Shore D at one day
    ageing: float
    inhibition: float  # steps of tack an open face adds
    pigment_softens: float
    pigment_bend: float  # % above which pigment softens
    oven: float
    session: float  # scatter between sessions, as a share of gel time
    reading: float
    shore: float  # scatter of one hardness reading, Shore D
    step: float  # scatter of tack, in steps


def draw_truth(seed, against_belief=False):
    """A resin's hidden numbers, from the range real resins show; the same for the same seed.

    Parameters
    ----------
    seed : int
    against_belief : bool
        True for a resin that does not behave as the trade expects: another exponent, a pigment that
        slows or speeds the gel, a cover that harms.

    Returns
    -------
    Truth
    """
    rng = np.random.default_rng([seed, 7919])
    u, n = rng.uniform, rng.normal
    odd = against_belief
    return Truth(
        gel=float(np.exp(n(np.log(26), 0.25))),
        exponent=u(0.2, 0.35) if odd else u(0.5, 1.0),
        activation=u(15, 30) if odd else u(42, 62),
        thickness_gel=n(-0.05, 0.03),
        pigment_gel=rng.choice([-1, 1]) * u(0.08, 0.16) if odd else n(0.0, 0.03),
        peak_level=n(-1.3, 0.5),
        peak_thickness=u(1.8, 2.8),
        cure_best=u(1.4, 2.2),
        cure_width=u(0.6, 0.9),
        cold=u(0.02, 0.1),
        thin=u(0.01, 0.06),
        hardest=u(79, 85),
        ageing=u(1.0, 3.0),
        inhibition=-u(0.3, 0.8) if odd else u(0.9, 2.2),
        pigment_softens=u(0.8, 2.0),
        pigment_bend=u(1.0, 2.5) if odd else u(2.0, 4.0),
        oven=u(0.8, 2.0),
        session=u(0.05, 0.15),
        reading=u(0.05, 0.1),
        shore=u(1.0, 2.0),
        step=u(0.3, 0.5),
    )


@dataclass(frozen=True)
class PracticeResin:
    """A virtual resin for one study; `pour` answers like a bench.

    Parameters
    ----------
    study : Study
        Its readings are what the bench can answer: gel time, time to peak, peak temperature, tack,
        hardness, opacity and defects.
    seed : int
    truth : Truth
        Hidden from the player; `reveal` shows it at the end.
    scale_resolution : float
        Step of the scale in g; each pot is weighed on it.
    """

    study: object
    seed: int
    truth: Truth
    scale_resolution: float = 0.1

    def ideal(self, table):
        """True average readings at each row of a settings table, as one column a reading.

        Tack, opacity and defects are on a hidden scale whose grades end at 0.5, 1.5 and 2.5.
        """
        t, truth = table, self.truth
        share = np.log(np.maximum(t["catalyst"], 0.05) / 1.5)
        warm = warmth(t["room_temperature"])
        depth = np.log(t["thickness"] / 10)
        gel = truth.gel * np.exp(
            -truth.exponent * share
            - truth.activation * warm
            + truth.thickness_gel * depth
            + truth.pigment_gel * t["pigment"]
        )
        rate = truth.exponent * share + truth.activation * warm
        rise = expit(truth.peak_level + truth.peak_thickness * depth + 1.3 * rate)
        lack = self._lack_of_cure(t, share, warm, depth)
        return pd.DataFrame(
            {
                "gel_time": gel,
                "time_to_peak": gel * (1.25 + 0.6 * np.exp(-depth)),
                "peak_temperature": t["room_temperature"] + 175 * rise,
                "hardness": np.clip(
                    truth.hardest - 9 * lack + truth.ageing * np.log(t["age"] / 24), 5, 97
                ),
                "tack": 1.6 * lack
                + truth.inhibition * (1 - t["cover"])
                - 0.15 * np.log(t["age"] / 24)
                - 0.2,
                "opacity": 1.3 * np.log1p(t["pigment"] / 0.25) + 0.5 * depth,
                "defects": 3.2 * rise**2 - 0.2,
            },
            index=t.index,
        )

    def _lack_of_cure(self, t, share, warm, depth):
        """How far the casting is from its best cure: 0 at the best, 1 clearly soft."""
        truth = self.truth
        off = (share - np.log(truth.cure_best / 1.5)) / truth.cure_width
        cold = truth.cold * 12 * np.maximum(-warm / 0.0137, -0.7)
        thin = truth.thin * 12 * np.maximum(-depth, -0.6)
        heavy = truth.pigment_softens * np.maximum(t["pigment"] - truth.pigment_bend, 0) / 3
        baked = truth.oven * 0.3 * post_cure(t["post_cure_temperature"], t["post_cure_time"])
        under = np.where(off < 0, off**2, 0.35 * off**2)
        return np.maximum(under + cold + thin + heavy - baked, -0.25)

    def true_chance(self, table):
        """True chance of a good casting at each row of a settings table, a new session each."""
        chance = np.ones(len(table))
        for aim in self.study.aims:
            at = table.assign(age=aim.age or 24.0)
            chance *= self._meets(aim, self.ideal(at)[aim.reading].to_numpy())
        return chance

    def _meets(self, aim, ideal):
        reading = self.study.reading(aim.reading)
        low = -np.inf if aim.at_least is None else aim.at_least
        high = np.inf if aim.at_most is None else aim.at_most
        if reading.grades:
            low, high, spread = np.ceil(low) - 0.5, np.floor(high) + 0.5, np.hypot(self.truth.step, 0.2)
        elif reading.scale == "log":
            low, high, ideal = np.log(np.maximum(low, 1e-9)), np.log(high), np.log(ideal)
            spread = np.hypot(self.truth.session, self.truth.reading)
        else:
            spread = np.hypot(self.truth.shore, 1.0) if aim.reading == "hardness" else 4.0
        return ndtr((high - ideal) / spread) - ndtr((low - ideal) / spread)

    def pour(self, plan, session="S1", room=None):
        """Make the pours of one session and read them.

        Parameters
        ----------
        plan : DataFrame
            One row a pour, floats in declared units; the index names the pours.
        session : str
            Pours of one session share its room error.
        room : float or str, optional
            Room temperature of the day, where it is not the one of `plan`.

        Returns
        -------
        list of dict
            One a pour, as `Logbook.add_all` takes them: ``pour``, ``session``, ``settings``, ``readings``.
        """
        table = settings_table(self.study, plan, room=room)
        day = np.random.default_rng([self.seed, *session.encode()])
        shared = {"log": day.normal(0, self.truth.session), "plain": day.normal(0, 1.0), "grade": day.normal(0, 0.2)}
        made = table.assign(catalyst=self._weighed(table["catalyst"], day))
        return [
            {
                "pour": name,
                "session": session,
                "settings": {k: v for k, v in table.loc[name].items() if k != "age"},
                "readings": list(self._read(made.loc[[name]], shared, day)),
            }
            for name in table.index
        ]

    def _weighed(self, catalyst, rng):
        """Catalyst really delivered: each weighing is off by up to half a step of the scale."""
        half = self.scale_resolution / 2
        grams = RESIN_IN_POT * catalyst / 100 + rng.uniform(-half, half, len(catalyst))
        return 100 * np.maximum(grams, 0) / (RESIN_IN_POT + rng.uniform(-half, half, len(catalyst)))

    def _read(self, row, shared, rng):
        """Readings of one pour as a bench gets them: between checks, in whole numbers, in grades."""
        truth = self.truth
        for reading in self.study.readings:
            for age in reading.ages or (None,):
                ideal = float(self.ideal(row.assign(age=age or 24.0))[reading.name].iloc[0])
                answer = {"reading": reading.name, "age": age}
                if reading.grades:
                    latent = ideal + shared["grade"] + rng.normal(0, truth.step)
                    yield {**answer, "value": float(np.clip(np.round(latent), 0, len(reading.grades) - 1))}
                elif reading.scale == "log":
                    minutes = ideal * np.exp(shared["log"] + rng.normal(0, truth.reading))
                    yield {**answer, **_between_checks(minutes)}
                elif reading.name == "hardness":
                    centre = ideal + shared["plain"] + rng.normal(0, 0.7)
                    for _ in range(3):
                        yield {**answer, "value": float(np.clip(np.round(centre + rng.normal(0, truth.shore)), 0, 100))}
                else:
                    yield {**answer, "value": round(ideal + rng.normal(0, 1.5))}

    def reveal(self):
        """The hidden numbers, one row each."""
        return pd.Series(vars(self.truth), name="truth").to_frame()


def _between_checks(minutes):
    """A time known only to lie between two looks at the pot, or beyond the last."""
    last = 240.0
    if minutes > last:
        return {"not_yet": last}
    step = CHECK_EVERY if minutes < 80 else 10.0
    before = step * np.floor(minutes / step)
    return {"between": (max(before, 0.5), before + step)}


def practice_resin(study, seed=0, against_belief=False):
    """A virtual resin for a study.

    Parameters
    ----------
    study : Study
    seed : int
        The same seed is the same resin, room and bench.
    against_belief : bool
        True for a resin that does not behave as the trade expects.

    Returns
    -------
    PracticeResin
    """
    return PracticeResin(study, seed, draw_truth(seed, against_belief))
