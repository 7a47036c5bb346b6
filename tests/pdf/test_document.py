"""What a PDF carries besides its art, read from small files that carry one thing each."""

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Object, Stream

from hotfolder.pdf.looking.document import read_annotations, read_carried
from hotfolder.pdf.looking.layers import read_layers


def parse(text: str) -> Object:
    return Object.parse(text.encode("latin-1"))


def one_page() -> pikepdf.Pdf:
    pdf = pikepdf.new()
    pdf.add_blank_page(page_size=(300, 400))
    return pdf


# the annotation's entries -> prints, draws
ANNOTATIONS = {
    "for the screen only": ("/Subtype /Text /Rect [0 0 20 20]", (False, True)),
    "printed": ("/Subtype /Text /Rect [0 0 20 20] /F 4", (True, True)),
    "a printer's mark": ("/Subtype /PrinterMark /Rect [0 0 20 20]", (True, True)),
    "hidden is not printed (Table 165)": ("/Subtype /Text /Rect [0 0 20 20] /F 6", (False, True)),
    "not to be viewed, yet printed": ("/Subtype /Stamp /Rect [0 0 20 20] /F 36", (True, True)),
    "a link with the frame it has by default": ("/Subtype /Link /Rect [0 0 20 20] /F 4", (True, True)),
    "a link without frame": ("/Subtype /Link /Rect [0 0 20 20] /F 4 /Border [0 0 0]", (True, False)),
    "a link without frame, other way": ("/Subtype /Link /Rect [0 0 20 20] /F 4 /BS << /W 0 >>", (True, False)),
    "a field without a look": ("/Subtype /Widget /Rect [0 0 20 20] /F 4", (True, False)),
    "no area": ("/Subtype /Stamp /Rect [5 5 5 20] /F 4", (True, False)),
    "a rectangle of letters": ("/Subtype /Stamp /Rect [/a /b 5 20] /F 4", (True, False)),
    "flags of letters": ("/Subtype /Stamp /Rect [0 0 5 20] /F /four", (False, True)),
}


@pytest.mark.parametrize(("entries", "expected"), ANNOTATIONS.values(), ids=ANNOTATIONS.keys())
def test_what_an_annotation_shows(entries, expected):
    pdf = one_page()
    pdf.pages[0].obj.Annots = Array([parse(f"<< /Type /Annot {entries} >>")])
    (found,) = read_annotations(pdf.pages[0])
    assert (found.prints, found.draws) == expected


@pytest.mark.parametrize(
    ("look", "draws"),
    [
        (b"/Tx BMC EMC", False),
        (b"", False),
        (b"q 1 0 0 1 0 0 cm (Tj) pop Q", False),
        (b"BT /F 9 Tf (x) Tj ET", True),
        (b"0 0 10 10 re f", True),
    ],
)
def test_a_look_that_paints_nothing(look, draws):
    pdf = one_page()
    field = parse("<< /Subtype /Widget /Rect [0 0 20 20] /F 4 >>")
    field.AP = Dictionary(N=Dictionary(Yes=Stream(pdf, look)))
    field.AS = Name.Yes
    pdf.pages[0].obj.Annots = Array([field])
    assert [found.draws for found in read_annotations(pdf.pages[0])] == [draws]


def test_odd_annotations_are_passed_over():
    pdf = one_page()
    pdf.pages[0].obj.Annots = Array([7, Name.X, None, parse("<< /Subtype /Popup /Rect [0 0 9 9] >>")])
    assert read_annotations(pdf.pages[0]) == []
    pdf.pages[0].obj.Annots = Name.None_
    assert read_annotations(pdf.pages[0]) == []


# an object added to the file -> what is counted, by actions and unusable things
OBJECTS = {
    "a script": ("<< /S /JavaScript /JS (app.alert) >>", ["JavaScript"]),
    "a script inside another object": ("<< /AA << /O << /S /JavaScript /JS (a) >> >> >>", ["JavaScript"]),
    "a program to start": ("[ [ << /S /Launch /F (calc) >> ] ]", ["Launch"]),
    "a jump is harmless": ("<< /S /GoTo /D [0 /Fit] >>", []),
    "a web page is harmless": ("<< /S /URI /URI (http://example.org) >>", []),
    "a heading is no action": ("<< /Type /StructElem /S /Sound >>", []),
    "a transfer curve": ("<< /Type /ExtGState /TR << /FunctionType 2 /N 2 >> >>", ["transfer_curve"]),
    "four of them": ("<< /TR2 [ << /FunctionType 2 >> /Identity /Identity /Identity ] >>", ["transfer_curve"]),
    "none": ("<< /TR /Identity >>", []),
    "TR2 goes before TR (Table 58)": ("<< /TR << /FunctionType 2 >> /TR2 /Default >>", []),
    "a soft mask's own curve": ("<< /S /Luminosity /TR << /FunctionType 2 >> >>", []),
}


@pytest.mark.parametrize(("text", "expected"), OBJECTS.values(), ids=OBJECTS.keys())
def test_objects_anywhere_in_the_file(text, expected):
    pdf = one_page()
    pdf.Root.Something = pdf.make_indirect(parse(text))
    carried = read_carried(pdf)
    assert [*carried.actions, *carried.unusable] == expected


