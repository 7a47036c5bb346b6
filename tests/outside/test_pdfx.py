"""The finished file against the points of PDF/X-4 (ISO 15930-7:2010), read by pypdf and pdfminer.six.

The standard is not public. Rules are numbered by a list gathered from public checklists and from what other open-source
writers of PDF/X do; where a rule stands from memory alone, it says so. ISO 32000-1 clauses are named as such.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import re
import struct
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pikepdf
import pypdf
import pytest
from pdfminer.pdfdocument import PDFDocument
from pdfminer.pdfparser import PDFParser
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject, StreamObject

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.loading import load_plugins
from hotfolder.testing import make_job, make_pdf, run_steps

STEPS = load_plugins().steps
CORPUS = Path(__file__).parents[2].parent / "shared" / "corpus" / "posters"
CONDITION = SHIPPED[DEFAULT]
CHAIN = ("convert_colour", "add_marks", "seal_pdf")


def own_poster(folder: Path) -> Path:
    """A poster with what a designer's program leaves behind: RGB, a link, a script, bookmarks, a layer."""
    path = make_pdf(
        folder / "own.pdf", content=b"/OC /L BDC 0.8 0.1 0.1 rg 0 0 400 400 re f EMC 0 g 30 500 300 9 re f", pages=2
    )
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        layer = pdf.make_indirect(pikepdf.Dictionary(Type=pikepdf.Name.OCG, Name=pikepdf.String("Art")))
        pdf.Root.OCProperties = pikepdf.Dictionary(OCGs=[layer], D=pikepdf.Dictionary(Order=[]))
        pdf.pages[0].obj.Resources.Properties = pikepdf.Dictionary(L=layer)
        script = pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS=pikepdf.String("app.alert(1)"))
        pdf.Root.OpenAction = script
        link = pikepdf.Dictionary(Subtype=pikepdf.Name.Link, Rect=[20, 20, 90, 90], Border=[0, 0, 0], A=script)
        pdf.pages[0].obj.Annots = pikepdf.Array([pdf.make_indirect(link)])
        with pdf.open_outline() as outline:
            outline.root.append(pikepdf.OutlineItem("Start", 0))
        pdf.docinfo["/Title"], pdf.docinfo["/GTS_PDFXVersion"] = "Own", "PDF/X-1:2001"
        pdf.save(path)
    return path


REAL = ("plakat__plakat.pdf", "eop__BoxCard.pdf", "stochaskell__poster.pdf", "govdesign__Poster_GoodServices.pdf")
_DONE: dict[str, Path] = {}


