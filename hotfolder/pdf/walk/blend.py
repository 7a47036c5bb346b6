"""Computes the colours of one gradient, and how far a simpler way to draw it is from what it should look like."""

from typing import TYPE_CHECKING

import numpy as np

from hotfolder.pdf.values.spaces import Floats, Space

if TYPE_CHECKING:
    from hotfolder.pdf.walk.mapping import Mapping

LIMIT = 1.0  # CIEDE2000: the largest error that a converted gradient may have anywhere
CLOSE = 0.5  # the largest error at the places looked at; the rest is room for those in between
_MOST_ANCHORS = 64


class Blend:
    """A gradient's numbers to the mapping's colours, all of them by one rule.

    Rules that depend on the whole gradient (gray all along to black ink alone, more ink than the paper takes) must not
    tear it. It is asked for piece by piece, so the colours that decide (the anchors) go along with every piece.
    """

    def __init__(self, mapping: "Mapping", space: Space, anchors: Floats) -> None:
        """`anchors`: colours that occur in it, (n, space.n), the most colourful, lightest and darkest among them."""
        self.mapping, self.space = mapping, space
        spread, total = np.ptp(anchors, axis=1), anchors.sum(axis=1)
        few = np.linspace(0, len(anchors) - 1, min(len(anchors), _MOST_ANCHORS)).astype(int)
        self._anchors = anchors[[int(spread.argmax()), int(total.argmax()), int(total.argmin()), *few]]

    def __call__(self, values: Floats) -> Floats:
        """(n, space.n) to (n, target.n)."""
        both = np.concatenate([self._anchors, values])
        return np.asarray(self.mapping.colours(self.space, both, True)[len(self._anchors) :])

    def apart(self, one: Floats, other: Floats) -> Floats:
        """How far colours of the target look apart: (..., target.n) twice to (...), in CIEDE2000."""
        flat = self.mapping.apart(one.reshape(-1, one.shape[-1]), other.reshape(-1, other.shape[-1]))
        return np.asarray(flat.reshape(one.shape[:-1]))
