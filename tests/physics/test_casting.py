"""What may be cast, and what is refused."""

import numpy as np
import pytest

from testpour.physics.casting import Casting, Layer, post_cure_programme


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"thickness": 0.0}, "layer 1 is 0.0 mm thick"),
        ({"thickness": np.nan}, "layer 1 is nan mm thick"),
        ({"catalyst": -1.0}, "layer 1 has -1.0 % catalyst"),
        ({"layers": (Layer(5, 0.0, 1.0),)}, "every layer must come after"),
        ({"programme": ((5, 20), (3, 60))}, "never step back"),
        ({"hours": 0.0}, "say how many hours"),
        ({"room_temperature": 500.0}, "between -50 and 300"),
    ],
)
def test_impossible_casting_is_refused(changes, says):
    with pytest.raises(ValueError, match=says):
        Casting(**({"thickness": 10.0, "catalyst": 1.5} | changes))


def test_all_problems_are_told_at_once():
    with pytest.raises(ValueError, match="(?s)3 problem.*thick.*catalyst.*hours"):
        Casting(thickness=-1.0, catalyst=0.0, hours=-2.0)


def test_oven_programme_rests_warms_holds_and_cools():
    """20 to 80 degC at 20 K/h is 3 h; worked by hand."""
    assert post_cure_programme(20, 80, 4, start=24) == ((24, 20), (27, 80), (31, 80), (34, 20))


def test_air_follows_the_programme():
    casting = Casting(10, 1.5, 20.0, programme=post_cure_programme(20, 80, 4), hours=40)
    assert [casting.air(3600 * hour) for hour in (0, 24, 25.5, 29, 34, 39)] == pytest.approx(
        [20, 20, 50, 80, 20, 20]
    )
    assert casting.end_of_room == 24 * 3600
    assert casting.breaks == pytest.approx([0, 24 * 3600, 27 * 3600, 31 * 3600, 34 * 3600])