@pytest.fixture(params=["own", *REAL])
def finished(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    name = request.param
    if name not in _DONE:
        folder = tmp_path_factory.mktemp("pdfx")
        if name != "own" and not (CORPUS / name).is_file():
            pytest.skip("the corpus of real posters is not beside this checkout")
        # One of them would be held for what its transparency becomes in ink, which is another matter.
        condition = replace(SHIPPED[DEFAULT], blending="convert")
        job = make_job(folder, own_poster(folder) if name == "own" else CORPUS / name, condition=condition)
        run_steps(job, *(STEPS[step]() for step in CHAIN))
        assert not job.held, job.findings
        _DONE[name] = job.artwork
    return _DONE[name]


# ---- reading


def resolve(value: object) -> object:
    return value.get_object() if isinstance(value, IndirectObject) else value


def box(page: pypdf.PageObject, key: str) -> list[float]:
    return [float(side) for side in page[key]]  # the page's own entry, nothing inherited


def reachable(value: object, seen: set[int] | None = None) -> Iterator[DictionaryObject]:
    """Every dictionary and stream that can be reached."""
    seen = set() if seen is None else seen
    waiting = [value]
    while waiting:
        found = resolve(waiting.pop())
        if id(found) in seen or not isinstance(found, (DictionaryObject, ArrayObject)):
            continue
        seen.add(id(found))
        if isinstance(found, DictionaryObject):
            yield found
            waiting += [child for key, child in found.items() if key != "/Parent"]
        else:
            waiting += list(found)


def xmp(reader: pypdf.PdfReader) -> dict[str, str]:
    stream = resolve(reader.trailer["/Root"]["/Metadata"])  # type: ignore[index]
    assert isinstance(stream, StreamObject)
    found = {}
    for description in ET.fromstring(stream.get_data().decode("utf-8")).iter():
        if description.tag.endswith("}Description"):
            found |= {child.tag: "".join(child.itertext()).strip() for child in description}
    return found


NS = {
    "dc": "{http://purl.org/dc/elements/1.1/}",
    "xmp": "{http://ns.adobe.com/xap/1.0/}",
    "mm": "{http://ns.adobe.com/xap/1.0/mm/}",
    "pdf": "{http://ns.adobe.com/pdf/1.3/}",
    "x": "{http://www.npes.org/pdfx/ns/id/}",
}


# ---- the rules


def rule_1_version(path: Path, reader: pypdf.PdfReader) -> None:
    """Header %PDF-1.6 (what open-source writers write; a header up to 1.7 is read: from memory)."""
    assert path.read_bytes().startswith(b"%PDF-1.6\n")
    assert "/Version" not in reader.trailer["/Root"]  # type: ignore[operator]


def rule_4_version_key(path: Path, reader: pypdf.PdfReader) -> None:
    """XMP pdfxid:GTS_PDFXVersion is PDF/X-4, in the name space of the standard's own schema."""
    assert xmp(reader)[NS["x"] + "GTS_PDFXVersion"] == "PDF/X-4"


def rule_5_xmp(path: Path, reader: pypdf.PdfReader) -> None:
    """Title, three times, document, version and rendition in XMP."""
    said = xmp(reader)
    assert said[NS["dc"] + "title"]
    for key in ("CreateDate", "ModifyDate", "MetadataDate"):
        assert dt.datetime.fromisoformat(said[NS["xmp"] + key]).tzinfo is not None
    for key in ("DocumentID", "InstanceID"):
        assert re.fullmatch(r"uuid:[0-9a-f-]{36}", said[NS["mm"] + key])
    assert said[NS["mm"] + "VersionID"] == "1"
    assert said[NS["mm"] + "RenditionClass"] == "default"


def rule_6_info_agrees(path: Path, reader: pypdf.PdfReader) -> None:
    """Where Info and XMP both say something they say the same."""
    said, info = xmp(reader), reader.metadata
    assert info is not None
    assert info.title == said[NS["dc"] + "title"]
    assert info.producer == said[NS["pdf"] + "Producer"]
    assert info.creation_date == dt.datetime.fromisoformat(said[NS["xmp"] + "CreateDate"])
    assert info.modification_date == dt.datetime.fromisoformat(said[NS["xmp"] + "ModifyDate"])
    assert info.get("/GTS_PDFXVersion") in (None, "PDF/X-4")  # rule 3
    assert "/GTS_PDFXConformance" not in info


def rule_7_trapped(path: Path, reader: pypdf.PdfReader) -> None:
    """True or False, not Unknown and not absent; the same in Info and XMP."""
    assert reader.metadata is not None
    assert reader.metadata["/Trapped"] in ("/True", "/False")
    assert reader.metadata["/Trapped"][1:] == xmp(reader)[NS["pdf"] + "Trapped"]


def rule_8_id(path: Path, reader: pypdf.PdfReader) -> None:
    ids = resolve(reader.trailer["/ID"])
    assert isinstance(ids, ArrayObject)
    assert len(ids) == 2


def rule_9_boxes(path: Path, reader: pypdf.PdfReader) -> None:
    """A media box and exactly one of trim and art box on every page."""
    for page in reader.pages:
        assert "/MediaBox" in page
        assert ("/TrimBox" in page) != ("/ArtBox" in page)


def rule_10_nesting(path: Path, reader: pypdf.PdfReader) -> None:
    """Trim in bleed in crop in media, to the last digit."""
    for page in reader.pages:
        for inner, outer in (("/TrimBox", "/BleedBox"), ("/BleedBox", "/CropBox"), ("/CropBox", "/MediaBox")):
            inside, around = box(page, inner), box(page, outer)
            assert all(low >= edge for low, edge in zip(inside[:2], around[:2], strict=True))
            assert all(high <= edge for high, edge in zip(inside[2:], around[2:], strict=True))
            assert inside[0] < inside[2]
            assert inside[1] < inside[3]


def rule_11_annotations(path: Path, reader: pypdf.PdfReader) -> None:
    """None inside the bleed (here: none at all)."""
    assert all(not resolve(page.get("/Annots")) for page in reader.pages)


def rule_12_view_and_print_area(path: Path, reader: pypdf.PdfReader) -> None:
    preferences = resolve(reader.trailer["/Root"].get("/ViewerPreferences")) or {}  # type: ignore[union-attr]
    for key in ("/ViewArea", "/ViewClip", "/PrintArea", "/PrintClip"):
        assert preferences.get(key, "/MediaBox") in ("/MediaBox", "/BleedBox")  # type: ignore[attr-defined]


def rule_13_intent(path: Path, reader: pypdf.PdfReader) -> None:
    """Exactly one GTS_PDFX intent with an embedded profile (32000-1 14.11.5, table 365)."""
    intents = resolve(reader.trailer["/Root"]["/OutputIntents"])  # type: ignore[index]
    assert isinstance(intents, ArrayObject)
    found = [resolve(one) for one in intents]
    assert [one["/S"] for one in found] == ["/GTS_PDFX"]  # type: ignore[index]
    assert found[0]["/OutputConditionIdentifier"] == CONDITION.identifier  # type: ignore[index]
    assert found[0]["/RegistryName"] == "http://www.color.org"  # type: ignore[index]
    assert found[0]["/Info"]  # type: ignore[index]


def rule_14_profile(path: Path, reader: pypdf.PdfReader) -> None:
    """Of class prtr, for CMYK, ICC v2 or v4 up to 4.2 (from memory), N to match (ICC.1:2010 7.2: offsets 8, 12, 16, 36)."""
    profile = resolve(resolve(resolve(reader.trailer["/Root"]["/OutputIntents"])[0])["/DestOutputProfile"])  # type: ignore[index]
    data = profile.get_data()  # type: ignore[attr-defined]
    assert (data[12:16], data[16:20], data[36:40]) == (b"prtr", b"CMYK", b"acsp")
    assert (2, 0) <= (data[8], data[9] >> 4) <= (4, 2)
    assert struct.unpack(">I", data[:4])[0] == len(data)
    assert profile["/N"] == 4  # type: ignore[index]
    assert hashlib.sha256(data).digest() == hashlib.sha256(CONDITION.profile.read_bytes()).digest()


def rule_15_encryption(path: Path, reader: pypdf.PdfReader) -> None:
    assert "/Encrypt" not in reader.trailer
    with path.open("rb") as stream:  # pdfminer.six reads the trailer by itself
        assert PDFDocument(PDFParser(stream)).encryption is None


def rule_16_fonts(path: Path, reader: pypdf.PdfReader) -> None:
    """Every font program is in the file."""
    for thing in reachable(reader.pages[0].get("/Resources")):
        if thing.get("/Type") == "/Font" and thing.get("/Subtype") in (
            "/Type1",
            "/TrueType",
            "/CIDFontType0",
            "/CIDFontType2",
        ):
            descriptor = resolve(thing.get("/FontDescriptor"))
            assert isinstance(descriptor, DictionaryObject), thing.get("/BaseFont")
            assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor)


