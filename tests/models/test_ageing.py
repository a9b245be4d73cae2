"""When a casting is ready: against hand arithmetic on straight hardening, brute-force draws, and each refusal."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.special import logit
from scipy.stats import norm

from testpour.models import ageing
from testpour.models.ageing import HABIT, LAST, NoHardness, Ready, _crossing, ready, thresholds
from testpour.models.fits import fit_castings
from testpour.models.settings import settings_table
from testpour.study.columns import Reading
from testpour.study.study import StudyProblems
from testpour.study.study_file import read_study, save_study, study_from

PLAIN = {"factors": {"catalyst": {}, "room_temperature": {}}, "readings": {"hardness": {}}}


def hardening(castings_of, level, slope, ready=None, ages=(4.0, 24.0, 168.0), pours=10, scatter=0.04):
    """A log whose hardness is straight in log age on the logit of its share: level at 24 h, slope per natural log."""
    study = study_from({**PLAIN, **({"ready": ready} if ready else {})})
    rng = np.random.default_rng(0)
    names = [f"P{i}" for i in range(pours)]
    table = pd.DataFrame({"catalyst": np.tile([1.3, 1.7], pours // 2), "room_temperature": 20.0,
                          "session": [f"S{i % 5}" for i in range(pours)]}, index=names)
    read = []
    for name in names:
        for age in ages:
            shore = 100 / (1 + np.exp(-(level + slope * np.log(age / 24) + scatter * rng.normal())))
            read.append({"pour": name, "reading": "hardness", "low": shore, "high": shore, "age": age})
    return castings_of(study, table, pd.DataFrame(read))


def test_straight_hardening_crosses_where_arithmetic_says(castings_of):
    """75 is reached where level + slope ln(age / 24) = logit 0.75: at 24 exp((logit 0.75 - level) / slope) hours."""
    level, slope = 0.9, 0.25
    fits = fit_castings(hardening(castings_of, level, slope, {"sand": "75 Shore D", "demould": 66, "buff": 79}))
    table = ready(fits).table
    for step, bar in {"sand": 0.75, "demould": 0.66, "buff": 0.79}.items():
        expected = 24 * np.exp((logit(bar) - level) / slope)
        assert table.loc[step, "middle"] == pytest.approx(max(expected, 4.0), rel=0.12)
    assert (table["low"] <= table["middle"]).all() and (table["middle"] <= table["most"]).all()
    assert (table["most"] <= table["high"]).all() and not table["habit"].any()
    assert "common practice" not in ready(fits).sentence()


def test_shares_are_those_of_castings_drawn_one_by_one(castings_of):
    """Each draw its own session and pour errors, stepped over ages: 5, 50, 90 and 95 in 100 are ready by then."""
    fits = fit_castings(hardening(castings_of, 0.9, 0.25, {"sand": 75}, scatter=0.1))
    fit, row = fits["hardness"], ready(fits).table.loc["sand"]
    table = settings_table(fits.study, reading=fit.reading)
    rng = np.random.default_rng(1)
    for name, share in (("low", 0.05), ("middle", 0.5), ("most", 0.9), ("high", 0.95)):
        if not 4.01 < row[name] < LAST:
            continue
        mean = np.repeat(fit.mean(table.assign(age=row[name]))[:, 0], 50)
        errors = sum(np.repeat(spread, 50) ** 2 for spread in fit.posterior.group_sds.values()) ** 0.5
        reached = mean + errors * rng.normal(size=len(mean)) >= logit(0.75)
        assert reached.mean() == pytest.approx(share, abs=0.01)
    assert 4.01 < row["middle"] < LAST


def test_the_branches_of_the_words(castings_of):
    soft = fit_castings(hardening(castings_of, 0.0, 0.05, {"demould": 45, "sand": 52.2, "buff": 80}))
    said = ready(soft).sentence()
    assert "Demould (45 Shore D): nine castings in ten by 4 h, the youngest age read, if not sooner." in said
    assert "Sand (52.2 Shore D): cannot promise it within 7 days" in said
    assert "Buff (80 Shore D): not within 7 days. Cure it warmer or longer" in said
    early = fit_castings(hardening(castings_of, 1.0, 0.3, {"sand": 77}, ages=(4.0, 24.0)))
    assert "Nothing was read after 24 h: from there on it is a guess." in ready(early).sentence()
    cold = ready(early, room=10).sentence()
    assert "Beyond what was poured: room temperature 10 °C (poured 20 °C)." in cold


def test_an_empty_log_answers_from_belief_and_says_so(castings_of):
    log = hardening(castings_of, 1.0, 0.2)
    answer = ready(fit_castings(replace(log, pours=log.pours[:0], readings=log.readings[:0])))
    assert "No hardness has been read yet: this is belief only." in answer.sentence()
    assert "youngest age read" not in answer.sentence()
    assert "The hardness for demould, sand and buff is common practice, not yours" in answer.sentence()
    assert answer.table["habit"].all() and answer.table["hardness"].to_dict() == HABIT


def test_a_warmer_room_and_more_age_never_make_it_later(practice_fits):
    cold, warm = (ready(practice_fits, room=room).table["most"] for room in (14, 24))
    assert (warm <= cold).all()


def test_thresholds_belong_to_the_study(tmp_path):
    study = study_from({**PLAIN, "ready": {"demould": "55 Shore D", "turn": 82}})
    assert thresholds(study) == {"demould": 55.0, "sand": 75.0, "buff": 80.0, "turn": 82.0}
    path = save_study(study, tmp_path / "study.toml")
    assert read_study(path).ready == study.ready
    assert "[ready]" not in save_study(study_from(PLAIN), tmp_path / "plain.toml").read_text()


def test_thresholds_that_cannot_be_are_refused():
    with pytest.raises(StudyProblems, match=r"\[ready\] demould: .*scale"):
        study_from({**PLAIN, "ready": {"demould": "30 Barcol"}})
    with pytest.raises(StudyProblems, match="outside 0 to 100 Shore D"):
        study_from({**PLAIN, "ready": {"demould": 140}})
    with pytest.raises(StudyProblems, match=r"add hardness under \[readings\]"):
        study_from({"factors": {"catalyst": {}}, "readings": {"gel_time": {}}, "ready": {"demould": 60}})
    with pytest.raises(NoHardness, match="does not read hardness"):
        thresholds(study_from({"factors": {"catalyst": {}}, "readings": {"gel_time": {}}}))
    other = {**PLAIN, "readings": {"hardness": {"unit": "Barcol"}}}
    with pytest.raises(NoHardness, match='demould = "40 Barcol"'):
        thresholds(study_from(other))
    assert thresholds(study_from({**other, "ready": {"sand": 35}})) == {"sand": 35.0}


@pytest.mark.parametrize("readings, says", [({"gel_time": {}}, "does not read hardness"), ({"hardness": {"unit": "Shore A"}}, 'demould = "40 Shore A"')])
def test_a_study_without_thresholds_is_answered_in_words(castings_of, readings, says):
    study = study_from({**PLAIN, "readings": readings})
    log = castings_of(study, pd.DataFrame(columns=["catalyst"]), pd.DataFrame(columns=["pour", "reading", "low", "high"]))
    answer = ready(fit_castings(log))
    assert not answer and says in answer.sentence()


def test_ages_read_as_people_say_them():
    table = pd.DataFrame({"hardness": [75.0], "low": [4.5], "middle": [26.0], "most": [60.0], "high": [np.inf], "habit": [False]}, index=["sand"])
    from testpour.study.catalogue import catalogue

    said = Ready(catalogue()["readings"]["hardness"], pd.DataFrame(), table, (4.0, 168.0)).sentence()
    assert said == "Sand (75 Shore D): nine castings in ten by 2.5 days (one in two by 26 h, 90 % interval 4.5 h to over 7 days)."


@pytest.mark.parametrize("level, hours", [(0.05, 1.0), (0.5, 8.0), (0.7, 16.0), (0.9, np.inf)])
def test_between_two_ages_the_share_that_is_ready_is_straight_over_log_age(level, hours):
    """0.1, 0.3 and 0.7 are ready at 1, 4 and 16 h: half of the way from 0.3 to 0.7 lies at 8 h, four times two."""
    assert _crossing(np.array([0.1, 0.3, 0.7]), np.array([1.0, 4.0, 16.0]), level) == pytest.approx(hours)


def test_no_age_is_called_unread_where_none_was_asked_for(castings_of):
    """Read at 24 h and 7 days: the 4 h that are planned first, and that settings have where no age is said, are nobody's question."""
    assert ready(fit_castings(hardening(castings_of, 1.0, 0.3, ages=(24.0, 168.0)))).outside == ""


