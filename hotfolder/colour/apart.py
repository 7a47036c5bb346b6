"""How far apart two mixtures of inks look on a condition's paper, quickly enough to ask it for every gradient."""

import itertools
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from hotfolder.colour.condition import Condition
from hotfolder.colour.difference import ciede2000
from hotfolder.colour.transform import condition_lab

Floats = NDArray[np.float64]

_SIDE = 17  # places a side of the table
_FEW = 4000  # colours; for more, the colour management itself is quicker


def inks_apart(condition: Condition, one: Floats, other: Floats) -> Floats:
    """CIEDE2000 between inks (n, 4) and inks (n, 4), in 0..1, shape (n,).

    A few colours are read off a table: within 0.2 of the exact difference for colours that are near each other.
    """
    both = np.clip(np.concatenate([one, other]), 0, 1)
    lab = condition_lab(condition, both) if len(both) > _FEW else _read(_table(condition), both)
    return ciede2000(lab[: len(one)], lab[len(one) :])


@lru_cache(maxsize=8)
def _table(condition: Condition) -> Floats:
    side = np.linspace(0, 1, _SIDE)
    inks = np.stack(np.meshgrid(side, side, side, side, indexing="ij"), axis=-1)
    return condition_lab(condition, inks.reshape(-1, 4)).reshape(*inks.shape[:4], 3)


def _read(table: Floats, inks: Floats) -> Floats:
    """Between the places of the table, straight along each ink."""
    place = inks * (_SIDE - 1)
    low = np.minimum(place.astype(int), _SIDE - 2)
    share = place - low
    lab = np.zeros((len(inks), 3))
    for sides in itertools.product((0, 1), repeat=4):
        weight = np.prod([share[:, i] if side else 1 - share[:, i] for i, side in enumerate(sides)], axis=0)
        lab += weight[:, None] * table[tuple(low[:, i] + side for i, side in enumerate(sides))]
    return lab
