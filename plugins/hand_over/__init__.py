"""Sends what has passed on to other places: a folder, or another machine, as one zip or file by file."""

from __future__ import annotations

import importlib.util
from typing import Annotated, Literal

from pydantic import Field, field_validator

from hotfolder.parcel import is_remote
from hotfolder.plugin import Content, Delivery, Job, Parcel, Register, Settings, hookimpl, setting

_MISSING = "{} is an address, and those need hotfolder's extra `remote`: install hotfolder[remote]"


class HandOverSettings(Settings):
    to: tuple[Annotated[str, Field(min_length=1, max_length=1000)], ...] = setting(
        (), 'Folders, or addresses such as "sftp://press.example/in", to which each passed job goes', max_length=20
    )
    form: Literal["zip", "files"] = setting("zip", "One zip for each job, or its files one by one")
    proof: bool = setting(True, "Whether a picture of the (first) sheet with its lines goes with it")
    report: bool = setting(True, "Whether the report goes with it")
    log: bool = setting(False, "Whether the log goes with it")
    checksums: bool = setting(True, "Whether a list goes with it that `sha256sum -c` checks")

    @field_validator("to")
    @classmethod
    def _can_be_reached(cls, places: tuple[str, ...]) -> tuple[str, ...]:
        for place in places:
            if is_remote(place) and importlib.util.find_spec("fsspec") is None:
                raise ValueError(_MISSING.format(f"'{Parcel(to=place, form='zip').shown}'"))
        return places


class HandOver(Delivery):
    """Send each passed job on, once its files stand in `pass`.

    It sends nothing that is held, changes neither the artwork nor the outcome, and never overwrites a file.
    """

    name = "hand_over"
    Settings = HandOverSettings
    settings: HandOverSettings

    def parcels(self) -> tuple[Parcel, ...]:
        wanted = frozenset(content for content in Content if getattr(self.settings, content.value))
        return tuple(Parcel(to=place, form=self.settings.form, contents=wanted) for place in self.settings.to)

    def run(self, job: Job) -> None:
        places = ", ".join(parcel.shown for parcel in self.parcels())
        if not places:
            job.note("nowhere", "The step hand_over names no place to hand the finished file over to.")
        elif not job.held:
            what = "as one zip" if self.settings.form == "zip" else "file by file"
            job.tell(f"If it passes, it is sent on to {places}, {what}.")


@hookimpl
def register_steps(register: Register) -> None:
    register(HandOver)
