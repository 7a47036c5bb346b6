"""What a PDF carries besides its art: scripts, forms, comments, attachments, layers, and things no press can use.

It only looks. Objects that nothing refers to are seen too: a file that was saved anew has none.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from pikepdf import Array, Dictionary, Object, Page, Pdf, Stream

from hotfolder.finding import Box
from hotfolder.pdf.looking.layers import layer_ids, plain_text
from hotfolder.pdf.objects import dictionary, entry, identity, name, numbers, stream_bytes, whole
from hotfolder.pdf.walk.content import Scanner

MOST_ANNOTATIONS = 10_000  # of one page; beyond it they are not looked at one by one
MOST_NESTED = 100_000  # direct objects inside one object

#: Actions (ISO 32000-1 Table 198) that do something; going to a place or a web page is none of them.
_ACTIONS = frozenset(("JavaScript", "Launch", "SubmitForm", "ImportData", "ResetForm", "Hide", "SetOCGState", "Movie"))
_ACTIONS |= {"Sound", "Rendition", "GoTo3DView", "RichMediaExecute", "Trans"}
_ALWAYS_PRINT = ("PrinterMark", "TrapNet")  # 14.11.3, 14.11.6: made for the press
MEDIA = frozenset(("Movie", "Screen", "Sound", "RichMedia", "3D"))
_PAINTS = Scanner(
    (b"S", b"s", b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*", b"sh", b"Do", b"BI", b"Tj", b"TJ", b"'", b'"')
)


@dataclass
class Carried:
    """What was found in the whole file; texts as the file has them, cut to 80 characters."""

    encrypted: bool = False
    portfolio: bool = False  # a wrapper around other files (12.3.5)
    xfa: bool = False  # a form that a program of its own lays out (12.7.8)
    unset_fields: bool = False  # form fields whose look the viewer has to make up (NeedAppearances)
    signed: bool = False
    actions: Counter[str] = field(default_factory=Counter)  # by kind: JavaScript, Launch ...
    attachments: list[str] = field(default_factory=list)
    unusable: Counter[str] = field(default_factory=Counter)  # by kind, see `_unusable`
    layers_used: set[tuple[int, int]] = field(default_factory=set)  # optional content groups that art belongs to


@dataclass(frozen=True)
class Annotation:
    """Something laid upon the page (12.5): `prints` by its flags, `draws` whether it has anything to show."""

    kind: str  # Link, Text, Widget ... as Table 169 has it
    box: Box | None
    prints: bool
    draws: bool


def read_carried(pdf: Pdf) -> Carried:
    """Everything a whole file carries; never raises for what is in it."""
    carried = Carried(encrypted=pdf.is_encrypted)
    root = pdf.Root
    form = dictionary(entry(root, "/AcroForm"))
    carried.portfolio = isinstance(entry(root, "/Collection"), Dictionary)
    carried.xfa = "/XFA" in form
    carried.unset_fields = entry(form, "/NeedAppearances") is True and _has_items(entry(form, "/Fields"))
    for item in every_dictionary(pdf):
        _look_at(item, carried)
    return carried


def read_annotations(page: Page) -> list[Annotation]:
    """Everything laid upon a page, Popup windows aside."""
    found = entry(page.obj, "/Annots")
    if not isinstance(found, Array):
        return []
    items = [item for _, item in zip(range(MOST_ANNOTATIONS), found, strict=False) if isinstance(item, Dictionary)]
    return [_annotation(item) for item in items if name(entry(item, "/Subtype")) != "Popup"]


# ---- the whole file, object by object


def every_dictionary(pdf: Pdf) -> Iterator[Dictionary | Stream]:
    """Every dictionary and stream dictionary of the file, the ones inside others included, each once."""
    for top in pdf.objects:
        stack: list[Object] = [top]
        for _ in range(MOST_NESTED):
            if not stack:
                break
            item = stack.pop()
            if isinstance(item, (Dictionary, Stream)):
                yield item
                children = [child for _, child in item.items()]
            else:
                children = list(item) if isinstance(item, Array) else []
            stack += [child for child in children if isinstance(child, (Dictionary, Array)) and identity(child) is None]


def _look_at(item: Dictionary | Stream, carried: Carried) -> None:
    if isinstance(item, Dictionary):
        kind = name(entry(item, "/S"))
        if kind in _ACTIONS and name(entry(item, "/Type")) != "StructElem":
            carried.actions[kind] += 1
        if isinstance(entry(item, "/EF"), Dictionary):
            carried.attachments.append(plain_text(entry(item, "/UF", entry(item, "/F"))) or "without a name")
        if name(entry(item, "/FT")) == "Sig" and "/V" in item:
            carried.signed = True
        for group in _values(entry(item, "/Properties")):
            carried.layers_used |= layer_ids(group)
    if "/OC" in item:
        carried.layers_used |= layer_ids(entry(item, "/OC"))
    for what in _unusable(item):
        carried.unusable[what] += 1


def _unusable(item: Dictionary | Stream) -> Iterator[str]:
    """What ISO 15930-7 forbids because it may print differently from what is seen (rules from memory of the text)."""
    if not isinstance(item, Stream):
        if name(entry(item, "/S")) not in ("Alpha", "Luminosity") and _curves(item):
            yield "transfer_curve"
        return
    kind = name(entry(item, "/Subtype"))
    if kind == "PS" or (kind == "Form" and name(entry(item, "/Subtype2")) == "PS"):
        yield "postscript"
    if "/F" in item:  # Table 5: the data lies in another file
        yield "outside_data"
    if kind in ("Form", "Image") and "/OPI" in item:
        yield "stand_in"
    if kind == "Form" and isinstance(entry(item, "/Ref"), Dictionary):
        yield "stand_in"
    others = entry(item, "/Alternates")
    if kind == "Image" and isinstance(others, Array) and any(_for_print(other) for other in others):
        yield "print_alternate"


def _for_print(alternate: object) -> bool:
    return entry(alternate, "/DefaultForPrinting") is True


def _curves(item: Dictionary) -> bool:
    """Whether graphics state parameters hold a transfer function that does anything (Table 58: TR2 goes before TR)."""
    key = "/TR2" if "/TR2" in item else "/TR"
    curves = entry(item, key)
    every = list(curves) if isinstance(curves, Array) else [curves]
    return any(isinstance(curve, (Dictionary, Stream)) for curve in every)


# ---- annotations


def _annotation(item: Dictionary) -> Annotation:
    flags = whole(entry(item, "/F"), 0)
    kind = name(entry(item, "/Subtype"))
    box = _rectangle(entry(item, "/Rect"))
    # Table 165: bit 2 Hidden, bit 3 Print. Without Print it is for the screen alone.
    prints = (bool(flags & 4) or kind in _ALWAYS_PRINT) and not flags & 2
    return Annotation(kind, box, prints, box is not None and _draws(item, kind))


def _draws(item: Dictionary, kind: str) -> bool:
    look = entry(entry(item, "/AP"), "/N")
    if isinstance(look, Dictionary):  # one appearance for each state, such as a ticked and an empty check box
        look = entry(look, "/" + (name(entry(item, "/AS")) or "Off"))
    if isinstance(look, Stream):
        try:
            return any(_PAINTS.scan(stream_bytes(look)))
        except ValueError:
            return True
    if kind == "Link":
        return _border(item) > 0
    return kind != "Widget"  # viewers make up a look for the others


def _border(item: Dictionary) -> float:
    """A link's frame (12.5.4): BS goes before Border; without either it is one point wide."""
    style = entry(item, "/BS")
    try:
        if isinstance(style, Dictionary):
            return float(whole(entry(style, "/W"), 1))
        border = entry(item, "/Border")
        return 1.0 if border is None else numbers(Array(list(border)[:3]) if isinstance(border, Array) else border)[2]
    except (ValueError, IndexError):
        return 1.0


def _rectangle(value: object) -> Box | None:
    try:
        x1, y1, x2, y2 = numbers(value, 4)
    except ValueError:
        return None
    box = Box(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2))
    return box if box.width > 0 and box.height > 0 else None


# ---- small change


def _values(value: object) -> list[object]:
    return [item for _, item in value.items()] if isinstance(value, Dictionary) else []


def _has_items(value: object) -> bool:
    return isinstance(value, Array) and len(value) > 0
