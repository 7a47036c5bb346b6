"""Puts the record into words for the report: names of steps, times, places on a page, lines of the ticket."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from hotfolder.finding import Finding, Level, Outcome
from hotfolder.record import JobRecord
from hotfolder.ticket import Ticket
from hotfolder.units import show_length, show_size

_MONTHS = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
]  # not strftime's: those follow the machine's language
_JOINERS = "\u200c\u200d"  # hold letters and emoji together; harmless

KINDS = {"pdf": "PDF", "jpeg": "JPEG picture", "tiff": "TIFF picture", "png": "PNG picture"}
LEVELS = {Level.HOLD: "To mend", Level.NOTE: "Worth knowing", Level.MENDED: "Mended for you"}
LEVELS_OF_HELD = LEVELS | {Level.MENDED: "Nothing to do: hotfolder mends this itself"}  # the file went back as it came


def clean(text: str) -> str:
    """Text that shows as what it is: one line, no control signs, no turned direction, no bytes that are no text."""
    spaced = "".join(" " if sign in "\t\n\r\v\f\u2028\u2029\x85" else sign for sign in text)
    return "".join(sign if sign.isprintable() or sign in _JOINERS else "\ufffd" for sign in spaced)


def step_name(name: str) -> str:
    """`check_geometry` as people read it: Check geometry."""
    words = name.replace("_", " ").strip()
    return (words[:1].upper() + words[1:]).replace("pdf", "PDF").replace("Pdf", "PDF")


def show_time(moment: dt.datetime) -> str:
    """A time with its zone: 25 November 2026, 14:22:57 (UTC+01:00). One without a zone counts as the machine's own."""
    local = moment.astimezone()
    offset = local.strftime("%z")
    zone = "UTC" if offset == "+0000" else f"UTC{offset[:3]}:{offset[3:5]}"
    return f"{local.day} {_MONTHS[local.month - 1]} {local.year}, {local:%H:%M:%S} ({zone})"


def show_bytes(count: int) -> str:
    for unit, size in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if count >= size:
            return f"{count / size:.1f} {unit}"
    return f"{count} bytes"


def counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The outcome in one line, and what that means in the next."""

    mark: str  # "pass", "hold" or "open": for the look of the page
    headline: str
    meaning: str


def verdict(record: JobRecord) -> Verdict:
    held, notes = len(record.at_level(Level.HOLD)), len(record.at_level(Level.NOTE))
    worth = f" {counted(notes, 'thing is', 'things are')} worth knowing." if notes else ""
    if record.outcome is Outcome.PASS:
        return Verdict(
            "pass", "Passed: ready for the printer", f"The print-ready PDF stands beside this report.{worth}"
        )
    if record.outcome is None:
        return Verdict("open", "Not finished", "The work on this file has not come to an end.")
    things = counted(held, "thing", "things") + " to mend" if held else "a person must look at it"
    return Verdict(
        "hold",
        f"Held: {things}",
        f"Your file stands beside this report just as you dropped it. Mend what is listed, then drop it again.{worth}",
    )


def several(record: JobRecord) -> str:
    """That this is one of several sizes of one order, and what follows for whoever reads the report; else ""."""
    if not record.sizes:
        return ""
    said = (
        f"This is size {record.part} of {len(record.sizes)} that were ordered of this file: "
        f"{record.sizes[record.part - 1]} of {', '.join(record.sizes)}. Each has a report and an outcome of its own."
    )
    if record.outcome is Outcome.HOLD:
        said += " If only this size has to be made again, order it alone."
    return clean(said)


def ordered(findings: list[Finding]) -> list[Finding]:
    """What holds the job first, then what is worth knowing, then what was mended; otherwise as found."""
    return sorted(findings, key=lambda finding: list(Level).index(finding.level))


@dataclass(frozen=True, slots=True)
class TicketLine:
    name: str
    value: str
    origin: str


_KEYS = {
    "trim": "Finished size (trim)",
    "bleed": "Bleed",
    "safe_margin": "Safe margin",
    "pages": "Pages",
    "least_ppi": "Least picture resolution",
    "condition": "Printing condition",
    "inks": "Spot inks",
    "client": "Client",
    "title": "Title",
    "copies": "Copies",
    "due": "Due",
    "viewing_distance": "Viewing distance",
}


def ticket_lines(ticket: Ticket, origins: dict[str, str]) -> list[TicketLine]:
    """What was ordered, line by line, and who said so; what nobody ordered is left out."""
    lines = []
    for key in type(ticket).model_fields:
        value = _ticket_value(ticket, key)
        if value:
            origin = origins.get(key, "hotfolder's own default")
            lines.append(TicketLine(_KEYS.get(key, step_name(key)), clean(value), clean(origin)))
    return lines


def _ticket_value(ticket: Ticket, key: str) -> str:
    value = getattr(ticket, key)
    if key == "trim" and ticket.trim is not None:
        name = ticket.trim.name if ticket.trim.name.startswith(("A", "B", "C")) else ""
        size = show_size(ticket.trim.width, ticket.trim.height)
        return f"{name}, {size}" if name else size
    if key in ("bleed", "safe_margin", "viewing_distance") and value is not None:
        return show_length(value)
    if key == "least_ppi":
        return f"{ticket.least_ppi:g} pixels per inch"
    if key == "inks" and ticket.inks is not None:
        return ", ".join(ticket.inks) or "none"
    if isinstance(value, dt.date):
        return f"{value.day} {_MONTHS[value.month - 1]} {value.year}"
    return "" if value is None else str(value)
