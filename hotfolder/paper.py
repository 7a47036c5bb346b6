"""Sheet sizes that have a name: the A and B series of ISO 216, and 2A0 and 4A0 of DIN 476."""

from __future__ import annotations

#: Width and height in millimetres, upright (ISO 216:2007 tables 1 and 2; 4A0 and 2A0 from DIN 476).
ISO_216_MM: dict[str, tuple[int, int]] = {
    "4A0": (1682, 2378),
    "2A0": (1189, 1682),
    "A0": (841, 1189),
    "A1": (594, 841),
    "A2": (420, 594),
    "A3": (297, 420),
    "A4": (210, 297),
    "A5": (148, 210),
    "A6": (105, 148),
    "A7": (74, 105),
    "A8": (52, 74),
    "A9": (37, 52),
    "A10": (26, 37),
    "B0": (1000, 1414),
    "B1": (707, 1000),
    "B2": (500, 707),
    "B3": (353, 500),
    "B4": (250, 353),
    "B5": (176, 250),
    "B6": (125, 176),
    "B7": (88, 125),
    "B8": (62, 88),
    "B9": (44, 62),
    "B10": (31, 44),
}
