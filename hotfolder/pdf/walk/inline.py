"""Reads pictures that stand inside the drawing instructions, and writes converted ones back."""

import pikepdf
from pikepdf import Dictionary, Name, Stream

from hotfolder.pdf.objects import entry, name
from hotfolder.pdf.walk.content import inline_entries, write_name
from hotfolder.pdf.walk.resources import ResourceEdits


def inline_facts(entries: bytes, resources: object) -> Dictionary:
    """An inline picture's dictionary as a picture XObject would have it; ValueError where it makes no sense."""
    facts = inline_entries(entries)
    facts.Type, facts.Subtype = Name.XObject, Name.Image
    space = facts.get("/ColorSpace")
    # A name here may be one of the resources' (8.9.7), which a picture XObject's may not.
    if isinstance(space, Name) and name(space) not in ("DeviceGray", "DeviceRGB", "DeviceCMYK"):
        found = entry(entry(resources, "/ColorSpace"), str(space))
        if found is None:
            raise ValueError(f"the colour space {name(space)} is missing")
        facts.ColorSpace = found
    return facts


def as_stream(pdf: pikepdf.Pdf, facts: Dictionary, data: bytes) -> Stream:
    """The picture XObject that an inline picture could have been."""
    stream = Stream(pdf, data)
    for key in facts.keys():  # noqa: SIM118
        if key != "/Length":
            stream[key] = facts[key]
    return stream


def write_inline(edits: ResourceEdits, picture: Stream) -> bytes:
    """The operators that paint a converted picture: as a picture XObject under a new name.

    An inline picture may use only a few colour spaces and no soft mask; an XObject may use all.
    """
    written = edits.add("/XObject", "/Inline", picture)
    return write_name(written) + b" Do"
