"""Merges the layers of the artwork into one drawing: what doesn't print goes, and no program can switch parts any more."""

from __future__ import annotations

from collections.abc import Sequence

from hotfolder.gathered import listed
from hotfolder.pdf.looking.document import read_carried
from hotfolder.pdf.looking.layers import Layer, read_layers
from hotfolder.plugin import Job, Part, Register, Settings, Step, hookimpl

from .merging import merge
from .views import pictures

MOST_NAMED = 5
_MERGE = "Keep only what is to be printed, merge the layers in the program that made the file, and export again."


class FlattenLayersSettings(Settings):
    """Nothing to set: the file itself says which of its layers print."""


class FlattenLayers(Step):
    """Take out what lies on layers that don't print, and let the rest belong to no layer.

    It decides nothing: the file's own default state and its rules for printing say what prints. What prints stays as it
    was, byte for byte but for the layers' brackets. It merges no transparency, and leaves the file alone and holds the
    job where programs could differ in what they print.
    """

    name = "flatten_layers"
    reads = frozenset({Part.CONTENT, Part.METADATA})
    changes = frozenset({Part.CONTENT, Part.METADATA})
    Settings = FlattenLayersSettings
    settings: FlattenLayersSettings

    def run(self, job: Job) -> None:
        with job.read() as pdf:
            if "/OCProperties" not in pdf.Root:
                job.tell("The file has no layers.")
                return
            layers = read_layers(pdf, read_carried(pdf).layers_used)
        unclear = [layer for layer in layers if layer.used and layer.doubtful]
        if unclear:
            _hold(job, f"whether {_named(unclear)} prints: the layer says of itself one thing, the file another")
            return
        before = job.artwork  # saved here, so that letting go of this step's edits loses no other's
        with job.edit() as pdf:
            merged = merge(pdf, layers)
            if merged.doubts:
                job.unchanged()
                job.close()
        if merged.doubts:
            _hold(job, f"what belongs to which layer: {merged.doubts[0]}")
            return
        gone = merged.gone
        job.mended("layers_merged", _message(gone), measured=f"{len(layers)} layer{'s' if len(layers) != 1 else ''}")
        if gone:
            job.show("layers_merged", *pictures(before, job.artwork))


def _hold(job: Job, what: str) -> None:
    job.hold("layers_unclear", f"The layers can't be merged safely, because it is uncertain {what}.", mend=_MERGE)


def _message(gone: Sequence[Layer]) -> str:
    if not gone:
        return "The layers of the file are one drawing now. All that was on them prints as before."
    hidden = [layer for layer in gone if layer.on_screen]
    seen = f" {_named(hidden)} would have been seen on the screen." if hidden else ""
    return (
        f"What lies on {_named(gone)} does not print and was taken out, as the file asks.{seen} "
        "The rest is one drawing now, so that no program can show it otherwise."
    )


def _named(layers: Sequence[Layer]) -> str:
    names = list(dict.fromkeys(f"“{layer.name}”" for layer in layers))
    more = [f"{len(names) - MOST_NAMED} more"] if len(names) > MOST_NAMED else []
    return f"the layer{'s' if len(names) > 1 else ''} {listed([*names[:MOST_NAMED], *more])}"


@hookimpl
def register_steps(register: Register) -> None:
    register(FlattenLayers)
