"""What is sent on after a job has passed: which of its files, to which place, as one zip or one by one."""

from __future__ import annotations

import re
from enum import StrEnum
from typing import Literal

from pydantic import BaseModel, ConfigDict


class Content(StrEnum):
    """What a parcel may hold. The artwork is always in it, and arrives last."""

    LOG = "log"
    REPORT = "report"
    PROOF = "proof"
    CHECKSUMS = "checksums"


class Parcel(BaseModel):
    """One delivery: `to` is a folder (relative to the config file's) or an address such as `sftp://press.example/in`."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    to: str
    form: Literal["zip", "files"]
    contents: frozenset[Content] = frozenset()

    @property
    def remote(self) -> bool:
        return is_remote(self.to)

    @property
    def shown(self) -> str:
        """The place for people and logs: without the name and password that an address may hold."""
        return without_secrets(self.to)


def without_secrets(text: str) -> str:
    """A text with its addresses without the names and passwords in them."""
    return re.sub(r"//[^/\s]*@", "//", text)


def is_remote(to: str) -> bool:
    """Whether this is an address rather than a folder."""
    return re.match(r"[A-Za-z][A-Za-z0-9+.-]+(://|::)", to) is not None
