"""Makes pictures smaller that are finer than wanted, never coarser than wanted."""

import math

import pikepdf
import pyvips
from pikepdf import Object, Stream

from hotfolder.pdf.objects import entry
from hotfolder.pdf.pictures.facts import Facts, read_facts
from hotfolder.pdf.pictures.reading import load
from hotfolder.pdf.pictures.writing import write_jpeg, write_lossless
from hotfolder.pdf.values.spaces import GRAY

WORTH_IT = 1.1  # times finer than wanted from which a picture is made smaller: less would only soften it
LEAST_SIDE = 16  # pixels: smaller things are gradients and tones


def resized(image: pyvips.Image, finer: float) -> pyvips.Image:
    """So many times smaller, rounded up to whole pixels, by averaging and a Lanczos filter, as libvips does it."""
    across, down = (math.ceil(side / finer - 1e-6) for side in (image.width, image.height))
    small = image.resize(across / image.width, vscale=down / image.height, kernel="lanczos3")
    return small.cast(image.format) if small.format != image.format else small


def may_shrink(facts: Facts, finer: float) -> bool:
    """Whether a picture is worth making smaller; line art of one bit, whose edges are all there is to it, never is."""
    return facts.bits > 1 and finer >= WORTH_IT and min(facts.width, facts.height) / finer >= LEAST_SIDE


def resized_mask(pdf: pikepdf.Pdf, mask: Stream, picture: Facts, finer: float, quality: int, lasting: bool) -> Object:
    """A picture's soft mask, as fine as its picture becomes; the mask itself where it is no finer than that."""
    facts = read_facts(mask, GRAY)
    finer *= min(facts.width / picture.width, facts.height / picture.height)
    if not may_shrink(facts, finer) or entry(mask, "/Matte") is not None:
        return mask
    small = resized(load(mask, GRAY, facts, careful=True), finer)
    if facts.coding == "DCTDecode":
        return pdf.make_indirect(write_jpeg(pdf, small, GRAY, quality))
    return pdf.make_indirect(write_lossless(pdf, small, GRAY, lasting))
