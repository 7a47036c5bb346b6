"""The studio that works with no config at all: one poster route on the default printing condition."""

from __future__ import annotations

from pathlib import Path

from hotfolder.colour.condition import DEFAULT, SHIPPED
from hotfolder.config.studio import Route, Studio
from hotfolder.errors import ConfigError
from hotfolder.loading import Plugins, load_plugins
from hotfolder.step import Step

#: The chain of a route whose config names none, and of the built-in route.
POSTER_CHAIN = (
    "open_pdf",
    "open_picture",
    "check_document",
    "check_construction",
    "check_geometry",
    "check_bleed",
    "check_frames",
    "check_margin",
    "check_fonts",
    "check_pictures",
    "check_sharpness",
    "convert_colour",
    "check_lines",
    "check_codes",
    "add_marks",
    "seal_pdf",
    "check_ink",
    "verify_result",
    "rename_result",
)
ROUTE = "poster"


def builtin_studio() -> Studio:
    """One route "poster" without folders, for files given by hand. ConfigError where a shipped plugin is broken."""
    folder, plugins = Path.cwd(), load_plugins()
    return Studio(
        file=None,
        folder=folder,
        spool=folder / "spool",
        plugins=plugins,
        conditions=dict(SHIPPED),
        condition=DEFAULT,
        routes=(Route(name=ROUTE, watch=None, passed=None, hold=None, chain=poster_chain(plugins)),),
    )


def poster_chain(plugins: Plugins) -> tuple[Step, ...]:
    """The built-in chain, every setting at its default."""
    missing = [name for name in POSTER_CHAIN if name not in plugins.steps]
    if missing:
        raise ConfigError([f"The step {name} of the built-in chain is not installed." for name in missing])
    return tuple(plugins.steps[name]() for name in POSTER_CHAIN)
