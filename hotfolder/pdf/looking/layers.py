"""The layers of a PDF (optional content, ISO 32000-1 8.11): which are on, on the screen and in print."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Set
from dataclasses import dataclass

from pikepdf import Array, Dictionary, Pdf, String

from hotfolder.pdf.objects import MOST_LEVELS, dictionary, entry, identity, name, names

LONGEST_TEXT = 80
MOST_PARTS = 10_000  # of one visibility expression


@dataclass(frozen=True)
class Layer:
    """An optional content group. It may be shown on the screen and yet not print, or the other way round."""

    name: str
    on: bool  # in the file's default state
    on_screen: bool
    in_print: bool
    used: bool
    key: tuple[int, int] | None = None  # its object
    says: bool | None = None  # what its own usage says of printing, whether or not the file lets that count

    @property
    def steady(self) -> bool:
        return self.on == self.on_screen == self.in_print

    @property
    def doubtful(self) -> bool:
        """Whether it says of itself to print or not, against what the file lets count: some programs take its own word
        (seen with PDFium), ISO 32000-1 8.11.4.4 does not."""
        return self.says is not None and self.says != self.in_print


def read_layers(pdf: Pdf, used: Set[tuple[int, int]] = frozenset()) -> list[Layer]:
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
        if not _counts(config, group):
            layers.append(Layer(plain_text(entry(group, "/Name")), True, True, True, key in used, key))
            continue
        screen = _automatic(config, group, "View", on)
        printed = _automatic(config, group, "Print", on)
        title, says = plain_text(entry(group, "/Name")), _usage(group, "Print")
        layers.append(Layer(title, on, screen, printed, key in used, key, says))
    return layers


class PrintedLayers:
    """Says of each part that belongs to layers whether it prints, as ISO 32000-1 8.11 has it."""

    def __init__(self, pdf: Pdf) -> None:
        self._states = {layer.key: layer.in_print for layer in read_layers(pdf) if layer.key is not None}

    def hides(self, item: object) -> bool:
        """Whether what a layer or a membership dictionary marks does not print; no where that makes no sense."""
        try:
            return not self.prints(item)
        except ValueError:
            return False

    def prints(self, item: object) -> bool:
        """The same the other way round, but ValueError where it makes no sense, so that programs differ."""
        if not isinstance(item, Dictionary):
            return True  # a layer that the file lacks hides nothing
        if name(entry(item, "/Type")) != "OCMD":
            return self._state(item)
        expression = entry(item, "/VE")
        if isinstance(expression, Array):  # goes before the policy (table 99)
            return self._expression(expression, 0, [MOST_PARTS])
        groups = entry(item, "/OCGs")
        states = [
            self._state(one)
            for one in (groups if isinstance(groups, Array) else [groups])
            if isinstance(one, Dictionary)
        ]
        policy = name(entry(item, "/P")) or "AnyOn"
        if policy not in _POLICIES:
            raise ValueError("its membership follows a rule that doesn't exist")
        return not states or _POLICIES[policy](states)  # without any group it has no effect

    def _state(self, group: Dictionary) -> bool:
        return self._states.get(identity(group) or (0, 0), True)

    def _expression(self, part: object, depth: int, left: list[int]) -> bool:
        """8.11.2.2: [/And ...], [/Or ...], [/Not one], nested; what is none of them, is a layer."""
        left[0] -= 1
        if depth > MOST_LEVELS or left[0] < 0:
            raise ValueError("its rule is nested too deeply")
        if isinstance(part, Dictionary):
            return self._state(part)
        word, *parts = list(part) if isinstance(part, Array) and len(part) > 1 else [None]
        states = [self._expression(one, depth + 1, left) for one in parts]
        if name(word) == "Not" and len(states) == 1:
            return not states[0]
        if name(word) not in ("And", "Or") or not states:
            raise ValueError("its rule makes no sense")
        return all(states) if name(word) == "And" else any(states)


_POLICIES: dict[str, Callable[[list[bool]], bool]] = {
    "AllOn": all,
    "AnyOn": any,
    "AnyOff": lambda states: not all(states),
    "AllOff": lambda states: not any(states),
}


def _counts(config: Dictionary, group: Dictionary) -> bool:
    """Whether a layer is there for looking at, not for design alone: only such are ever hidden (8.11.2.3)."""
    meant, looked_for = (set(names(entry(item, "/Intent"))) or {"View"} for item in (group, config))
    return "All" in looked_for or bool(meant & looked_for)


def unused_appearances(page: object, layers: PrintedLayers) -> set[tuple[int, int] | None]:
    """Appearances of annotations that don't print: states that aren't on (12.5.5), and those of layers that are off."""
    unused: set[tuple[int, int] | None] = set()
    found = entry(page, "/Annots")
    for annotation in found if isinstance(found, Array) else []:
        look = entry(entry(annotation, "/AP"), "/N")
        off = layers.hides(entry(annotation, "/OC"))
        if isinstance(look, Dictionary):
            chosen = "/" + name(entry(annotation, "/AS"))
            unused |= {identity(part) for key, part in look.items() if key != chosen or off}
        elif off:
            unused.add(identity(look))
    return unused - {None}


def layer_ids(item: object) -> set[tuple[int, int]]:
    """The layers that a marked part belongs to: one, or those of a membership dictionary (Table 99)."""
    found = {identity(item)} if isinstance(item, Dictionary) else set()
    groups = entry(item, "/OCGs")
    found |= _group_ids(groups) if isinstance(groups, Array) else {identity(groups)}
    found |= set(_in_expression(entry(item, "/VE")))
    return {key for key in found if key is not None}


def _in_expression(expression: object) -> Iterator[tuple[int, int] | None]:
    """The layers of a visibility expression, as many as one may sensibly have."""
    stack = [expression]
    for _ in range(MOST_PARTS):
        if not stack:
            return
        part = stack.pop()
        if isinstance(part, Array):
            stack += list(part)[:MOST_PARTS]
        elif isinstance(part, Dictionary):
            yield identity(part)


def _automatic(config: Dictionary, group: Dictionary, event: str, on: bool) -> bool:
    """A layer's state for screen or print: what its usage says, where the file's AS list lets that count (8.11.4.4)."""
    rules = entry(config, "/AS")
    key = identity(group)
    for rule in rules if isinstance(rules, Array) else []:
        counts = name(entry(rule, "/Event")) == event and event in names(entry(rule, "/Category"))
        if counts and key in _group_ids(entry(rule, "/OCGs")):
            state = _usage(group, event)
            return on if state is None else state
    return on


def _usage(group: Dictionary, event: str) -> bool | None:
    """What a layer's usage says of itself for an event; None: nothing."""
    return {"ON": True, "OFF": False}.get(name(entry(entry(entry(group, "/Usage"), f"/{event}"), f"/{event}State")))


def _group_ids(value: object) -> set[tuple[int, int] | None]:
    return {identity(item) for item in value} if isinstance(value, Array) else set()


def plain_text(value: object) -> str:
    """A text of the file on one line, cut to 80 characters; "" for anything else."""
    if not isinstance(value, String):
        return ""
    return "".join(letter if letter.isprintable() else " " for letter in str(value)).strip()[:LONGEST_TEXT]
