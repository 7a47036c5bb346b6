"""Checks what the file carries besides its art: comments, forms, scripts, attachments, layers, things no press can use."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Literal

from pikepdf import Page

from hotfolder.gathered import Found, Gathered, listed
from hotfolder.pdf.boxes import SLACK, read_boxes
from hotfolder.pdf.looking.document import MEDIA, Annotation, Carried, read_annotations, read_carried
from hotfolder.pdf.looking.layers import Layer, read_layers
from hotfolder.plugin import Box, Job, Level, Part, Register, Settings, Step, hookimpl, setting

from .words import ACTIONS, KINDS, UNUSABLE

MOST_NAMED = 5


class CheckDocumentSettings(Settings):
    layers_off: Literal["note", "hold", "ignore"] = setting(
        "note",
        "What a layer with art that is switched off means: note it, hold the job until someone has looked, or nothing, "
        "where flatten_layers tells of it",
    )


class CheckDocument(Step):
    """Look for what is in the file besides the art, and hold what could print differently from what was seen.

    It removes nothing. What it notes as left out (links, comments that don't print, scripts, attachments) is left out
    when the file is sealed.
    """

    name = "check_document"
    reads = frozenset({Part.CONTENT, Part.METADATA})
    Settings = CheckDocumentSettings
    settings: CheckDocumentSettings

    def run(self, job: Job) -> None:
        found = Gathered()
        with job.read() as pdf:
            carried = read_carried(pdf)
            for item in (*_file(carried), *self._layers(read_layers(pdf, carried.layers_used))):
                found.add(item)
            count = len(pdf.pages)
            for number, page in enumerate(pdf.pages, 1):
                for item in _page(page):
                    found.add(item, number)
        found.report(job, count)
        if not found.held:
            job.tell("No comment, form, script or layer in the file changes what is printed.")

    def _layers(self, layers: Sequence[Layer]) -> Iterator[Found]:
        for layer in layers:
            if layer.used and not layer.steady:
                seen, printed = ("is" if on else "isn't" for on in (layer.on_screen, layer.in_print))
                yield Found(
                    "layer_differs",
                    f"The layer “{layer.name}” {seen} shown on the screen and {printed} printed, depending on the program.",
                    mend="Keep only layers that are to be printed, or flatten the layers, and export again.",
                )
            elif layer.used and layer.doubtful:
                yield Found(
                    "layer_differs",
                    f"The layer “{layer.name}” says of itself that it {'prints' if layer.says else 'does not print'}, but the "
                    f"file doesn't let that count. Some programs print it, others don't.",
                    mend="Keep only layers that are to be printed, or flatten the layers, and export again.",
                )
        off = [
            f"“{layer.name}”" for layer in layers if layer.used and layer.steady and not layer.on and not layer.doubtful
        ]
        if off and self.settings.layers_off != "ignore":
            yield Found(
                "layer_off",
                f"The file has layers that are switched off: {_few(off)}. They are not printed.",
                measured=f"{len(off)} off",
                mend="If they belong to the poster switch them on, else delete them, and export again.",
                level=Level(self.settings.layers_off),
            )


def _file(carried: Carried) -> Iterator[Found]:
    if carried.portfolio:
        message = "The file is a wrapper that holds other files; the poster may be one of them."
        yield Found("portfolio", message, mend="Take the poster out of it and drop it on its own.")
    if carried.xfa:
        message = "The file is a form that only certain programs can lay out; others show a page without content."
        yield Found("xfa_form", message, mend="Print the form into a new PDF, or export the artwork without the form.")
    elif carried.unset_fields:
        message = (
            "The file has form fields whose look is left to each program, so they may print differently or not at all."
        )
        yield Found("form_unset", message, mend="Turn the fields into ordinary text and export again.")
    for kind, count in carried.unusable.items():
        message, mend = UNUSABLE[kind]
        yield Found(kind, message, measured=f"{count} of them", mend=mend)
    if carried.actions:
        kinds = listed(sorted({ACTIONS.get(kind, "actions") for kind in carried.actions}))
        yield _left_out("scripts", f"The file carries {kinds}. They don't print; the finished file goes without them.")
    if carried.attachments:
        names = _few([f"“{name}”" for name in dict.fromkeys(carried.attachments)])
        yield _left_out("attachments", f"Other files are attached: {names}. The finished file goes without them.")
    if carried.signed:
        yield _left_out(
            "signature", "The file is signed digitally. The finished file is another one and has no signature."
        )
    if carried.encrypted:
        yield _left_out(
            "encrypted", "The file is locked against changes, without a password. The finished file is open."
        )


def _page(page: Page) -> Iterator[Found]:
    try:
        boxes = read_boxes(page)
        trim, bleed = boxes.trim, boxes.bleed
    except ValueError:  # check_geometry tells; here everything counts as being on the page
        trim = bleed = Box(-1e9, -1e9, 1e9, 1e9)
    aside: Counter[str] = Counter()
    for item in read_annotations(page):
        inside = item.box is not None and item.box.grown(-SLACK).common(trim if item.kind == "PrinterMark" else bleed)
        if inside and (item.kind in MEDIA or (item.prints and item.draws)):
            yield _prints(item)
        elif item.kind != "PrinterMark":
            aside[item.kind] += 1
    if aside:
        counts = [f"{count} {KINDS.get(kind, KINDS[''])[count > 1]}" for kind, count in aside.most_common()]
        message = f"On {{page}} there {'is' if sum(aside.values()) == 1 else 'are'} {_few(counts)}. "
        yield _left_out("left_out", message + "They don't print; the finished file goes without them.")


def _prints(item: Annotation) -> Found:
    kind = KINDS.get(item.kind, KINDS[""])[0]
    one = f"{'an' if kind[0] in 'aeiou' else 'a'} {kind}"
    if item.kind in MEDIA:
        message = f"{{page}} has {one} in the art. It can't be printed, and what stands in its place is uncertain."
        return Found("media", message, mend="Put a still picture in its place and export again.", box=item.box)
    if item.kind == "Widget":
        message = "{page} has a form field in the art. Whether and how it prints depends on the program."
        mend = "Turn form fields into ordinary text and export again."
        return Found("form_field", message, mend=mend, box=item.box)
    message = f"{{page}} has {one} in the art that would be printed."
    mend = "Delete it, or if it belongs to the poster make it part of the art, and export again."
    return Found("printing_annotation", message, measured=kind, mend=mend, box=item.box)


def _left_out(code: str, message: str) -> Found:
    return Found(code, message, level=Level.NOTE)


def _few(words: Sequence[str]) -> str:
    more = [f"{len(words) - MOST_NAMED} more"] if len(words) > MOST_NAMED else []
    return listed([*words[:MOST_NAMED], *more])


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckDocument)