def rule_18_colours(path: Path, reader: pypdf.PdfReader) -> None:
    """No RGB, Lab, Cal or ICC colour is left: stricter than the standard, which lets device-independent ones stay."""
    for page in reader.pages:
        for thing in reachable(page.get("/Resources")):
            if thing.get("/Subtype") == "/Image":
                space = resolve(thing.get("/ColorSpace"))
                kind = space[0] if isinstance(space, ArrayObject) else space
                assert kind in (None, "/DeviceCMYK", "/DeviceGray", "/Indexed", "/Separation", "/DeviceN"), kind
                if kind == "/Indexed":
                    base = resolve(space[1])  # type: ignore[index]
                    assert (base[0] if isinstance(base, ArrayObject) else base) not in (
                        "/DeviceRGB",
                        "/ICCBased",
                        "/Lab",
                    )
            if thing.get("/S") == "/Transparency" and "/CS" in thing:
                assert resolve(thing["/CS"]) in ("/DeviceCMYK", "/DeviceGray")  # rule 17


def rule_19_layers(path: Path, reader: pypdf.PdfReader) -> None:
    """The default configuration has a name and no automatic states; each layer stands in its order (from memory)."""
    layers = resolve(reader.trailer["/Root"].get("/OCProperties"))  # type: ignore[union-attr]
    if layers is not None:
        default = resolve(layers["/D"])  # type: ignore[index]
        assert default["/Name"]  # type: ignore[index]
        assert "/AS" not in default  # type: ignore[operator]
        assert "/Configs" not in layers  # type: ignore[operator]


