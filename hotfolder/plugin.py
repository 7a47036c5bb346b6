"""The one module a plugin imports: everything a step needs to look at a job and say what it found."""

from hotfolder.finding import Box, Finding, Hold, Level, Outcome
from hotfolder.hookspecs import hookimpl
from hotfolder.job import WORDS, Job
from hotfolder.moved import Moved
from hotfolder.parcel import Content, Parcel
from hotfolder.record import JobRecord, StepRecord
from hotfolder.step import Delivery, Opener, Part, Register, Settings, Step, setting
from hotfolder.ticket import Ticket
from hotfolder.units import INCH, MM, Length, SheetSize, Size, parse_length, parse_size, show_length, show_size

__all__ = [
    "INCH",
    "MM",
    "WORDS",
    "Box",
    "Content",
    "Delivery",
    "Finding",
    "Hold",
    "Job",
    "JobRecord",
    "Length",
    "Level",
    "Moved",
    "Opener",
    "Outcome",
    "Parcel",
    "Part",
    "Register",
    "Settings",
    "SheetSize",
    "Size",
    "Step",
    "StepRecord",
    "Ticket",
    "hookimpl",
    "parse_length",
    "parse_size",
    "setting",
    "show_length",
    "show_size",
]
