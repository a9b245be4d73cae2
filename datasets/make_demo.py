"""Make the demo study's log from a practice resin: every number in it is invented.

Run from the checkout: python datasets/make_demo.py
"""

import warnings
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd

import testpour as tp
from testpour.logbook.log_warnings import Caution

HERE = Path(__file__).parent / "demo-study"
RESIN = 4  # which practice resin
ROOMS = {"S1": (17.0, 62), "S2": (19.5, 55), "S3": (22.5, 48), "S4": (16.0, 66)}
DAYS = {"S1": "2026-03-02", "S2": "2026-03-05", "S3": "2026-03-12", "S4": "2026-03-16"}
LATER = {  # catalyst %, pigment %, thickness mm, cover: pours near what the first two sessions showed to be good
    "S3": [(1.2, 1.0, 16, 1), (1.6, 2.0, 13, 1), (2.0, 0.5, 8, 1), (1.2, 1.0, 16, 1)],
    "S4": [(2.2, 1.0, 13, 1), (1.6, 0.5, 10, 1), (2.5, 2.0, 8, 1), (2.2, 1.0, 13, 0)],
}
LOTS = {"S1": "drum 3", "S2": "drum 3", "S3": "drum 4", "S4": "drum 4"}


def entries(resin, pours, session):
    """The pours of one session as the log takes them, made every twelve minutes from ten o'clock."""
    room, humidity = ROOMS[session]
    plan = pours.assign(room_temperature=room, humidity=humidity)
    for place, made in enumerate(resin.pour(plan, session)):
        lots = {"resin_lot": LOTS[session], "catalyst_lot": "bottle 7"}
        yield {
            **made,
            "session": session,
            "made_at": datetime.fromisoformat(DAYS[session]) + timedelta(hours=10, minutes=12 * place),
            "settings": {**made["settings"], **lots},
            "note": "invented",
        }


def make(path):
    """Write the demo log as a sheet; returns its path."""
    study = tp.read_study(HERE)
    resin = tp.practice_resin(study, RESIN)
    with TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore", Caution)  # nobody can correct what is invented
        log = tp.Logbook(study, f"sqlite:///{folder}/log.sqlite")
        plan = tp.plan_pours(study, sessions=2, pours=5, purpose="which settings matter")
        for number, session in enumerate(("S1", "S2"), start=1):
            log.add_all(list(entries(resin, plan.session(number).drop(columns="session"), session)))
        for session, settings in LATER.items():
            names = [f"P{len(log.castings()) + place:02d}" for place in range(1, len(settings) + 1)]
            pours = pd.DataFrame(settings, names, ["catalyst", "pigment", "thickness", "cover"])
            log.add_all(list(entries(resin, pours, session)))
        written = tp.write_sheet(log.castings(), path)
        log.close()
    return written


if __name__ == "__main__":
    print(make(HERE / "castings.csv"))
