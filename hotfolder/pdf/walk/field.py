"""Turns gradients over a field (ISO 32000-1 8.7.4.5.2, function-based) into tables of colours of two inputs."""

import math
from typing import TYPE_CHECKING

import numpy as np
from pikepdf import Object

from hotfolder.pdf.values.functions import Function, write_sampled
from hotfolder.pdf.values.spaces import Floats
from hotfolder.pdf.walk.blend import CLOSE, LIMIT, Blend
from hotfolder.pdf.walk.outcome import CannotConvert

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker

_FEWEST = 16  # steps a side
_MOST = 300_000  # samples in all
_HOPELESS = 10.0  # an error that stays as large while the steps are halved is a jump
_SPOT_CHECKS = 5000

Domain = tuple[float, float, float, float]


def convert_field(walker: "Walker", blend: Blend, function: Function, domain: Domain) -> Object:
    """The sampled function that gives the mapping's colours over the domain (least and largest x, then y)."""
    steps, before = [_begin(count) for count in function.steps()], math.inf
    while True:
        off, inks = _measure(blend, function, domain, steps)
        if off.max() <= CLOSE:
            break
        wider = [2 * n if mine >= off.max() / 2 else n for n, mine in zip(steps, off, strict=True)]
        hopeless = off.max() > max(_HOPELESS, 0.9 * before)
        if hopeless or (wider[0] + 1) * (wider[1] + 1) > _MOST:
            if off.max() <= LIMIT:
                break
            raise CannotConvert(f"its colours change too abruptly: {off.max():.1f} CIEDE2000 from what they should be")
        steps, before = wider, off.max()
    _check(blend, function, domain, inks)
    return write_sampled(walker.pdf, inks.reshape(-1, inks.shape[-1]), domain, [n + 1 for n in steps])


def _begin(count: int) -> int:
    """The least number of steps that falls on each corner of a function that is a table itself."""
    return count * max(1, -(-_FEWEST // count))


def _rows(domain: Domain, across: Floats, up: Floats) -> Floats:
    x, y = np.meshgrid(domain[0] + across * (domain[1] - domain[0]), domain[2] + up * (domain[3] - domain[2]))
    return np.stack([x.ravel(), y.ravel()], axis=1)


def _measure(blend: Blend, function: Function, domain: Domain, steps: list[int]) -> tuple[Floats, Floats]:
    """Errors halfway between samples, across and up; and the samples (rows, columns, inks)."""
    across, up = (np.linspace(0, 1, 2 * n + 1) for n in steps)
    inks = blend(function(_rows(domain, across, up))).reshape(len(up), len(across), -1)
    samples = inks[::2, ::2]
    drawn_across, drawn_up = (samples[:, :-1] + samples[:, 1:]) / 2, (samples[:-1] + samples[1:]) / 2
    drawn_middle = (drawn_across[:-1] + drawn_across[1:]) / 2
    one = blend.apart(drawn_across, inks[::2, 1::2]).max()
    two = blend.apart(drawn_up, inks[1::2, ::2]).max()
    middle = blend.apart(drawn_middle, inks[1::2, 1::2]).max()
    # What is wrong in the middle of a field but on none of its sides needs more steps both ways.
    return np.array(
        [max(one, middle if middle > one + two else 0), max(two, middle if middle > one + two else 0)]
    ), samples


def _check(blend: Blend, function: Function, domain: Domain, inks: Floats) -> None:
    """Looks at places that lie on no grid (a Halton sequence), so that nothing hides between equal steps."""
    places = np.stack([_halton(2), _halton(3)], axis=1)
    rows, columns = inks.shape[0] - 1, inks.shape[1] - 1
    x, y = places[:, 0] * columns, places[:, 1] * rows
    i, j = np.floor(x).astype(int), np.floor(y).astype(int)
    p, q = (x - i)[:, None], (y - j)[:, None]
    drawn = (inks[j, i] * (1 - p) + inks[j, i + 1] * p) * (1 - q) + (
        inks[j + 1, i] * (1 - p) + inks[j + 1, i + 1] * p
    ) * q
    low, high = np.array(domain[::2]), np.array(domain[1::2])
    off = blend.apart(drawn, blend(function(low + places * (high - low)))).max()
    if off > LIMIT:
        raise CannotConvert(f"its colours change too abruptly: {off:.1f} CIEDE2000 from what they should be")


def _halton(base: int) -> Floats:
    index, part, out = np.arange(1, _SPOT_CHECKS + 1), 1.0, np.zeros(_SPOT_CHECKS)
    while index.any():
        part /= base
        out += part * (index % base)
        index = index // base
    return out
