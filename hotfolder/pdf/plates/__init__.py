"""Plates: what each ink of a page prints, as pictures; and what the inks look like together."""

from hotfolder.pdf.mappings.to_plates import PROCESS
from hotfolder.pdf.plates.doubts import Doubt
from hotfolder.pdf.plates.plates import Plates, make_plates
from hotfolder.pdf.plates.proof import proof_picture

__all__ = ["PROCESS", "Doubt", "Plates", "make_plates", "proof_picture"]
