"""A sheet of one's own, read in by tapping at the panel of the pours: looked at first, stored by a tap of its own."""

import pytest

import testpour as tp
from testpour.panels.starting import kept_plan, unpoured

HEAD = "Pour,Date,Catalyst (%),Pigment (%),Thickness (in),Cover,Room temp (F),Gel time (min),Tack at 24 h,Remarks from Bob\n"
SOUND = "A1,2026-03-02,1.2,1,1/2,yes,68,38-40,1,fine\nA2,2026-03-02,2.8,1,1/2,no,68,22,2,\n"


@pytest.fixture
def at(own, hand):
    """A person at the panel of the pours, with a sheet in the study folder."""
    (own / "mine.csv").write_text(HEAD + SOUND, "utf-8")
    (own / "~$mine.xlsx").write_bytes(b"a spreadsheet program's own")
    return hand(tp.pour_panel(own))


def in_log(folder):
    log = tp.Logbook(tp.read_study(folder))
    try:
        return log.castings()
    finally:
        log.close()


def test_what_would_be_stored_stands_there_before_it_is(at, own):
    assert [value for value, _ in at.part("sheet")["options"]] == ["", "mine.csv"] and at.part("store") is None
    at.type("sheet", "mine.csv")
    shown = next(part for part in at.parts("table") if part["caption"] == "What would be stored: 2 pours")
    rows = [dict(zip(shown["head"], row, strict=True)) for row in shown["rows"]]
    assert [row["pour"] for row in rows] == ["A1", "A2"] and rows[0]["day"] == "02 Mar 2026"
    assert rows[0]["thickness"] == "12.7 mm" and rows[0]["read"] == "gel time 38 to 40 min; tack grade 1 (slightly tacky) at 24 h"
    warned = [part["text"] for part in at.parts("caution") if part["level"] == "warn"]
    assert "Not read: Remarks from Bob." in warned and any("Catalyst 2.8 % is above 2.5 %" in said for said in warned)
    assert not len(in_log(own).pours)


def test_a_tap_stores_it_once(at, own):
    at.type("sheet", "mine.csv")
    assert at.tap("store") == "Stored from mine.csv: A1 and A2."
    assert list(in_log(own).pours.index) == ["A1", "A2"] and at.part("sheet")["value"] == "" and at.part("store") is None
    at.type("sheet", "mine.csv")
    assert at.part("store") is None and "All of it is in the log already" in at.words()


def test_every_refusal_stands_there_in_full_until_the_sheet_is_put_right(at, own):
    (own / "mine.csv").write_text(HEAD + SOUND + "A3,2026-03-03,banana,1,1/4,yes,75,30,3,\nA4,2026-03-03,1.5,1,9 ft,yes,75,30,3,\n", "utf-8")
    at.type("sheet", "mine.csv")
    refused = [part["text"] for part in at.parts("caution") if part["level"] == "refuse"]
    assert refused[0].startswith("Row 4, Catalyst (%): 'banana' is not one number, which a setting needs. Write the one that was used")
    assert len(refused) == 2 and refused[1].startswith("Row 5, Thickness (in): 9 ft is outside 1 to 60 mm.")
    assert at.part("store") is None and not len(in_log(own).pours)
    (own / "mine.csv").write_text(HEAD + SOUND, "utf-8")
    at.wait()
    assert at.part("store") and not [part for part in at.parts("caution") if part["level"] == "refuse"]


def test_later_readings_of_a_pour_in_the_log_are_shown_as_what_they_add(at, own):
    at.type("sheet", "mine.csv")
    at.tap("store")
    (own / "later.csv").write_text("Pour,Tack at 7 days\nA1,0\n", "utf-8")
    at.type("sheet", "later.csv")
    (row,) = next(part for part in at.parts("table") if part["caption"] == "What would be stored: 1 pour")["rows"]
    assert row[0] == "A1" and row[-1] == "tack grade 0 (dry) at 7 days"


def test_without_a_sheet_it_says_where_to_put_one(own, hand):
    assert f"No such file is there yet: copy it to {own}." in hand(tp.pour_panel(own)).words()


def test_a_log_looked_at_with_a_sheet_keeps_nothing_of_it(own):
    (own / "mine.csv").write_text(HEAD + SOUND, "utf-8")
    log = tp.Logbook(tp.read_study(own))
    with pytest.warns(UserWarning):
        then = log.with_sheet("mine.csv")
    assert list(then.pours.index) == ["A1", "A2"] and len(then.readings) == 4 and not len(log.castings().pours)
    with pytest.warns(UserWarning):
        assert log.add_sheet("mine.csv") == ["A1", "A2"]
    assert log.castings().fingerprint() == then.fingerprint()
    log.close()


def test_rows_without_a_name_leave_the_planned_names_to_the_plan(own, hand):
    planner = hand(tp.plan_panel(own)).wait()
    planner.tap("keep")
    planned = list(kept_plan(planner.panel.workshop).index)
    (own / "nameless.csv").write_text((HEAD + SOUND).replace("Pour,", "Label,"), "utf-8")
    at = hand(tp.pour_panel(own))
    at.type("sheet", "nameless.csv")
    shown = next(part for part in at.parts("table") if part["caption"].startswith("What would be stored"))
    stored = [f"P{len(planned) + 1:02}", f"P{len(planned) + 2:02}"]
    assert [row[0] for row in shown["rows"]] == stored
    at.tap("store")
    assert list(in_log(own).pours.index) == stored
    assert list(unpoured(kept_plan(at.panel.workshop), in_log(own)).index) == planned


def test_a_doubtful_number_is_not_said_to_be_in_the_log_before_it_is(own, hand):
    """2.2 % written as 0.022 in a sheet of per cent is put right in the sheet, as long as nothing is stored."""
    head = "Pour,Date,Session,Catalyst,Pigment,Thickness (mm),Cover,Filler,Gel time\n"
    (own / "mine.csv").write_text(f"{head}A1,2026-03-02,S1,0.022,1,10,yes,0,30 min\n", "utf-8")
    at = hand(tp.pour_panel(own))
    at.type("sheet", "mine.csv")
    warned = " ".join(part["text"] for part in at.parts("caution"))
    assert "A1: Catalyst 0.022 %" in warned and "in the log as written" not in warned
    with tp.Logbook(tp.read_study(own), "sqlite://") as log, pytest.warns(UserWarning, match="The numbers are in the log as written. Correct"):
        log.add_sheet("mine.csv")


def test_a_sheet_of_another_program_is_offered_and_says_how_to_save_it(at, own):
    (own / "Güsse.ods").write_bytes(b"PK")
    at.wait()
    at.type("sheet", "Güsse.ods")
    (refused,) = [part["text"] for part in at.parts("caution") if part["level"] == "refuse"]
    assert "choose Save As, take the file type that ends in .xlsx, and read that file" in refused and at.part("store") is None
