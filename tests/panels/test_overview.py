"""The picture of the round says how the study stands and what comes next."""

import datetime as dt

import pytest

import testpour as tp


def next_of(hand, folder):
    """The step marked as next, and what is said of it."""
    at = hand(tp.round_panel(folder))
    marked = [stop["name"] for stop in at.parts("stations")[0]["stops"] if stop["next"]]
    return marked, at.words()


def test_without_a_study_it_says_to_begin_one(tmp_path, hand):
    marked, said = next_of(hand, tmp_path)
    assert marked == ["begin"]
    assert "There is no study in this folder yet" in said


def test_each_step_leads_to_the_next(own, hand):
    assert next_of(hand, own)[0] == ["plan"]
    hand(tp.plan_panel(own)).tap("keep")
    marked, said = next_of(hand, own)
    assert marked == ["pour"] and "0 pours, 0 readings due. Next: pour S1 of the plan" in said
    open_before = tp.round_panel(own)
    assert open_before.table.loc["Plan", "stands"] == "8 pours planned, 8 to make"
    log = tp.Logbook(tp.read_study(own))
    yesterday = dt.datetime.now() - dt.timedelta(hours=24)
    log.add_pour("P01-2", session="S1", settings={"catalyst": "1 %", "thickness": "5 mm"}, made_at=yesterday)  # P01 was spilt
    log.close()
    marked, said = next_of(hand, own)
    assert marked == ["pour"]
    assert "1 pour, 1 reading due. Next: take the tack of P01-2 in 2-pour-and-log." in said
    assert open_before.table.loc["Plan", "stands"] == "8 pours planned, 7 to make"


def test_once_read_it_leads_on_to_today_and_follows_what_is_written(poured, hand):
    marked, said = next_of(hand, poured)
    assert marked == ["today"]
    assert "10 pours" in said
    shown = hand(tp.round_panel(poured))
    hand(tp.share_panel(poured)).tap("write:sheet")
    stops = shown.wait().parts("stations")[0]["stops"]
    assert [stop["says"] for stop in stops if stop["name"] == "share"] == ["1 file written"]


def test_a_damaged_study_file_is_said_and_nothing_else(own, hand):
    (own / "study.toml").write_text("name = ", encoding="utf-8")
    marked, said = next_of(hand, own)
    assert marked == ["begin"]
    assert "study.toml" in said


@pytest.mark.parametrize("panel, says", [(tp.round_panel, "Where do we stand? 0 pours"), (tp.pour_panel, "Pour and read: ")])
def test_where_no_widget_is_shown_it_is_a_plain_sentence(own, panel, says):
    assert repr(panel(own)).startswith(says)
    assert panel(own)._repr_mimebundle_()[0]["text/plain"].startswith(says)


def test_what_the_study_dropped_is_said_where_one_looks_and_its_sessions_open_all_the_same(own, hand):
    """A reading given up, a setting renamed in mid-year: the pours before were logged with both."""
    log = tp.Logbook(tp.read_study(own))
    pour = log.add_pour(session="S1", settings={"catalyst": "1.5 %", "filler": "10 %"})
    log.add_reading(pour, "gel_time", "25 min")
    log.add_reading(pour, "tack", 1, age=24)
    log.close()
    declared = (own / "study.toml").read_text("utf-8")
    for old, new in (("filler = {", "chalk = {"), ("tack = {}\n", ""), ('tack = { at_most = 1, age = "24 h" } # the class wants it so\n', "")):
        assert old in declared
        declared = declared.replace(old, new)
    (own / "study.toml").write_text(declared, "utf-8")
    says = "The log also holds filler for 1 pour and tack for 1 pour, which the study file does not declare, so nothing is learnt from it."
    assert says in hand(tp.round_panel(own)).words() and says in hand(tp.look_panel(own)).words()
    at = hand(tp.pour_panel(own))
    assert at.tap("open:S1") == "" and at.panel.form.sentence().startswith("Session S1: 1 of 1 pour")
