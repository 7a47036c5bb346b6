"""The words for what a file may carry besides its art."""

from __future__ import annotations

#: Annotation type (ISO 32000-1 Table 169) -> one of them, several; "" for any other.
KINDS: dict[str, tuple[str, str]] = {
    "": ("comment", "comments"),
    "Link": ("link", "links"),
    "Text": ("note", "notes"),
    "FreeText": ("typed comment", "typed comments"),
    "Stamp": ("stamp", "stamps"),
    "Ink": ("drawn comment", "drawn comments"),
    "Highlight": ("text marking", "text markings"),
    "Underline": ("text marking", "text markings"),
    "StrikeOut": ("text marking", "text markings"),
    "Widget": ("form field", "form fields"),
    "FileAttachment": ("attached file", "attached files"),
    "Watermark": ("watermark", "watermarks"),
    "PrinterMark": ("printer's mark", "printer's marks"),
    "TrapNet": ("trapping layer", "trapping layers"),
    "Movie": ("video", "videos"),
    "Screen": ("video", "videos"),
    "RichMedia": ("video or animation", "videos or animations"),
    "Sound": ("sound", "sounds"),
    "3D": ("3D model", "3D models"),
}

#: Action type (Table 198) -> words; others are "actions".
ACTIONS: dict[str, str] = {
    "JavaScript": "scripts",
    "Launch": "calls of other programs",
    "SubmitForm": "form actions",
    "ImportData": "form actions",
    "ResetForm": "form actions",
}

#: What ISO 15930-7 does not allow in a file for print -> the sentence, what to do.
UNUSABLE: dict[str, tuple[str, str]] = {
    "outside_data": (
        "Part of the art lies in another file that did not come along.",
        "Embed all linked files and export again.",
    ),
    "stand_in": (
        "The file has a stand-in for a picture that another program was to replace; the press would print the stand-in.",
        "Link the final picture in the layout, embed it, and export again.",
    ),
    "postscript": (
        "The file has PostScript code in it that many programs leave out, so parts of the art may be missing.",
        "Replace the element that holds it (often an old placed EPS), and export again.",
    ),
    "print_alternate": (
        "A picture has a second version that is used for printing instead of the one that is seen.",
        "Keep only one version of the picture and export again.",
    ),
    "transfer_curve": (
        "The file has a transfer curve in it: a hidden instruction that makes all tones lighter or darker on some devices.",
        "Export again without transfer functions, and put the tones right in the picture itself.",
    ),
}
