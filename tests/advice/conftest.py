"""A log of a practice resin, fitted once for all checks of advice."""

import numpy as np
import pandas as pd
import pytest

from testpour.logbook.castings import Castings
from testpour.models.fits import fit_castings
from testpour.practice.practice import practice_resin
from testpour.study.study_file import study_from

STUDY = {
    "name": "Knobs",
    "question": "What gives a hard, dry knob by the next morning?",
    "resin": {"density": "1.10 g/mL", "catalyst_density": "1.10 g/mL"},
    "factors": {
        "catalyst": {"from": "1 %", "to": "2.5 %"}, "pigment": {"from": "0.2 %", "to": "4 %"},
        "thickness": {"from": "5 mm", "to": "18 mm"}, "cover": {}, "post_cure_temperature": {}, "post_cure_time": {},
        "room_temperature": {}, "humidity": {}, "resin_lot": {}, "catalyst_lot": {},
    },
    "readings": {"gel_time": {}, "tack": {}, "hardness": {"unit": "Shore D", "ages": ["24 h"]}, "peak_temperature": {}},
    "aims": {
        "gel_time": {"at_least": "15 min", "at_most": "45 min"}, "tack": {"at_most": 1, "age": "24 h"},
        "hardness": {"at_least": "75 Shore D", "age": "24 h"}, "peak_temperature": {"at_most": "110 degC"},
    },
}
DAYS = {"S1": 17.0, "S2": 22.0}
POURS = [
    (1.0, 0.2, 6.0, 1.0), (2.4, 0.5, 12.0, 1.0), (1.6, 2.0, 15.0, 0.0), (2.0, 0.2, 6.0, 0.0),
    (1.2, 1.0, 15.0, 1.0), (2.2, 0.2, 6.0, 1.0), (1.8, 3.5, 10.0, 1.0), (1.5, 0.2, 10.0, 0.0),
]


def known(answer):
    """Ends and kind of one answer of the bench."""
    if "between" in answer:
        return {"low": answer["between"][0], "high": answer["between"][1], "known": "between"}
    if "not_yet" in answer:
        return {"low": answer["not_yet"], "high": np.inf, "known": "not yet"}
    return {"low": answer["value"], "high": answer["value"], "known": "exact"}


def castings_of(study, resin, pours, days):
    """The log of some pours, half of them on each day."""
    rows, reads = [], []
    each = len(pours) // len(days)
    for number, (session, room) in enumerate(days.items()):
        plan = pd.DataFrame(pours[number * each : (number + 1) * each], columns=["catalyst", "pigment", "thickness", "cover"])
        plan.index = [f"P{number * each + i + 1:02d}" for i in range(len(plan))]
        for made in resin.pour(plan, session=session, room=room):
            rows.append({"pour": made["pour"], "session": session, **made["settings"], "resin_lot": "A", "catalyst_lot": "A"})
            for answer in made["readings"]:
                age = answer["age"] or np.nan
                reads.append({"pour": made["pour"], "reading": answer["reading"], "age": age, **known(answer)})
    pour_columns = ["pour", "session", *[factor.name for factor in study.factors]]
    read_columns = ["pour", "reading", "low", "high", "age", "known"]
    table = pd.DataFrame(rows, columns=pour_columns).set_index("pour")
    numbers = [factor.name for factor in study.factors if factor.kind != "text"]
    return Castings(study, table.astype(dict.fromkeys(numbers, float)), pd.DataFrame(reads, columns=read_columns))


@pytest.fixture(scope="session")
def study():
    return study_from(STUDY)


@pytest.fixture(scope="session")
def resin(study):
    return practice_resin(study, seed=3)


@pytest.fixture(scope="session")
def fits(study, resin):
    return fit_castings(castings_of(study, resin, POURS, DAYS))


@pytest.fixture(scope="session")
def unpoured(study, resin):
    return fit_castings(castings_of(study, resin, [], {"S1": 20.0}))
