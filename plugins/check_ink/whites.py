"""Where white would vanish: the page's plates compared with those of a copy in which white does not overprint."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pikepdf

from hotfolder.colour.condition import Condition
from hotfolder.pdf.boxes import PageBoxes
from hotfolder.pdf.looking.coverage import neighbours, places_that_differ
from hotfolder.pdf.mappings.set_overprint import SetOverprint
from hotfolder.pdf.plates import Plates, make_plates
from hotfolder.pdf.walk.walker import walk
from hotfolder.plugin import MM, Box

NEAR = 10 * MM  # places no farther apart are told of as one: the letters of a headline
_SHOWS = 0.1  # of full ink: a difference that people see
_LEAST_CM2 = 0.002  # less is the edge of something


def vanishing(artwork: Path, plates: Plates, condition: Condition, boxes: PageBoxes) -> list[tuple[int, Box]]:
    """The places of a page where white is lost to what lies below it, largest first. White on paper loses nothing."""
    with pikepdf.open(artwork) as pdf:
        walk(pdf, SetOverprint(inherited=True), [plates.page - 1])
        copy = BytesIO()
        pdf.save(copy, fix_metadata_version=False, compress_streams=False)
    meant = make_plates(copy.getvalue(), plates.page, plates.ppi, condition, boxes.bleed)
    lost = [place for place in places_that_differ(plates, meant, _SHOWS) if place.square_cm > _LEAST_CM2]
    return [(plates.page, place.box) for place in neighbours(lost, NEAR / boxes.user_unit)]
