"""A practice guild: several virtual benches with one practice resin, each with small errors of its own."""

import warnings
from dataclasses import replace
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd

from testpour.logbook.book import Logbook
from testpour.logbook.castings import Castings
from testpour.logbook.log_warnings import Caution
from testpour.practice.practice import practice_resin
from testpour.study.study import Study

SCALE_OFF = 0.06  # relative error of a bench's catalyst, one standard deviation: invented
THERMOMETER_OFF = 0.8  # degC, likewise
HAND_OFF = 0.12  # relative error of a bench's gel time, likewise


def practice_guild(study: Study, benches: int = 5, sessions: int = 3, pours: int = 6, seed: int = 0) -> dict[str, Castings]:
    """Logs of several invented benches that pour one practice resin.

    Every bench has errors of its own in its scale, its thermometer and its judgement of the gel; it logs what it
    believes it did.

    Parameters
    ----------
    study : Study
    benches, sessions, pours : int
        Benches, sessions of each, pours of each session.
    seed : int
        The same seed is the same guild.

    Returns
    -------
    dict
        "Practice bench 1" and so on to its Castings, as `pool` takes them. Everything in them is invented.

    Examples
    --------
    >>> tp.practice_guild(study, benches=2)["Practice bench 1"]
    18 pours in 3 sessions, in rooms from ... °C, with 270 readings.
    """
    return {f"Practice bench {number}": _bench(study, number, sessions, pours, seed) for number in range(1, benches + 1)}


def _bench(study, number, sessions, pours, seed):
    rng = np.random.default_rng([seed, number])
    resin = practice_resin(study, seed=seed)
    truth = replace(resin.truth, gel=resin.truth.gel * float(np.exp(rng.normal(0, HAND_OFF))))
    resin, share, off = replace(resin, truth=truth), np.exp(rng.normal(0, SCALE_OFF)), rng.normal(0, THERMOMETER_OFF)
    with TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore", Caution)  # nobody can correct what is invented
        log = Logbook(replace(study, folder=type(study.folder)(folder)))
        for session in range(1, sessions + 1):
            believed_settings = _settings(study, rng, pours, f"S{session}")
            true_settings = believed_settings.assign(catalyst=believed_settings["catalyst"] * share) if "catalyst" in believed_settings else believed_settings
            true_settings = true_settings.assign(room_temperature=true_settings["room_temperature"] + off)
            made = resin.pour(true_settings, f"bench {number} S{session}")
            at = pd.Timestamp("2026-03-02 09:00") + pd.Timedelta(days=7 * session, minutes=number)
            meant = [{**pour["settings"], **believed_settings.loc[pour["pour"]].to_dict()} for pour in made]  # as its bench writes it down
            log.add_all([{**pour, "session": f"S{session}", "settings": row, "made_at": at} for pour, row in zip(made, meant, strict=True)])
        castings = log.castings()
        log.close()
    return castings


def _settings(study, rng, pours, session):
    """Settings spread over the study's span, in one room temperature."""
    table = pd.DataFrame(index=[f"{session}-{i}" for i in range(1, pours + 1)])
    for factor in study.varied:
        cells = (rng.permutation(pours) + rng.random(pours)) / pours
        values = factor.span[0] + cells * (factor.span[1] - factor.span[0])
        table[factor.name] = np.clip(factor.rounded(values), *factor.span)
    return table.assign(room_temperature=np.round(rng.uniform(16, 25), 1))
