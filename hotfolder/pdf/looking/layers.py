"""The layers of a PDF (optional content, ISO 32000-1 8.11): which are on, on the screen and in print."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from pikepdf import Array, Dictionary, Pdf, String

from hotfolder.pdf.objects import MOST_LEVELS, dictionary, entry, identity, name, names

LONGEST_TEXT = 80
_MOST_PARTS = 1000  # of a visibility expression


@dataclass(frozen=True)
class Layer:
    """An optional content group. It may be shown on the screen and yet not print, or the other way round."""

    name: str
    on: bool  # in the file's default state
    on_screen: bool
    in_print: bool
    used: bool

    @property
    def steady(self) -> bool:
        return self.on == self.on_screen == self.in_print


def read_layers(pdf: Pdf, used: set[tuple[int, int]]) -> list[Layer]:
    """All layers in the file's order; `used` from `Carried.layers_used`."""
    properties = entry(pdf.Root, "/OCProperties")
    config = dictionary(entry(properties, "/D"))
    groups = entry(properties, "/OCGs")
    items = [group for group in groups if isinstance(group, Dictionary)] if isinstance(groups, Array) else []
    turned_on, turned_off = _group_ids(entry(config, "/ON")), _group_ids(entry(config, "/OFF"))
    base_off = name(entry(config, "/BaseState")) == "OFF"
    layers = []
    for group in items:
        key = identity(group)
        on = (key in turned_on) if base_off else key not in turned_off
        screen = _automatic(config, group, "View", on)
        printed = _automatic(config, group, "Print", on)
        layers.append(Layer(plain_text(entry(group, "/Name")), on, screen, printed, key in used))
    return layers


class PrintedLayers:
    """Which marked parts of the art print, by the file's layers (8.11.2, 8.11.4)."""

    def __init__(self, pdf: Pdf) -> None:
        properties = entry(pdf.Root, "/OCProperties")
        config = dictionary(entry(properties, "/D"))
        turned_on, turned_off = _group_ids(entry(config, "/ON")), _group_ids(entry(config, "/OFF"))
        base_off = name(entry(config, "/BaseState")) == "OFF"
        groups = entry(properties, "/OCGs")
        self._off: set[tuple[int, int] | None] = set()
        for group in groups if isinstance(groups, Array) else []:
            key = identity(group)
            if isinstance(group, Dictionary):
                on = (key in turned_on) if base_off else key not in turned_off
                if not _automatic(config, group, "Print", on):
                    self._off.add(key)

    def hides(self, item: object) -> bool:
        """Whether what a layer or a membership dictionary (Table 99) marks does not print."""
        if not self._off or not isinstance(item, Dictionary):
            return False
        if name(entry(item, "/Type")) != "OCMD":
            return identity(item) in self._off
        rule = entry(item, "/VE")
        if isinstance(rule, Array):
            return not self._follow(rule, 0)
        groups = entry(item, "/OCGs")
        members = list(groups) if isinstance(groups, Array) else [groups]
        states = [identity(member) not in self._off for member in members if isinstance(member, Dictionary)]
        return bool(states) and not _POLICIES.get(name(entry(item, "/P")), any)(states)

    def _follow(self, rule: object, depth: int) -> bool:
        """A visibility expression (8.11.2.2): a layer, or And, Or, Not before further expressions."""
        if not isinstance(rule, Array) or not len(rule) or depth > MOST_LEVELS:
            return identity(rule) not in self._off
        parts = [self._follow(part, depth + 1) for part in list(rule)[1:_MOST_PARTS]]
        how = name(rule[0])
        return not any(parts) if how == "Not" else any(parts) if how == "Or" else all(parts)


_POLICIES: dict[str, Callable[[list[bool]], bool]] = {
    "AllOn": all,
    "AnyOff": lambda states: not all(states),
    "AllOff": lambda states: not any(states),
}


def layer_ids(item: object) -> set[tuple[int, int]]:
    """The layers that a marked part belongs to: one, or those of a membership dictionary (Table 99)."""
    found = {identity(item)} if isinstance(item, Dictionary) else set()
    groups = entry(item, "/OCGs")
    found |= _group_ids(groups) if isinstance(groups, Array) else {identity(groups)}
    return {key for key in found if key is not None}


def _automatic(config: Dictionary, group: Dictionary, event: str, on: bool) -> bool:
    """A layer's state for screen or print: what its usage says, where the file's AS list lets that count (8.11.4.4)."""
    rules = entry(config, "/AS")
    key = identity(group)
    for rule in rules if isinstance(rules, Array) else []:
        counts = name(entry(rule, "/Event")) == event and event in names(entry(rule, "/Category"))
        if counts and key in _group_ids(entry(rule, "/OCGs")):
            state = name(entry(entry(entry(group, "/Usage"), f"/{event}"), f"/{event}State"))
            return on if state not in ("ON", "OFF") else state == "ON"
    return on


def _group_ids(value: object) -> set[tuple[int, int] | None]:
    return {identity(item) for item in value} if isinstance(value, Array) else set()


def plain_text(value: object) -> str:
    """A text of the file on one line, cut to 80 characters; "" for anything else."""
    if not isinstance(value, String):
        return ""
    return "".join(letter if letter.isprintable() else " " for letter in str(value)).strip()[:LONGEST_TEXT]
