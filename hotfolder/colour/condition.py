"""Printing conditions: for which paper and press a poster is prepared, and how much ink that paper takes."""

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Intent = Literal["perceptual", "relative", "saturation", "absolute"]

PROFILES = Path(__file__).parents[1] / "data" / "profiles"


@dataclass(frozen=True, slots=True)
class Condition:
    """One printing condition (ISO 12647, ISO 15930): the output profile and what goes with it.

    `ink_limit` is the largest sum of all inks in percent; `identifier` and `registry` are what the
    finished PDF names (OutputConditionIdentifier and RegistryName, ISO 32000-1 table 365). With the intents
    `perceptual` and `saturation` black is always moved, whatever `black_point_compensation` says.
    """

    name: str
    title: str
    profile: Path
    ink_limit: float
    identifier: str
    registry: str = "http://www.color.org"
    intent: Intent = "relative"
    black_point_compensation: bool = True


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
