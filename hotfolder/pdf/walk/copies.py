"""Tells a page's art drawn once more, such as bleed made of it, from the art itself."""

from __future__ import annotations

from pikepdf import Array, Dictionary, Name, Object, Pdf, Stream

from hotfolder.pdf.objects import entry, identity, stream_bytes

ART = "/Artwork"  # the name under which a page draws all of its art, as one form
_DRAWING = b"/Artwork Do"
_LONGEST = 100  # bytes that such a stream can take, packed or not


def copy_of(pdf: Pdf, art: Stream) -> Object:
    """A form that draws nothing but another form, which the page has as ART, too: so it is known for a copy."""
    copy = Stream(pdf, _DRAWING)
    copy.Type, copy.Subtype = Name.XObject, Name.Form
    copy.BBox = Array(list(art.BBox))
    copy.Resources = Dictionary(XObject=Dictionary({ART: art}))
    return pdf.make_indirect(copy)


def is_copy(form: Stream, resources: object) -> bool:
    """Whether a form draws again what is listed as the art among the `resources` of whoever draws it."""
    art = identity(entry(entry(resources, "/XObject"), ART))
    if art is None or art != identity(entry(entry(entry(form, "/Resources"), "/XObject"), ART)):
        return False
    try:
        return len(form.read_raw_bytes()) <= _LONGEST and stream_bytes(form).strip() == _DRAWING
    except ValueError:
        return False
