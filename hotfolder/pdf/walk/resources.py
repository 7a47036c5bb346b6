"""Replaces things in a page's list of resources without touching lists that other pages share."""

from pikepdf import Dictionary

from hotfolder.pdf.objects import copy_dictionary, dictionary, entry, same_object


class ResourceEdits:
    """What one or more content streams that share a resource dictionary need in place of what it holds."""

    def __init__(self, found: object) -> None:
        self.found = dictionary(found)
        self._used: dict[tuple[str, str], object] = {}
        self._changed: dict[tuple[str, str], object] = {}
        self._removed: set[tuple[str, str]] = set()

    def get(self, category: str, name: str) -> object:
        """The resource as the file has it, None where it is missing."""
        return entry(entry(self.found, category), name)

    def use(self, category: str, name: str, now: object) -> str:
        """States that `name` must now stand for `now`; the name to write, another if this one is taken."""
        taken = self._used.get((category, name))
        if taken is None:
            self._used[category, name] = now
            if not same_object(now, self.get(category, name)):
                self._changed[category, name] = now
            return name
        if same_object(taken, now):
            return name
        for (other_category, other), held in self._changed.items():
            if other_category == category and other.startswith(name + "-") and same_object(held, now):
                return other
        return self.add(category, name, now)

    def add(self, category: str, like: str, now: object) -> str:
        """Adds a resource under a free name that begins like this one."""
        count = 1
        while self.get(category, f"{like}-{count}") is not None or (category, f"{like}-{count}") in self._used:
            count += 1
        self._used[category, f"{like}-{count}"] = self._changed[category, f"{like}-{count}"] = now
        return f"{like}-{count}"

    def remove(self, category: str, name: str) -> None:
        if self.get(category, name) is not None and (category, name) not in self._changed:
            self._removed.add((category, name))

    def result(self) -> Dictionary | None:
        """The new dictionary; None where everything stays."""
        if not self._changed and not self._removed:
            return None
        new = copy_dictionary(self.found)
        for category in {category for category, _ in self._changed.keys() | self._removed}:
            held = copy_dictionary(dictionary(entry(new, category)))
            for (other, name), now in self._changed.items():
                if other == category:
                    held[name] = now
            for other, name in self._removed:
                if other == category and name in held:
                    del held[name]
            new[category] = held
        return new
