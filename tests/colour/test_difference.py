"""The colour difference behaves like a distance."""

import numpy as np
import pytest

from hotfolder.colour.difference import ciede2000


def test_no_difference_between_equal_colours() -> None:
    lab = np.random.default_rng(1).uniform((0, -120, -120), (100, 120, 120), (500, 3))
    assert np.all(ciede2000(lab, lab) == 0)


def test_the_same_both_ways() -> None:
    draw = np.random.default_rng(2).uniform((0, -120, -120), (100, 120, 120), (2, 500, 3))
    assert ciede2000(draw[0], draw[1]) == pytest.approx(ciede2000(draw[1], draw[0]))


def test_one_colour_against_many_and_pictures_of_any_shape() -> None:
    assert ciede2000([50, 0, 0], np.zeros((4, 5, 3))).shape == (4, 5)
    assert ciede2000([50, 0, 0], [50, 0, 0]).shape == ()


def test_black_and_white_are_100_apart() -> None:
    # L* alone: 100 / S_L with the mean lightness 50, where S_L is 1.
    assert ciede2000([0, 0, 0], [100, 0, 0]) == pytest.approx(100)
