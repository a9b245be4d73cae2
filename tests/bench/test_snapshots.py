"""Photographs in the form: the bytes go to the log, small copies come back, refusals are in words."""

import base64
import io

import numpy as np
import pytest
from PIL import Image

import testpour as tp


def picture(colour=(200, 80, 30), form="JPEG"):
    held = io.BytesIO()
    Image.fromarray(np.full((300, 400, 3), colour, np.uint8)).save(held, form)
    return held.getvalue()


@pytest.fixture
def poured(bench):
    bench.tap("head", values={}, by="QZ")
    bench.tap("catalyst_in", "B01")
    return bench


def test_a_photograph_is_kept_with_its_age_and_comes_back_small(poured, log):
    poured.clock.turn(90)
    answer = poured.tap("photo", "B01", picture=picture())
    assert answer["ok"] and answer["words"] == "photograph at 1.5 h"
    (kept,) = log.photos("B01")
    assert (kept.age, kept.by) == (1.5, "QZ")
    (shown,) = poured.card("B01")["photos"]
    assert shown["words"] == "1.5 h" and shown["says"] == "Photograph of pour B01 at 1.5 h"
    with Image.open(io.BytesIO(base64.b64decode(shown["src"].split(",")[1]))) as small:
        assert small.size == (160, 120)
    assert poured.card("B02").get("photos", []) == []


def test_the_same_message_twice_is_one_photograph(poured, log):
    message = {"id": "twice", "deed": "photo", "at": poured.clock.now.timestamp() * 1e3, "pour": "B01", "name": "B01", "picture": picture()}
    assert poured.send(message)["ok"] and poured.send(message)["ok"]
    assert len(log.photos("B01")) == 1


@pytest.mark.parametrize(("given", "says"), [(b"no picture", "is not a picture this kit reads"), (picture()[:300], "is a damaged picture")])
def test_what_is_no_picture_is_refused_in_words(poured, log, given, says):
    answer = poured.tap("photo", "B01", picture=given)
    assert not answer["ok"] and says in answer["words"]
    assert len(log.photos()) == 0 and poured.card("B01")["photos"] == []


def test_one_taken_back_leaves_the_card_and_stays_in_the_history(poured, log):
    poured.tap("photo", "B01", picture=picture())
    (shown,) = poured.card("B01")["photos"]
    assert poured.tap("photo_back", "B01", entries=[shown["entry"]])["ok"]
    assert poured.card("B01")["photos"] == []
    assert "photo" in set(log.history("B01")["what"])


def test_one_whose_file_is_gone_is_told_and_the_form_goes_on(poured, log):
    poured.tap("photo", "B01", picture=picture())
    log.photos("B01")[0].path.unlink()
    poured.reopen()
    (shown,) = poured.card("B01")["photos"]
    assert shown["src"] == "" and "its file is not in the study folder" in shown["words"]


def test_the_widget_takes_the_bytes_that_come_beside_the_message(log, sheet):
    form = tp.session_form(log, sheet)
    form._receive(form, {"id": "1", "deed": "catalyst_in", "pour": "B01", "at": None}, [])
    form._receive(form, {"id": "2", "deed": "photo", "pour": "B01", "name": "B01", "at": None}, [memoryview(picture())])
    assert form.state["answers"]["2"]["ok"] and len(log.photos("B01")) == 1
