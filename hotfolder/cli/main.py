"""The command `hotfolder`: run the daemon, look at files by hand, explain the config and the steps."""

# What a command needs is imported inside it: `hotfolder --help` must not wait for libraries that it does not use.

from __future__ import annotations

import contextlib
import sys
from pathlib import Path
from typing import IO, Any

import click

from hotfolder import __version__
from hotfolder.errors import ConfigError
from hotfolder.names import printable

MISTAKE = 2
_PATH = click.Path(path_type=Path)


class Problems(click.ClickException):
    """Mistakes of the person at the keyboard: each a sentence, no traceback, exit code 2."""

    exit_code = MISTAKE

    def __init__(self, problems: list[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = problems

    def show(self, file: IO[Any] | None = None) -> None:
        from hotfolder.cli.show import sentences

        sentences(self.problems)


class Commands(click.Group):
    """The group, with one edge at which mistakes become sentences."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except ConfigError as error:
            raise Problems(error.problems) from error
        except BrokenPipeError:  # the reader of our output has gone: nobody is left to tell
            raise
        except OSError as error:  # the disk is full, a folder may not be written to
            at = f"{printable(str(error.filename))}: " if error.filename else ""
            raise Problems([f"{at}{error.strerror or error}; nothing more was done."]) from error

    def resolve_command(self, ctx: click.Context, args: list[str]) -> tuple[Any, Any, list[str]]:
        if args and not args[0].startswith("-") and args[0] not in self.commands:
            from hotfolder.suggest import nearest

            meant, known = nearest(args[0], self.commands), ", ".join(self.commands)
            raise Problems([f"There is no command '{printable(args[0])}'{meant} The commands are {known}."])
        return super().resolve_command(ctx, args)

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)


@click.group(cls=Commands, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="hotfolder", message="%(prog)s %(version)s")
@click.pass_context
def main(context: click.Context) -> None:
    """Takes poster artwork from a folder, prepares it for the printer, and says what it found.

    \b
    Begin with:  hotfolder demo              a small studio with everything in it
                 hotfolder check FILE        what is wrong with a file; nothing is written
                 hotfolder run studio.toml   watch the folders of a config

    Exit codes: 0 all passed, 1 something is held, 2 a mistake in the command or the config.
    """
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError):  # a stream that is not a text file of Python's own
            stream.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


@main.command()
@click.argument("config", type=_PATH)
@click.option("--until-idle", is_flag=True, help="Stop when every file that is there has its outcome.")
def run(config: Path, until_idle: bool) -> None:
    """Watch the folders of a config, until stopped (Ctrl-C or SIGTERM)."""
    from hotfolder.cli.run import run_daemon

    run_daemon(config, until_idle=until_idle)


@main.command()
@click.argument("config", type=_PATH)
@click.option("--last", type=click.IntRange(1), default=20, show_default=True, metavar="N", help="How many, at most.")
@click.option("--json", "json_", is_flag=True, help="Print them as JSON.")
def jobs(config: Path, last: int, json_: bool) -> None:
    """List the latest jobs of a config: what became of each, and whether it was handed over. Changes nothing."""
    from hotfolder.cli.ledger import list_jobs

    list_jobs(config, last, json_=json_)


@main.command()
@click.argument("config", type=_PATH)
@click.option(
    "--oldest",
    type=click.FloatRange(0),
    default=60,
    show_default=True,
    metavar="MINUTES",
    help="A file may wait so long before something is wrong.",
)
@click.option("--json", "json_", is_flag=True, help="Print it as JSON.")
def health(config: Path, oldest: float, json_: bool) -> None:
    """Tell whether the daemon of a config is at work and what is in its way, for a monitor. Changes nothing.

    Exit code 1 where it is not running, hangs, is paused, or something has failed within the last day.
    """
    from hotfolder.cli.health import show_health

    sys.exit(show_health(config, oldest * 60, json_=json_))


@main.command()
@click.argument("file", type=_PATH)
@click.option("--json", "json_", is_flag=True, help="Print it as JSON.")
def config(file: Path, json_: bool) -> None:
    """Check a config file and print what it adds up to."""
    from hotfolder.cli.config import show_config

    try:
        show_config(file, json_=json_)
    except ConfigError as error:
        if json_:
            from hotfolder.cli.show import as_json

            as_json({"file": str(file), "problems": error.problems})
        raise


@main.command()
@click.argument("name", required=False)
@click.option("--config", "config_", type=_PATH, metavar="FILE", help="Include the plugins of this config.")
@click.option("--json", "json_", is_flag=True, help="Print it as JSON.")
def steps(name: str | None, config_: Path | None, json_: bool) -> None:
    """List the steps, or explain one with its settings."""
    from hotfolder.cli.config import show_steps

    show_steps(config_, name, json_=json_)


_FILES = click.argument("files", type=_PATH, nargs=-1, required=True, metavar="FILE...")
_CONFIG = click.option(
    "--config", "config_", type=_PATH, metavar="FILE", help="Config to take route or condition from."
)
_ROUTE = click.option("--route", metavar="NAME", help="Which route's chain and ticket; needed where there are several.")
_SET = click.option("--set", "pairs", multiple=True, metavar="KEY=VALUE", help="A ticket key, such as trim=24x36in.")


@main.command()
@_FILES
@_CONFIG
@_ROUTE
@_SET
@click.option("--json", "json_", is_flag=True, help="Print the findings as JSON.")
def check(
    files: tuple[Path, ...], config_: Path | None, route: str | None, pairs: tuple[str, ...], json_: bool
) -> None:
    """Look at files with the checks of a chain. Nothing is written.

    A file that does not exist is a mistake (exit code 2); a folder, or a file that can't be read, is held (1).
    """
    from hotfolder.cli.files import check_files

    sys.exit(check_files(files, config_, route, pairs, json_=json_))


@main.command()
@_FILES
@click.option("--into", type=_PATH, required=True, metavar="DIR", help="Where the folders pass and hold are made.")
@_CONFIG
@_ROUTE
@_SET
def once(files: tuple[Path, ...], into: Path, config_: Path | None, route: str | None, pairs: tuple[str, ...]) -> None:
    """Take files through the whole chain. The artwork is left where it is.

    Results with log and report stand in DIR/pass, log and report of what is held in DIR/hold. Nothing is
    overwritten: a name that is taken gets a number.
    """
    from hotfolder.cli.files import once_files

    sys.exit(once_files(files, into, config_, route, pairs))


@main.command()
@click.argument("file", type=_PATH, metavar="FILE")
@click.option("--into", type=_PATH, required=True, metavar="DIR", help="Where the pictures are written.")
@click.option("--ppi", type=click.FloatRange(1, 2400), default=72, show_default=True, help="Their pixels per inch.")
@click.option("--condition", metavar="NAME", help="Printing condition by its name; else the config's default.")
@click.option("--page", type=click.IntRange(1), metavar="N", help="One page only; else every page.")
@_CONFIG
@click.option("--json", "json_", is_flag=True, help="Print the figures as JSON.")
def plates(
    file: Path, into: Path, ppi: float, condition: str | None, page: int | None, config_: Path | None, json_: bool
) -> None:
    """Make the plates of a PDF: each ink as a gray picture, and the map of total ink.

    Black is full ink, white is none. Colours that are no inks yet are shown as the printing condition will make them.
    NAME.Cyan.png and so on, NAME.total-ink.png; nothing is overwritten: a name that is taken gets a number.
    Exit code 1 where the file can't be drawn.
    """
    from hotfolder.cli.plates import make_plate_files

    sys.exit(make_plate_files(file, into, ppi, condition=condition, config=config_, page=page, json_=json_))


@main.command()
@click.argument("dir", type=_PATH, default="hotfolder-demo")
def demo(dir: Path) -> None:
    """Make a small studio in DIR and run it."""
    from hotfolder.demo import run as run_demo

    run_demo(dir)