STREAMS = {
    "a PostScript XObject": ("<< /Subtype /PS >>", ["postscript"]),
    "a form of PostScript": ("<< /Subtype /Form /Subtype2 /PS >>", ["postscript"]),
    "data in another file": ("<< /Subtype /Image /F (picture.tif) >>", ["outside_data"]),
    "a stand-in picture": ("<< /Subtype /Image /OPI << >> >>", ["stand_in"]),
    "a page of another file": ("<< /Subtype /Form /Ref << /F (other.pdf) >> >>", ["stand_in"]),
    "another version for print": (
        "<< /Subtype /Image /Alternates [ << /DefaultForPrinting true >> ] >>",
        ["print_alternate"],
    ),
    "another version for the screen": ("<< /Subtype /Image /Alternates [ << /DefaultForPrinting false >> 7 ] >>", []),
    "an ordinary picture": ("<< /Subtype /Image >>", []),
}


@pytest.mark.parametrize(("text", "expected"), STREAMS.values(), ids=STREAMS.keys())
def test_streams_that_no_press_can_use(text, expected):
    pdf = one_page()
    stream = Stream(pdf, b"")
    for key, value in parse(text).items():
        stream[key] = value
    pdf.Root.Something = stream
    assert list(read_carried(pdf).unusable) == expected


def test_the_file_as_a_whole():
    pdf = one_page()
    assert read_carried(pdf) == type(read_carried(pdf))()
    pdf.attachments["price\nlist.csv"] = b"1,2"
    pdf.Root.Collection = Dictionary()
    pdf.Root.AcroForm = parse("<< /Fields [ << /FT /Sig /V << >> >> ] /NeedAppearances true /XFA [] >>")
    carried = read_carried(pdf)
    assert (carried.portfolio, carried.xfa, carried.unset_fields, carried.signed) == (True, True, True, True)
    assert carried.attachments == ["price list.csv"]


def test_names_that_are_no_utf8():
    pdf = one_page()
    pdf.Root.Something = pdf.make_indirect(parse("<< /A#ff#fe << /S /JavaScript >> /S /B#ff /Subtype /C#fe >>"))
    assert list(read_carried(pdf).actions) == ["JavaScript"]


# entries of the layer, of the default configuration -> on, on the screen, in print
LAYERS = {
    "on unless said": ("", "", (True, True, True)),
    "off": ("", "/OFF [{}]", (False, False, False)),
    "all off": ("", "/BaseState /OFF", (False, False, False)),
    "all off but this": ("", "/BaseState /OFF /ON [{}]", (True, True, True)),
    "not for print": (
        "/Usage << /Print << /PrintState /OFF >> >>",
        "/AS [ << /Event /Print /Category [/Print] /OCGs [{}] >> ]",
        (True, True, False),
    ),
    "for print only": (
        "/Usage << /View << /ViewState /OFF >> /Print << /PrintState /ON >> >>",
        "/AS [ << /Event /View /Category [/View] /OCGs [{}] >> << /Event /Print /Category [/Print] /OCGs [{}] >> ]",
        (True, False, True),
    ),
    "a usage that nothing lets count (8.11.4.4)": (
        "/Usage << /Print << /PrintState /OFF >> >>",
        "",
        (True, True, True),
    ),
    "nonsense": ("/Usage 7", "/AS [ 7 << /Event /Print /Category 3 /OCGs 4 >> ] /OFF /x", (True, True, True)),
}


@pytest.mark.parametrize(("entries", "config", "expected"), LAYERS.values(), ids=LAYERS.keys())
def test_layers(entries, config, expected):
    pdf = one_page()
    group = pdf.make_indirect(parse(f"<< /Type /OCG /Name (Guides) {entries} >>"))
    pdf.Root.OCProperties = pdf.make_indirect(Dictionary(OCGs=Array([group]), D=Dictionary()))
    for key, value in parse(f"<< {config.replace('{}', '(here)')} >>").items():
        pdf.Root.OCProperties.D[key] = value
    _put(pdf.Root.OCProperties.D, group)
    (layer,) = read_layers(pdf, read_carried(pdf).layers_used)
    assert (layer.on, layer.on_screen, layer.in_print) == expected
    assert (layer.name, layer.used) == ("Guides", False)
    pdf.pages[0].obj.Resources = Dictionary(Properties=Dictionary(MC0=group))
    assert read_layers(pdf, read_carried(pdf).layers_used)[0].used


def _put(item: Object, group: Object) -> None:
    """Put the layer wherever the text (here) stands."""
    if isinstance(item, Array):
        for at, value in enumerate(item):
            if isinstance(value, pikepdf.String):
                item[at] = group
            else:
                _put(value, group)
    elif isinstance(item, Dictionary):
        for _, value in item.items():
            _put(value, group)


def test_layers_of_a_membership_dictionary_are_used():
    pdf = one_page()
    group = pdf.make_indirect(parse("<< /Type /OCG /Name (Back) >>"))
    pdf.Root.OCProperties = Dictionary(OCGs=Array([group]), D=Dictionary(OFF=Array([group])))
    picture = Stream(pdf, b"", Subtype=Name.Image, OC=Dictionary(Type=Name.OCMD, OCGs=Array([group])))
    pdf.pages[0].obj.Resources = Dictionary(XObject=Dictionary(Im0=picture))
    (layer,) = read_layers(pdf, read_carried(pdf).layers_used)
    assert (layer.on, layer.used) == (False, True)
