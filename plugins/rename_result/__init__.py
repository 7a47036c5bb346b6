"""Names the finished file from the order: client, title, size, date."""

from __future__ import annotations

from pydantic import field_validator

from hotfolder.names import check_parts, fill, safe_stem
from hotfolder.plugin import WORDS, Job, Part, Register, Settings, Step, hookimpl, setting


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
        return check_parts(template, WORDS)


class RenameResult(Step):
    """Name the finished file by a template over ticket and job. Never overwrites: a name that is taken gets a number.

    It does not touch the artwork's bytes, nor the name of a file that is held.
    """

    name = "rename_result"
    changes = frozenset({Part.NAME})
    Settings = RenameResultSettings
    settings: RenameResultSettings

    def run(self, job: Job) -> None:
        words = job.words()
        job.result_stem = safe_stem(fill(self.settings.template, words), fallback=safe_stem(words["name"]))
        job.tell(f"The finished file is named {job.result_stem}.pdf.")


@hookimpl
def register_steps(register: Register) -> None:
    register(RenameResult)
