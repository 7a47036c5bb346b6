"""The quick difference of inks agrees with the exact one."""

import numpy as np
import pytest

from hotfolder.colour.apart import inks_apart
from hotfolder.colour.condition import SHIPPED
from hotfolder.colour.difference import ciede2000
from hotfolder.colour.transform import condition_lab


@pytest.mark.parametrize("name", SHIPPED)
def test_the_table_is_close_to_the_profile(name: str) -> None:
    random = np.random.default_rng(3)
    one = random.random((1500, 4)) * (1, 1, 1, 0.8)
    other = np.clip(one + random.normal(0, 0.01, one.shape), 0, 1)
    exact = ciede2000(condition_lab(SHIPPED[name], one), condition_lab(SHIPPED[name], other))
    assert exact.max() > 1.5
    assert abs(inks_apart(SHIPPED[name], one, other) - exact).max() < 0.2


def test_many_colours_are_exact() -> None:
    condition, random = SHIPPED["coated_europe"], np.random.default_rng(4)
    one, other = random.random((3000, 4)), random.random((3000, 4))
    exact = ciede2000(condition_lab(condition, one), condition_lab(condition, other))
    assert inks_apart(condition, one, other) == pytest.approx(exact, abs=1e-6)
