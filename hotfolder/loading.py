"""Finds plugins, checks them, and refuses to start with one that is broken: a missing check lets bad work pass."""

from __future__ import annotations

import importlib
import importlib.metadata
import re
import sys
import types
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pluggy

from hotfolder.errors import ConfigError
from hotfolder.hookspecs import PROJECT, Hooks
from hotfolder.step import Step

#: Plugins live in this namespace, shipped and own alike, so that their classes can travel into worker processes.
NAMESPACE = "hotfolder_plugins"
_NAME = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")
_STEP_NAME = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)+")


@dataclass(frozen=True)
class Plugins:
    """What was loaded: the hooks to call, the steps by name, the folders they came from."""

    manager: pluggy.PluginManager
    steps: dict[str, type[Step]]
    folders: tuple[Path, ...]


def shipped_folder() -> Path:
    """The plugins that ship: inside the installed package, or beside it in a source checkout."""
    package = Path(__file__).parent
    installed = package / "_plugins"
    return installed if installed.is_dir() else package.parent / "plugins"


def load_plugins(folders: Sequence[Path] = ()) -> Plugins:
    """Load the shipped plugins, those in the given folders, and installed distributions' (entry point `hotfolder`).

    ConfigError with every problem at once.
    """
    every = (shipped_folder(), *(folder.resolve() for folder in folders))
    found, problems = _find(every)
    _namespace(every)
    manager = pluggy.PluginManager(PROJECT)
    manager.add_hookspecs(Hooks)
    for name, path in found.items():
        problems += _load_one(manager, name, path)
    problems += _load_distributions(manager)
    steps: dict[str, type[Step]] = {}
    if not problems:
        problems += _collect_steps(manager, steps)
    if problems:
        raise ConfigError(problems)
    return Plugins(manager, steps, every)


@contextmanager
def modules_kept() -> Iterator[None]:
    """Load plugins on trial: where that fails or other folders were loaded, the modules of before answer again.

    Steps travel to workers by the names of their modules, so those of jobs at work must stay what they were.
    """
    before = {name: module for name, module in sys.modules.items() if _ours(name)}
    folders = list(before[NAMESPACE].__path__) if NAMESPACE in before else []
    failed = True
    try:
        yield
        failed = False
    finally:
        after = sys.modules.get(NAMESPACE)
        if before and (failed or after is None or list(after.__path__) != folders):
            for name in [name for name in sys.modules if _ours(name)]:
                del sys.modules[name]
            sys.modules.update(before)


def _ours(module: str) -> bool:
    return module == NAMESPACE or module.startswith(NAMESPACE + ".")


def _find(folders: Sequence[Path]) -> tuple[dict[str, Path], list[str]]:
    found: dict[str, Path] = {}
    problems = []
    for folder in folders:
        if not folder.is_dir():
            problems.append(f"The plugin folder {folder} does not exist.")
            continue
        for path in sorted(folder.iterdir()):
            if path.name.startswith((".", "_")) or not (path.suffix == ".py" or (path / "__init__.py").is_file()):
                continue
            if not _NAME.fullmatch(path.stem):
                problems.append(
                    f"The plugin {path} has a name that can't be used; write it in small letters, such as check_margins."
                )
            elif path.stem in found:
                problems.append(f"The plugin {path} has the same name as {found[path.stem]}; rename one of them.")
            else:
                found[path.stem] = path
    return found, problems


def _namespace(folders: Sequence[Path]) -> None:
    module = types.ModuleType(NAMESPACE)
    module.__path__ = [str(folder) for folder in folders]
    before = sys.modules.get(NAMESPACE)
    if before is not None and list(before.__path__) != module.__path__:
        # Another set of folders in this process (tests do that): modules of the old set must not answer for the new.
        for name in [name for name in sys.modules if name.startswith(NAMESPACE + ".")]:
            del sys.modules[name]
        before = None
    if before is None:
        sys.modules[NAMESPACE] = module


def _load_one(manager: pluggy.PluginManager, name: str, path: Path) -> list[str]:
    try:
        module = importlib.import_module(f"{NAMESPACE}.{name}")
        manager.register(module, name)
    except Exception as error:  # the edge around a plugin's own code: any failure in it must name its file
        return [f"The plugin {path} could not be loaded: {type(error).__name__}: {error}"]
    return _check(manager, module, str(path))


def _load_distributions(manager: pluggy.PluginManager) -> list[str]:
    problems = []
    for entry in importlib.metadata.entry_points(group=PROJECT):
        where = f"{entry.name} (installed, {entry.value})"
        if manager.has_plugin(entry.name):
            problems.append(f"The plugin {where} has the same name as another plugin; remove one of them.")
            continue
        try:
            module = entry.load()
            manager.register(module, entry.name)
        except Exception as error:  # as above
            problems.append(f"The plugin {where} could not be loaded: {type(error).__name__}: {error}")
            continue
        problems += _check(manager, module, where)
    return problems


def _check(manager: pluggy.PluginManager, module: object, where: str) -> list[str]:
    if not manager.get_hookcallers(module):
        manager.unregister(module)
        return [f"The plugin {where} does nothing: it has no hook function marked with @hookimpl."]
    try:
        manager.check_pending()
    except pluggy.PluginValidationError as error:
        manager.unregister(module)
        known = ", ".join(sorted(name for name in vars(Hooks) if not name.startswith("_")))
        return [f"The plugin {where} has a hook that does not exist: {error}. The hooks are {known}."]
    return []


def _collect_steps(manager: pluggy.PluginManager, steps: dict[str, type[Step]]) -> list[str]:
    problems: list[str] = []

    def register(step: type[Step]) -> None:
        where = f"The step {getattr(step, 'name', step)!r} in {getattr(step, '__module__', '?')}"
        if not (isinstance(step, type) and issubclass(step, Step)):
            problems.append(f"{where} is not a subclass of hotfolder.plugin.Step.")
        elif not _STEP_NAME.fullmatch(getattr(step, "name", "")):
            problems.append(f"{where} has a name that can't be used; write verb_object, such as check_margins.")
        elif step.name in steps:
            problems.append(
                f"{where} has the same name as the step in {steps[step.name].__module__}; rename one of them."
            )
        else:
            steps[step.name] = step

    for implementation in manager.hook.register_steps.get_hookimpls():
        try:
            implementation.function(register)
        except Exception as error:  # as above
            problems.append(
                f"The plugin {implementation.plugin_name} failed to register its steps: {type(error).__name__}: {error}"
            )
    return problems
