"""Takes out of a PDF what a press has no use for: scripts, links, forms, thumbnails, attachments, switches for layers.

Only what leaves the print as it was is taken; what prints and may not stay is handed back as an obstacle.
"""

from __future__ import annotations

from collections.abc import Iterator

import pikepdf
from pikepdf import Array, Dictionary, Stream, String

from hotfolder.finding import Box
from hotfolder.pdf.boxes import PageBoxes
from hotfolder.pdf.finishing.obstacles import Obstacles
from hotfolder.pdf.looking.layers import read_layers
from hotfolder.pdf.objects import entry, inherited, name, number, numbers, whole

#: Of the catalog (ISO 32000-1 table 28) only what has to do with what is printed stays.
_CATALOG = frozenset({"/Type", "/Pages", "/OCProperties", "/PageLabels", "/Lang", "/Metadata", "/OutputIntents"})
#: Of a page (table 30): boxes, drawing, group; the rest is for screens, editors and readers.
_PAGE = frozenset({"/Type", "/Parent", "/Resources", "/Contents", "/Group", "/Rotate", "/UserUnit", "/Annots"})
_PAGE |= {"/MediaBox", "/CropBox", "/BleedBox", "/TrimBox", "/SeparationInfo", "/ID"}
_HIDDEN, _PRINT = 2, 4  # bits 2 and 3 of an annotation's flags (table 165)
_ALWAYS_PRINT = ("PrinterMark", "TrapNet")
_MOST_LAYERS = 10_000


def strip_document(pdf: pikepdf.Pdf, obstacles: Obstacles) -> set[str]:
    """Clean catalog, page tree and layers in place. Returns the kinds of things taken out, in words."""
    root, removed = pdf.Root, set[str]()
    words = {
        "/OpenAction": "actions",
        "/AA": "actions",
        "/Names": "scripts and attachments",
        "/AcroForm": "forms",
        "/Outlines": "bookmarks",
        "/StructTreeRoot": "reading order for screens",
        "/PieceInfo": "another program's working data",
    }
    for key in [key for key in root.keys() if key not in _CATALOG]:  # noqa: SIM118
        removed |= {words[key]} if key in words and _holds_something(root[key]) else set()
        del root[key]
    _clean_layers(pdf, obstacles)
    return removed


def strip_page(page: pikepdf.Page, number: int, boxes: PageBoxes, obstacles: Obstacles) -> set[str]:
    """Clean one page in place."""
    node, removed = page.obj, set[str]()
    for key in ("/Resources", "/Rotate"):  # what the page tree gave, the page now says itself
        if key not in node and (given := inherited(node, key)) is not None:
            node[key] = given
    words = {"/AA": "actions", "/Thumb": "thumbnails", "/PieceInfo": "another program's working data"}
    for key in [key for key in node.keys() if key not in _PAGE]:  # noqa: SIM118
        removed |= {words[key]} if key in words else set()
        del node[key]
    annotations = node.get("/Annots")
    if annotations is not None:
        for annotation in annotations if isinstance(annotations, Array) else []:
            _judge(annotation, number, boxes, obstacles)
            removed.add("links, notes and form fields")
        del node["/Annots"]
    return removed


def strip_page_tree(pdf: pikepdf.Pdf) -> None:
    """Entries of the page tree that pages could inherit: each page has its own by now."""
    for node in _tree(pdf.Root.get("/Pages"), set(), 0):
        for key in ("/Resources", "/MediaBox", "/CropBox", "/Rotate", "/AA", "/Annots", "/TrimBox", "/BleedBox"):
            if key in node:
                del node[key]


def _tree(node: object, seen: set[tuple[int, int]], depth: int) -> Iterator[Dictionary]:
    if not isinstance(node, Dictionary) or node.objgen in seen or depth > 50 or "/Kids" not in node:
        return
    seen.add(node.objgen)
    yield node
    kids = node.Kids
    for kid in kids if isinstance(kids, Array) else []:
        yield from _tree(kid, seen, depth + 1)


def _holds_something(value: object) -> bool:
    return len(value) > 0 if isinstance(value, (Dictionary, Array)) else value is not None


# ---- annotations


def _judge(annotation: object, page: int, boxes: PageBoxes, obstacles: Obstacles) -> None:
    """An annotation that prints on the poster can't be taken away unseen (rule of ISO 15930-7: none inside the bleed)."""
    if not isinstance(annotation, Dictionary) or not prints(annotation):
        return
    try:
        x0, y0, x1, y1 = numbers(annotation.get("/Rect"), 4)
    except ValueError:
        return  # without a place it is drawn nowhere
    box = Box(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))
    edge = boxes.trim if name(annotation.get("/Subtype")) == "PrinterMark" else boxes.bleed
    if box.common(edge) is not None:
        obstacles.add("printing_annotation", name(annotation.get("/Subtype")) or "unknown", page, box)


def prints(annotation: Dictionary) -> bool:
    """Whether an annotation comes out of a printer (12.5.3; a link by its frame)."""
    kind, flags = name(annotation.get("/Subtype")), _flags(annotation)
    if kind == "Popup" or flags & _HIDDEN or not (flags & _PRINT or kind in _ALWAYS_PRINT):
        return False
    if kind == "Link":
        return _border(annotation) > 0
    appearance = entry(annotation.get("/AP"), "/N")
    if kind == "Widget":
        return isinstance(appearance, (Stream, Dictionary))
    return True


def _flags(annotation: Dictionary) -> int:
    try:
        return whole(annotation.get("/F"), 0)
    except (ValueError, OverflowError):
        return 0


def _border(annotation: Dictionary) -> float:
    """Width of a link's frame: 1 where nothing is said (12.5.2, 12.5.4)."""
    style = entry(annotation.get("/BS"), "/W")
    border = annotation.get("/Border")
    if style is None and isinstance(border, Array):
        style = border[2] if len(border) > 2 else 0
    return number(style, 1.0)


# ---- layers


def _clean_layers(pdf: pikepdf.Pdf, obstacles: Obstacles) -> None:
    """Layers keep the state their default configuration gives (8.11.4); switches by event go where print stays."""
    root, switched = pdf.Root, read_layers(pdf)
    layers = root.get("/OCProperties")
    if not isinstance(layers, Dictionary):
        if layers is not None:
            del root["/OCProperties"]
        return
    if "/Configs" in layers:
        del layers["/Configs"]
    default = layers.get("/D")
    if not isinstance(default, Dictionary):
        layers["/D"] = default = Dictionary()
    if "/AS" in default:
        if any(layer.in_print != layer.on for layer in switched):
            obstacles.add("layer_print_switch", "", None, None)
        del default["/AS"]
    if not isinstance(default.get("/Name"), String) or not str(default.Name):
        default["/Name"] = String("Layers")
    if "/Order" in default:
        _complete_order(default, layers.get("/OCGs"))


def _complete_order(default: Dictionary, groups: object) -> None:
    """Every layer must stand in the list that people see (ISO 15930-7, from memory)."""
    order = default["/Order"]
    if not isinstance(order, Array) or not isinstance(groups, Array):
        del default["/Order"]
        return
    listed = set(_nested_ids(order, 0))
    order.extend([group for group in list(groups)[:_MOST_LAYERS] if group.objgen not in listed])


def _nested_ids(order: Array, depth: int) -> Iterator[tuple[int, int]]:
    for item in order:
        if isinstance(item, Array) and depth < 20:
            yield from _nested_ids(item, depth + 1)
        elif isinstance(item, Dictionary):
            yield item.objgen
