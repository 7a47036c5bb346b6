"""CIEDE2000 against the 34 pairs of Sharma, Wu and Dalal, Color Res. Appl. 30(1), 2005, table 1."""

from pathlib import Path

import numpy as np
import pytest

from hotfolder.colour.difference import ciede2000

LINES = (Path(__file__).parent / "data" / "ciede2000_sharma34.tsv").read_text().splitlines()[2:]
PAIRS = [[float(cell) for cell in line.split("\t")] for line in LINES]


def test_the_table_is_whole() -> None:
    assert [int(pair[0]) for pair in PAIRS] == list(range(1, 35))


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: f"pair {pair[0]:.0f}")
def test_a_published_pair(pair: list[float]) -> None:
    # In pair 14 the hues lie 180 degrees apart, and the rounding of an arctangent decides: 4.8045 as published
    # or 4.7461 where nothing guards against it. The published value is demanded here.
    assert ciede2000(pair[1:4], pair[4:7]) == pytest.approx(pair[7], abs=1e-4)
    assert ciede2000(pair[4:7], pair[1:4]) == pytest.approx(pair[7], abs=1e-4)


def test_many_pairs_in_one_call() -> None:
    table = np.array(PAIRS)
    assert np.abs(ciede2000(table[:, 1:4], table[:, 4:7]) - table[:, 7]).max() < 1e-4
