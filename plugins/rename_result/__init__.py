"""Names the finished file from the order: client, title, size, date."""

from __future__ import annotations

from pathlib import PurePath

from pydantic import field_validator

from hotfolder.names import fill, parts, safe_stem
from hotfolder.plugin import Job, Part, Register, Settings, Step, hookimpl, setting
from hotfolder.ticket import KEYS

#: What a template may name besides the ticket's keys.
JOB_FIELDS = ("name", "job", "route", "date")


class RenameResultSettings(Settings):
    template: str = setting(
        "{name}",
        "How the finished file is named, without its ending. Parts: a ticket key such as {client}, or {name} (the "
        "artwork's own name), {job}, {route}, {date}",
        min_length=1,
        max_length=200,
    )

    @field_validator("template")
    @classmethod
    def _known_parts(cls, template: str) -> str:
        unknown = [part for part in parts(template) if part not in (*JOB_FIELDS, *KEYS)]
        if unknown:
            raise ValueError(f"there is no part {{{unknown[0]}}}; the parts are {', '.join((*JOB_FIELDS, *KEYS))}")
        return template


class RenameResult(Step):
    """Name the finished file by a template over ticket and job. Never overwrites: a name that is taken gets a number.

    It does not touch the artwork's bytes, nor the name of a file that is held.
    """

    name = "rename_result"
    changes = frozenset({Part.NAME})
    Settings = RenameResultSettings
    settings: RenameResultSettings

    def run(self, job: Job) -> None:
        stem = PurePath(job.name).stem
        ticket = job.ticket.model_dump(mode="json")
        fields = {key: "" if ticket[key] is None else str(ticket[key]) for key in KEYS}
        fields |= {"condition": job.condition.name, "name": stem, "job": job.id, "route": "", "date": ""} | job.fields
        job.result_stem = safe_stem(fill(self.settings.template, fields), fallback=safe_stem(stem))
        job.tell(f"The finished file is named {job.result_stem}.pdf.")


@hookimpl
def register_steps(register: Register) -> None:
    register(RenameResult)