def test_when_castings_are_ready_by_hand(monkeypatch):
    """Two draws of the mean at 4, 24 and 96 h, one of which dips: what was reached stays reached. A casting scatters by 0.4 and 0.6 about them,
    the roots of 0.25 - 0.09 and 0.45 - 0.09, without the gauge. scipy's normal, straight over the log of the age; more than 0.9 is never reached."""
    means = np.array([[-0.6, 0.5, 0.4], [-0.9, 0.3, 0.1]])
    monkeypatch.setattr(ageing, "repeated", lambda one, age: one.loc[one.index.repeat(len(age))].assign(age=age))
    fit = SimpleNamespace(reading=Reading("score", words="score", scale="plain", low=0.0, high=9.0), scatter=lambda: np.sqrt([0.25, 0.45]),
                          posterior=SimpleNamespace(sd=np.array([0.3, 0.3])), mean=lambda table: 5 + means)
    found = ageing._when(fit, pd.DataFrame({"catalyst": [1.5]}), 5.0, np.array([4.0, 24.0, 96.0]))
    share = norm.cdf(means / np.array([[0.4], [0.6]])).mean(axis=0)
    part = (0.5 - share[0]) / (share[1] - share[0])
    assert share[2] < share[1] < 0.9 and 0.05 < share[0] < 0.5
    assert found["middle"] == pytest.approx(4 * 6**part) and (found["low"], found["most"], found["high"]) == (4.0, np.inf, np.inf)
