"""A mistake in the configuration or the plugins: every problem at once, each a full sentence."""

from __future__ import annotations

from collections.abc import Sequence


class ConfigError(Exception):
    """The studio can't start. `problems` are sentences for the person who wrote the config."""

    def __init__(self, problems: Sequence[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = list(problems)
