"""Reads the config's printing conditions: the table [conditions.NAME] with every rule of a conversion."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationInfo, field_validator

from hotfolder.colour.cmm import check_source
from hotfolder.colour.condition import (
    NO_SPOTS,
    BlackAlone,
    Blending,
    CmykRule,
    Condition,
    Intent,
    OverLimit,
    PureInks,
    Spot,
    spelling,
)
from hotfolder.colour.profile import check_output_profile, read_profile
from hotfolder.config.checker import Checker
from hotfolder.config.lines import Place
from hotfolder.config.studio import Number
from hotfolder.config.tables import Table
from hotfolder.config.words import ended
from hotfolder.names import printable
from hotfolder.units import MM, Length

_LONGEST_INK = 127  # bytes of a name (ISO 32000-1 annex C)


class ConditionTable(Table):
    """One printing condition: [conditions.NAME]."""

    title: str = Field(default="", max_length=200, description="What reports call it; empty: its name")
    profile: str = Field(description="The printer's ICC output profile, a file")
    ink_limit: Number = Field(gt=0, le=400, description="Largest sum of all inks, percent")
    identifier: str = Field(
        default="Custom",
        min_length=1,
        max_length=200,
        description="Name of the condition in the characterisation registry; Custom where it has none",
    )
    intent: Intent = Field(default="relative", description="Rendering intent of conversions")
    black_point_compensation: bool = Field(default=True, strict=True, description="Scale the dark end in conversions")
    picture_intent: Intent | None = Field(
        default=None, description="Rendering intent of pictures; left out: the same as of text and shapes"
    )
    picture_black_point_compensation: Annotated[bool, Field(strict=True)] | None = Field(
        default=None, description="Scale the dark end of pictures; left out: the same as of text and shapes"
    )
    follow_file_intents: bool = Field(
        default=False,
        strict=True,
        description="Where the artwork states a rendering intent, that one is used; false: the condition's always",
    )
    black_alone: BlackAlone = Field(
        default="neutrals",
        description="Which screen colours of text and shapes print in black ink alone: neutrals (all grays), black, nothing",
    )
    neutral_tolerance: Number = Field(
        default=0.0, ge=0, le=10, description="Red, green and blue that differ by so little still are gray, percent"
    )
    gray_to_black: bool = Field(
        default=True, strict=True, description="Gray with a profile, pictures too, prints in black ink alone"
    )
    rich_black: list[Number] = Field(
        default_factory=list,
        description="Inks of large black areas: cyan, magenta, yellow and black in percent; empty: black alone",
    )
    rich_black_from: Length = Field(
        default=50 * MM, ge=1 * MM, description="Areas at least so wide and so high get the rich black"
    )
    cmyk: CmykRule = Field(
        default="keep", description="CMYK made for another press: keep its numbers, or convert them to this one"
    )
    cmyk_source: str = Field(
        default="",
        description="ICC profile of the press for which CMYK was made that states none; empty: kept",
    )
    cmyk_pure: PureInks = Field(
        default="black", description="What stays one ink in that conversion: black, or each of the four inks"
    )
    spot_inks: Literal["keep", "cmyk"] = Field(
        default="keep", description="Spot inks that are not named below: kept, or mixed from CMYK"
    )
    spots: dict[str, Any] = Field(default_factory=dict, description="What becomes of single spot inks, by name")
    over_limit: OverLimit = Field(
        default="report",
        description="CMYK with more ink than ink_limit: only reported, or separated again by the profile",
    )
    blending: Blending = Field(
        default="hold",
        description="Transparency mixed in RGB that would look different mixed in inks: hold, keep in RGB, or convert",
    )
    blending_limit: Number = Field(
        default=4.0, gt=0, le=100, description="From which colour difference in one place on it counts, CIEDE2000"
    )

    @field_validator("rich_black")
    @classmethod
    def _check_rich_black(cls, recipe: list[float], info: ValidationInfo) -> list[float]:
        if recipe and len(recipe) != 4:
            raise ValueError(f"it must be four numbers, of cyan, magenta, yellow and black, not {len(recipe)}")
        if any(not 0 <= amount <= 100 for amount in recipe):
            raise ValueError("each ink must be from 0 to 100 percent")
        if recipe and recipe[3] < 50:
            raise ValueError("a black needs at least 50 percent of black ink")
        limit = info.data.get("ink_limit")
        if isinstance(limit, int | float) and sum(recipe) > limit:
            raise ValueError(f"its inks add up to {sum(recipe):g} percent, and the ink limit is {limit:g}")
        return recipe

    @field_validator("spots")
    @classmethod
    def _check_spots(cls, spots: dict[str, Any]) -> dict[str, Any]:
        read_spots(spots)
        return spots


def read_spots(spots: dict[str, Any]) -> tuple[tuple[str, Spot], ...]:
    """The table [conditions.NAME.spots] as rules; ValueError with a sentence where one makes no sense."""
    found: dict[str, tuple[str, Spot]] = {}
    for ink, fate in spots.items():
        shown = printable(ink)
        if not ink.strip() or ink in NO_SPOTS:
            raise ValueError(f"'{shown}' is no spot ink")
        if spelling(ink) in found:
            raise ValueError(f"'{shown}' is the same ink as '{printable(found[spelling(ink)][0])}'")
        if fate in ("keep", "cmyk"):
            found[spelling(ink)] = ink, Spot(fate)
            continue
        name = fate.get("name") if isinstance(fate, dict) and set(fate) == {"name"} else None
        if not isinstance(name, str) or not name.strip() or "\0" in name or len(name.encode()) > _LONGEST_INK:
            raise ValueError(f'\'{shown}\' must be "keep", "cmyk" or {{ name = "its new name" }}')
        if name in ("All", "None"):
            raise ValueError(f"'{shown}' can't be called {name}: that name has a meaning of its own in a PDF")
        found[spelling(ink)] = ink, Spot("rename", name)
    return tuple(found.values())


def read_condition(
    checker: Checker, name: str, table: dict[str, Any], place: Place, who: tuple[str, ...]
) -> Condition | None:
    """The condition a table describes; None after saying what is wrong with it."""
    checked = checker.check(ConditionTable, table, place, who)
    text = table.get("profile")
    profile = checker.path(text, (*place, "profile"), who, is_folder=False) if isinstance(text, str) else None
    if profile is not None:
        try:
            check_output_profile(profile)
        except ValueError as error:
            checker.say((*place, "profile"), who, ended(f"'profile' can't be used: {error}"))
    source = _cmyk_source(checker, table.get("cmyk_source"), place, who)
    if source is not None and table.get("cmyk", "keep") == "keep":
        told = "'cmyk_source' has no use while 'cmyk' is 'keep'; write cmyk = \"convert\", or leave it out."
        checker.say((*place, "cmyk_source"), who, told)
    if checked is None or profile is None:
        return None
    return Condition(
        name=name,
        title=checked.title or name,
        profile=profile,
        ink_limit=checked.ink_limit,
        identifier=checked.identifier,
        intent=checked.intent,
        black_point_compensation=checked.black_point_compensation,
        picture_intent=checked.picture_intent,
        picture_black_point_compensation=checked.picture_black_point_compensation,
        follow_file_intents=checked.follow_file_intents,
        black_alone=checked.black_alone,
        neutral_tolerance=checked.neutral_tolerance,
        gray_to_black=checked.gray_to_black,
        rich_black=tuple(checked.rich_black),
        rich_black_from=checked.rich_black_from,
        cmyk=checked.cmyk,
        cmyk_source=source,
        cmyk_pure=checked.cmyk_pure,
        spot_inks=checked.spot_inks,
        spots=read_spots(checked.spots),
        over_limit=checked.over_limit,
        blending=checked.blending,
        blending_limit=checked.blending_limit,
    )


def _cmyk_source(checker: Checker, text: Any, place: Place, who: tuple[str, ...]) -> Path | None:
    """The profile of the press that CMYK is assumed to be made for; None where none is named or usable."""
    place = (*place, "cmyk_source")
    path = checker.path(text, place, who, is_folder=False) if isinstance(text, str) and text else None
    try:
        if path is not None and read_profile(path).space != "CMYK":
            checker.say(place, who, f"'cmyk_source' can't be used: {path.name} is no profile of CMYK colours.")
            return None
        if path is not None:
            check_source(read_profile(path))
    except ValueError as error:
        checker.say(place, who, ended(f"'cmyk_source' can't be used: {error}"))
        return None
    return path
