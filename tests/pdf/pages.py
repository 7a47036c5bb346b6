"""A small page to be walked through in a test, with the spaces that several tests use."""

import io

import numpy as np
import pikepdf
import pypdfium2
from pikepdf import Array, Dictionary, Name, Object, Stream

from hotfolder.colour.condition import SHIPPED
from hotfolder.pdf.mappings import Mapping, ToCondition
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.walker import walk

CONDITION = SHIPPED["coated_europe"]
SPOT = "[/Separation /Orange /DeviceCMYK << /FunctionType 2 /Domain [0 1] /C0 [0 0 0 0] /C1 [0 .6 1 0] /N 1 >>]"
RGB_SPOT = "[/Separation /Orange /DeviceRGB << /FunctionType 2 /Domain [0 1] /C0 [1 1 1] /C1 [1 .5 0] /N 1 >>]"
LAB = "[/Lab << /WhitePoint [.9642 1 .8249] /Range [-128 127 -128 127] >>]"
CAL_RGB = "[/CalRGB << /WhitePoint [.9505 1 1.089] /Gamma [2.2 2.2 2.2] /Matrix [.4124 .2126 .0193 .3576 .7152 .1192 .1805 .0722 .9505] >>]"


class Page:
    """A page under construction: resources by category, as PDF text."""

    def __init__(self) -> None:
        self.pdf = pikepdf.new()
        self.pdf.add_blank_page(page_size=(200, 200))
        self.obj = self.pdf.pages[0].obj
        font = Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)
        self.obj.Resources = Dictionary(
            Font=Dictionary(F1=font), ColorSpace=Dictionary(), XObject=Dictionary(), ExtGState=Dictionary(),
            Pattern=Dictionary(), Shading=Dictionary(),
        )  # fmt: skip

    def put(self, category: str, name: str, value: "str | Object") -> Object:
        found = Object.parse(value.encode()) if isinstance(value, str) else value
        made = self.pdf.make_indirect(found)
        self.obj.Resources[f"/{category}"][f"/{name}"] = made
        return made

    def stream(self, data: str | bytes, entries: str = "") -> Stream:
        made = Stream(self.pdf, data if isinstance(data, bytes) else data.encode())
        facts = Object.parse(f"<< {entries} >>".encode())
        for key in facts.keys():  # noqa: SIM118
            made[key] = facts[key]
        return made

    def form(self, name: str, data: str, entries: str = "", resources: bool = True) -> Object:
        form = self.stream(data, f"/Type /XObject /Subtype /Form /BBox [0 0 200 200] {entries}")
        if resources:
            form.Resources = self.obj.Resources
        return self.put("XObject", name, form)

    def profile(self, name: str, data: bytes, n: int) -> Object:
        return self.put(
            "ColorSpace", name, Array([Name.ICCBased, self.pdf.make_indirect(self.stream(data, f"/N {n}"))])
        )

    def walk(self, content: str, mapping: Mapping | None = None) -> WalkResult:
        self.obj.Contents = self.pdf.make_stream(content.encode())
        return walk(self.pdf, mapping or ToCondition(CONDITION))

    def content(self) -> str:
        return text_of(self.obj.Contents)


def text_of(stream: Object) -> str:
    return " ".join(stream.read_bytes().decode("latin-1").split())


def drawn(pdf: pikepdf.Pdf) -> np.ndarray:
    saved = io.BytesIO()
    pdf.save(saved)
    return pypdfium2.PdfDocument(saved.getvalue())[0].render(scale=1, rev_byteorder=True).to_numpy()[:, :, :3]
