"""The mapping for groups that go on blending in RGB: their screen colours stay, each with the profile that it means.

PDF/X-4 (ISO 15930-7, from memory) allows colours with a profile beside the press's inks, and groups that blend in one.
"""

from dataclasses import replace

import pikepdf
from pikepdf import Array, Dictionary, Name, Object, Stream

from hotfolder.colour.profile import SRGB
from hotfolder.finding import Box
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.mappings.to_condition import ToCondition
from hotfolder.pdf.objects import content_bytes, dictionary, entry, identity, inherited
from hotfolder.pdf.values.spaces import Space, SpaceReader, device_name
from hotfolder.pdf.walk.content import write_numbers
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import KEEP, Fate, Mapping, Plan
from hotfolder.pdf.walk.state import Matrix

_SCREEN = ("DeviceRGB", "CalRGB", "CalGray", "Lab", "ICCBased")
_PAGE, _ART = Name("/Page-blended-in-RGB"), Name("/Art")


class KeepBlending(ToCondition):
    """Inside a kept group: colours with a profile stay, plain RGB gets sRGB by way of DefaultRGB (ISO 32000-1 8.6.5.6).

    Inks in it are treated as everywhere else. Groups inside it that blend in inks by themselves are `outside`'s.
    """

    def __init__(self, outside: ToCondition) -> None:
        # An area of black gets no other inks here: they would be mixed anew with all the rest.
        super().__init__(replace(outside.condition, rich_black=()), outside.picture_quality)
        self.outside, self.sources, self.separated = outside, outside.sources, outside.separated
        self.blending_told, self.finer = outside.blending_told, outside.finer
        self._srgb: Space | None = None

    def plan(self, space: Space, pdf: pikepdf.Pdf) -> Plan:
        real = space.base if space.kind == "Indexed" and space.base is not None else space
        if real.kind not in _SCREEN or real.n == 4:
            return super().plan(space, pdf)
        _, _, trouble = self.source(real)
        if not trouble:
            return KEEP
        assert real.base is not None
        if real is space:
            return Plan(Fate.SWAP, device_name(real.base), remark=trouble)
        assert isinstance(space.found, Array)
        return Plan(Fate.SWAP, Array([Name.Indexed, device_name(real.base), *list(space.found)[2:]]), remark=trouble)

    def group_space(self, space: Space, pdf: pikepdf.Pdf) -> Space | None:
        if space.n != 3:
            return None
        return space if space.kind == "ICCBased" and not self.source(space)[2] else self.srgb(pdf)

    def for_group(self, form: Stream, space: Space | None) -> Mapping:
        return self if space is None or space.n == 3 else self.outside

    def stream_begins(self, frame: Frame, matrix: Matrix) -> None:
        super().stream_begins(frame, matrix)
        found = frame.walker.spaces.device("DeviceRGB", frame.resources)
        if found.kind not in ("ICCBased", "CalRGB") or self.source(found)[2]:
            frame.edits.use("/ColorSpace", "/DefaultRGB", self.srgb(frame.walker.pdf).found)

    def srgb(self, pdf: pikepdf.Pdf) -> Space:
        """sRGB with its profile, one object of the file for all uses."""
        if self._srgb is None:
            self._srgb = SpaceReader().read(srgb_space(pdf), None)
        return self._srgb


def srgb_space(pdf: pikepdf.Pdf) -> Object:
    return pdf.make_indirect(Array([Name.ICCBased, pdf.make_stream(SRGB.data, N=3)]))


def wrap_page(pdf: pikepdf.Pdf, number: int) -> tuple[int, int]:
    """Puts all that a page (from 1) draws into one group that blends as the page did; the page itself blends in inks.

    So printer's marks that come on the page later stay the inks that they are. What the page draws lies on white inside
    the group, because it has to mix with the paper in RGB too; it does so as one group of its own, which all blend modes
    need (ISO 32000-1 11.4.7). The number of the group's object. ValueError where the page's content can't be read.
    """
    page = pdf.pages[number - 1]
    data = content_bytes(page.obj.get("/Contents"))
    resources = dictionary(inherited(page.obj, "/Resources"))
    found = dictionary(page.obj.get("/Group"))
    space = found.get("/CS")
    inside = Dictionary(S=Name.Transparency, I=True, CS=Name.DeviceRGB if space is None else space)
    if entry(found, "/K") is True:
        inside.K = True
    box = read_boxes(page).media
    art = _form(pdf, data, box, resources, inside)
    white = b"1 1 1 rg %b re f " % write_numbers((box.left, box.bottom, box.width, box.height))
    on_paper = Dictionary(S=Name.Transparency, I=True, CS=inside.CS)
    named = Dictionary(XObject=Dictionary({str(_ART): art}), ColorSpace=dictionary(resources.get("/ColorSpace")))
    group = _form(pdf, white + bytes(_ART) + b" Do", box, named, on_paper)
    page.obj.Contents = pdf.make_stream(bytes(_PAGE) + b" Do")
    page.obj.Resources = Dictionary(XObject=Dictionary({str(_PAGE): group}))
    page.obj.Group = Dictionary(S=Name.Transparency, CS=Name.DeviceCMYK, I=True)
    place = identity(group)
    assert place is not None
    return place


def _form(pdf: pikepdf.Pdf, data: bytes, box: Box, resources: Dictionary, group: Dictionary) -> Object:
    form = Stream(pdf, data, Type=Name.XObject, Subtype=Name.Form, BBox=Array(list(box)), Resources=resources)
    form.Group = group
    return pdf.make_indirect(form)
