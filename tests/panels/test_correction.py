"""What the log has wrong is put right by tapping at the panel of the pours, without a line of code."""

import pandas as pd
import pytest

import testpour as tp

SHEET = (
    "Pour,Date,Catalyst (%),Pigment (%),Thickness (mm),Cover,Room temp (C),Gel time (min),Tack at 24 h\n"
    "A1,2026-03-02 10:10,1.2,1,12,yes,20,38-40,1\nA2,2026-03-02 10:20,2.4,1,12,no,20,22,2\n"
)


@pytest.fixture
def at(own, hand):
    """A person at the panel of the pours, with a sheet of two pours in the log."""
    (own / "mine.csv").write_text(SHEET, "utf-8")
    at = hand(tp.pour_panel(own))
    at.type("sheet", "mine.csv")
    at.tap("store")
    return at


@pytest.fixture
def log(own, at):
    """The log by another way in."""
    log = tp.Logbook(tp.read_study(own))
    yield log
    log.close()


def choose(at, pour, words):
    """Choose a pour, and of what the log says of it the line with these words."""
    at.type("right_pour", pour)
    return at.type("right_what", {words: key for key, words in at.part("right_what")["options"]}[words])


def test_an_empty_log_has_nothing_to_put_right(own, hand):
    at = hand(tp.pour_panel(own))
    assert at.part("right_pour") is None and "The log has no pour yet." in at.words()


def test_a_setting_is_put_right_and_what_stood_there_stays_in_the_history(at, log):
    choose(at, "A2", "catalyst, logged as 2.4 %")
    assert at.type("right_value", "1,4")["read"] == "read as 1.4 %"
    at.type("right_why", "read from the wrong line")
    assert at.tap("right") == "A2: catalyst, logged as 2.4 %, is 1.4 % now. The history keeps both."
    assert log.castings().pours.loc["A2", "catalyst"] == 1.4 and log.castings().pours.loc["A1", "catalyst"] == 1.2
    assert "Corrected: read from the wrong line" in log.history("A2")["note"].str.cat()
    assert at.part("right_pour")["value"] == "A2" and at.part("right_what")["value"] == "" and at.part("right") is None
    assert "catalyst, logged as 1.4 %" in dict(at.part("right_what")["options"]).values()


@pytest.mark.parametrize(("words", "typed", "column", "value"), [
    ("cover, logged as no", "yes", "cover", 1.0),
    ("room temperature, logged as 20 °C", "Not known", "room_temperature", float("nan")),
    ("filler, not logged", "10", "filler", 10.0),
    ("session, logged as 2026-03-02", "Monday", "session", "Monday"),
    ("day and hour of the pour, logged as 2026-03-02 10:20", "2026-03-01 9:05", "made_at", pd.Timestamp(2026, 3, 1, 9, 5)),
])
def test_each_thing_the_log_says_of_a_pour(at, log, words, typed, column, value):
    choose(at, "A2", words)
    at.type("right_value", typed)
    at.type("right_why", "slip of the pen")
    assert at.tap("right").startswith("A2: ")
    found = log.castings().pours.loc["A2", column]
    assert found == value or (pd.isna(found) and pd.isna(value))


def test_a_reading_is_put_right_in_any_of_the_ways_to_say_it(at, log):
    choose(at, "A1", "gel time, logged as 38 to 40 min")
    assert at.type("right_value", "not yet at 45 min")["read"] == "read as not yet at 45 min"
    at.type("right_why", "it was the other pot")
    assert at.tap("right") == "A1: gel time, logged as 38 to 40 min, is not yet at 45 min now. The history keeps both."
    read = log.castings().readings.query("pour == 'A1' and reading == 'gel_time'")
    assert read["low"].tolist() == [45.0] and read["known"].tolist() == ["not yet"]


def test_a_reading_and_a_pour_are_taken_out(at, log):
    choose(at, "A1", "tack at 24 h, logged as grade 1")
    at.type("right_why", "never looked")
    assert at.tap("out") == "A1: tack at 24 h, logged as grade 1, no longer counts. The history keeps it."
    assert log.castings().readings.query("pour == 'A1'")["reading"].tolist() == ["gel_time"]
    choose(at, "A2", "the whole pour, which was never made")
    assert at.part("right_value") is None and at.part("right") is None
    at.type("right_why", "typed twice")
    assert at.tap("out").startswith("A2: ") and list(log.castings().pours.index) == ["A1"]
    assert at.part("right_pour")["value"] == ""


def test_what_is_wrong_or_lacking_is_said_and_nothing_is_logged(at, log):
    before = len(log.history("A2"))
    choose(at, "A2", "catalyst, logged as 2.4 %")
    assert "Still needed: Why" in at.tap("right")
    at.type("right_why", "slip")
    assert at.tap("right") == "Still needed: What is right."
    assert "outside 0 to" in at.type("right_value", "24")["problem"]
    assert "outside 0 to" in at.tap("right")
    assert at.part("right_value")["value"] == "24" and len(log.history("A2")) == before


def test_what_was_typed_about_one_pour_is_not_taken_for_another(at):
    choose(at, "A2", "catalyst, logged as 2.4 %")
    at.type("right_value", "1.4")
    at.type("right_pour", "A1")
    assert at.part("right_what")["value"] == "" and at.part("right_value") is None


def test_the_open_form_shows_what_was_put_right(at, own, log):
    log.add_pour("B1", settings={"catalyst": 2, "thickness": 10, "cover": "yes"}, session="S9")
    panel = at.panel
    panel.form = tp.session_form(panel.workshop.log, pd.DataFrame({"catalyst": [2.0], "thickness": 10.0, "cover": 1.0, "session": "S9"}, index=["B1"]))
    choose(at, "B1", "the whole pour, which was never made")
    at.type("right_why", "only a trial of the form")
    at.tap("out")
    assert panel.form.sentence() == "Session S9: 0 of 1 pour has its catalyst in."
