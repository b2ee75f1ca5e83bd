"""The typed words that are the hands at a served practice machine."""

from __future__ import annotations

from asleft.cli.practice_words import do
from asleft.practice import Hands


def test_a_place_is_read_by_its_number_and_a_needless_take_leaves_the_piece():
    with Hands(3, speed=1000) as hands:
        assert "printed in" in do(hands, "print bead")
        walls = [float(do(hands, f"read {place}")) for place in (1, 12)]
        # drawn 0.65 and 0.45: the hidden errors of one machine are smaller than the step
        assert walls[0] > walls[1] > 0.3
        assert do(hands, "take bead").startswith("nothing was printed over the line")
        assert float(do(hands, "read 1")) > 0.3
        assert do(hands, "read 13").startswith("no such place on the ring: 13")
        assert do(hands, "wall") == "wall what? (Say wall 0.65.)"
        assert "is no such thing" in do(hands, "reed 1")


def test_the_caliper_is_set_up_along_an_axis_and_read_there():
    with Hands(3, speed=1000) as hands:
        assert do(hands, "travel X").startswith("the caliper is not set up along X")
        assert do(hands, "set up X") == "set up and zeroed"
        assert abs(float(do(hands, "travel X"))) < 0.1
        assert abs(float(do(hands, "block 50")) - 50) < 0.1