def rule_20_no_action(path: Path, reader: pypdf.PdfReader) -> None:
    for thing in reachable(reader.trailer["/Root"]):
        assert not {"/JS", "/AA", "/OpenAction", "/XFA", "/AcroForm", "/EmbeddedFiles"} & set(thing)
        assert thing.get("/S") not in (
            "/JavaScript",
            "/URI",
            "/Launch",
            "/GoToR",
            "/SubmitForm",
            "/Movie",
            "/Rendition",
        )


def rule_21_22_nothing_outside(path: Path, reader: pypdf.PdfReader) -> None:
    """No PostScript, OPI, reference XObject, external stream or alternate picture."""
    for page in reader.pages:
        for thing in reachable(page.get("/Resources")):
            assert thing.get("/Subtype") != "/PS"
            assert not {"/OPI", "/Ref", "/Alternates"} & set(thing)
            assert not (isinstance(thing, StreamObject) and "/F" in thing)


def rule_23_filters(path: Path, reader: pypdf.PdfReader) -> None:
    for thing in reachable(reader.trailer["/Root"]):
        filters = resolve(thing.get("/Filter"))
        assert "LZWDecode" not in repr(filters)


def rule_24_no_transfer(path: Path, reader: pypdf.PdfReader) -> None:
    for page in reader.pages:
        states = resolve(resolve(page.get("/Resources")).get("/ExtGState")) or {}  # type: ignore[union-attr]
        for state in states.values():  # type: ignore[attr-defined]
            assert not {"/TR", "/HTP", "/HT"} & set(resolve(state))  # type: ignore[call-overload]


def rule_25_one_meaning_for_each_ink(path: Path, reader: pypdf.PdfReader) -> None:
    """The same spot name has one alternate and one tint transformation."""
    known: dict[str, object] = {}
    for page in reader.pages:
        spaces = resolve(resolve(page.get("/Resources")).get("/ColorSpace")) or {}  # type: ignore[union-attr]
        for space in map(resolve, spaces.values()):  # type: ignore[attr-defined]
            if isinstance(space, ArrayObject) and space[0] == "/Separation":
                assert known.setdefault(space[1], repr(resolve(space[2]))) == repr(resolve(space[2]))


RULES: dict[str, Callable[[Path, pypdf.PdfReader], None]] = {
    name: check for name, check in sorted(globals().items()) if name.startswith("rule_")
}


@pytest.mark.parametrize("rule", RULES)
def test_pdfx_4(rule: str, finished: Path) -> None:
    RULES[rule](finished, pypdf.PdfReader(finished))


def test_the_rules_see_what_the_artwork_broke(tmp_path: Path) -> None:
    """The same checks on the artwork as it came: a rule that can't fail would prove nothing."""
    path = own_poster(tmp_path)
    reader, broken = pypdf.PdfReader(path), set()
    for name, check in RULES.items():
        try:
            check(path, reader)
        except (AssertionError, KeyError, TypeError, AttributeError):
            broken.add(name.split("_")[1])
    assert {"1", "4", "5", "6", "7", "10", "11", "13", "14", "19", "20"} <= broken
