"""Printing conditions: for which paper and press a poster is prepared, and how much ink that paper takes."""

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

Intent = Literal["perceptual", "relative", "saturation", "absolute"]
BlackAlone = Literal["neutrals", "black", "nothing"]
CmykRule = Literal["keep", "convert"]
PureInks = Literal["black", "inks"]
SpotFate = Literal["keep", "cmyk", "rename"]
OverLimit = Literal["report", "separate"]
Blending = Literal["hold", "keep", "convert"]

PROCESS_INKS = ("Cyan", "Magenta", "Yellow", "Black")
NO_SPOTS = frozenset({*PROCESS_INKS, "All", "None"})  # names that are no spot inks (ISO 32000-1 8.6.6.4 and 8.6.6.5)

PROFILES = Path(__file__).parents[1] / "data" / "profiles"


@dataclass(frozen=True, slots=True)
class Spot:
    """What becomes of one spot ink. `name`: the new one, where it is renamed."""

    fate: SpotFate = "keep"
    name: str = ""


@dataclass(frozen=True, slots=True)
class Condition:
    """One printing condition (ISO 12647, ISO 15930): the output profile and what goes with it.

    `ink_limit` is the largest sum of all inks in percent; `identifier` and `registry` are what the
    finished PDF names (OutputConditionIdentifier and RegistryName, ISO 32000-1 table 365). With the intents
    `perceptual` and `saturation` black is always moved, whatever `black_point_compensation` says.

    The rules behind it, each as the config's table [conditions.NAME] explains it. None for pictures: as for the rest.
    """

    name: str
    title: str
    profile: Path
    ink_limit: float
    identifier: str
    registry: str = "http://www.color.org"
    intent: Intent = "relative"
    black_point_compensation: bool = True
    picture_intent: Intent | None = None
    picture_black_point_compensation: bool | None = None
    follow_file_intents: bool = False
    black_alone: BlackAlone = "neutrals"
    neutral_tolerance: float = 0.0  # percent of a channel's range
    gray_to_black: bool = True
    rich_black: tuple[float, ...] = ()  # percent of cyan, magenta, yellow, black; empty: none
    rich_black_from: float = 50 * 72 / 25.4
    cmyk: CmykRule = "keep"
    cmyk_source: Path | None = None
    cmyk_pure: PureInks = "black"
    spot_inks: SpotFate = "keep"  # of every spot ink that `spots` does not name; never "rename"
    spots: tuple[tuple[str, Spot], ...] = ()
    over_limit: OverLimit = "report"
    blending: Blending = "hold"
    blending_limit: float = 4.0  # CIEDE2000 in one place

    def for_use(self, picture: bool, stated: str = "") -> "Condition":
        """The condition whose `intent` and `black_point_compensation` hold for pictures, or for all else, where the
        file states this intent ("" for none)."""
        intent, moved = self.intent, self.black_point_compensation
        if picture:
            intent = self.picture_intent or intent
            other = self.picture_black_point_compensation
            moved = moved if other is None else other
        if stated in ("perceptual", "relative", "saturation", "absolute") and self.follow_file_intents:
            intent = stated  # type: ignore[assignment]
        return replace(
            self, intent=intent, black_point_compensation=moved, picture_intent=None,
            picture_black_point_compensation=None, follow_file_intents=False,
        )  # fmt: skip

    def plain(self) -> "Condition":
        """The condition by which a file is read whose inks are the press's already: nothing is done to inks again."""
        return replace(
            self, rich_black=(), cmyk="keep", cmyk_source=None, spot_inks="keep", spots=(), over_limit="report"
        )

    def spot(self, ink: str) -> Spot:
        """What becomes of an ink; its name may be spelt a little differently than in the condition."""
        if ink in NO_SPOTS:
            return Spot()
        wanted = spelling(ink)
        return next((spot for name, spot in self.spots if spelling(name) == wanted), Spot(self.spot_inks))


def spelling(ink: str) -> str:
    """An ink's name without what people spell differently: capitals, spaces, hyphens, underscores."""
    return re.sub(r"[\s_-]+", "", ink).casefold()


# Stand-ins, made from published characterisation data; the printer's own profile always wins.
SHIPPED: dict[str, Condition] = {
    condition.name: condition
    for condition in (
        Condition(
            "coated_europe", "Coated paper, Europe (FOGRA39)", PROFILES / "fogra39l_coated_300.icc", 300, "FOGRA39"
        ),
        Condition(
            "coated_us",
            "Coated paper, United States (CGATS TR 006)",
            PROFILES / "tr006_coated_320.icc",
            320,
            "CGATS TR 006",
        ),
        Condition("uncoated", "Uncoated paper (FOGRA47)", PROFILES / "fogra47l_uncoated_300.icc", 300, "FOGRA47"),
    )
}

DEFAULT = "coated_europe"
