"""The sums between the two neutral ways to write a colour, XYZ and Lab, both for the D50 light of print shops."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# ICC.1:2010 clause 7.2.16: the PCS illuminant, as a profile can write it (s15Fixed16).
D50: Floats = np.array([63190, 65536, 54061]) / 65536

# CIE 15:2004: (6/29)**3 and the slope of the straight part.
_KNEE, _SLOPE = 216 / 24389, 24389 / 27


def xyz_to_lab(xyz: Floats) -> Floats:
    """XYZ of shape (..., 3), white at Y = 1, to Lab against D50."""
    share = np.asarray(xyz, np.float64) / D50
    root = np.where(share > _KNEE, np.cbrt(share), (_SLOPE * share + 16) / 116)
    x, y, z = root[..., 0], root[..., 1], root[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def lab_to_xyz(lab: Floats) -> Floats:
    """Lab against D50, shape (..., 3), to XYZ with white at Y = 1."""
    lab = np.asarray(lab, np.float64)
    y = (lab[..., 0] + 16) / 116
    root = np.stack([y + lab[..., 1] / 500, y, y - lab[..., 2] / 200], axis=-1)
    share = np.where(root**3 > _KNEE, root**3, (116 * root - 16) / _SLOPE)
    return share * D50


def move_black(xyz: Floats, darkest: Floats) -> Floats:
    """Black point compensation: stretches XYZ so that `darkest` comes to 0 and white stays (ISO 18619)."""
    return (xyz - darkest) * (D50 / (D50 - darkest))


def raise_black(xyz: Floats, darkest: Floats) -> Floats:
    """The other way: 0 comes to `darkest`, white stays."""
    return xyz * ((D50 - darkest) / D50) + darkest
