"""Make the demo study's log from a practice resin: every number in it is invented.

Run from the checkout: python datasets/make_demo.py
"""

from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import testpour as tp

HERE = Path(__file__).parent / "demo-study"
RESIN = 4  # which practice resin
ROOMS = {"S1": (17.0, 62), "S2": (19.5, 55), "S3": (22.5, 48), "S4": (16.0, 66)}
DAYS = {"S1": "2026-03-02", "S2": "2026-03-05", "S3": "2026-03-12", "S4": "2026-03-16"}
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


def main():
    study = tp.read_study(HERE)
    resin = tp.practice_resin(study, RESIN)
    with TemporaryDirectory() as folder:
        log = tp.Logbook(study, f"sqlite:///{folder}/log.sqlite")
        plan = tp.plan_pours(study, sessions=2, pours=5, purpose="which settings matter")
        for number, session in enumerate(("S1", "S2"), start=1):
            log.add_all(list(entries(resin, plan.session(number).drop(columns="session"), session)))
        for session in ("S3", "S4"):
            fits = tp.fit_castings(log.castings())
            pours = tp.next_pours(fits, room=ROOMS[session][0], pours=4).table
            log.add_all(list(entries(resin, pours[[f.name for f in study.factors if f.name in pours]], session)))
        print(log.castings().sentence(), tp.write_sheet(log.castings(), HERE / "castings.csv"))
        log.close()


if __name__ == "__main__":
    main()
