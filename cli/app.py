"""The tree of commands; its callback reads where the store is."""

from __future__ import annotations

from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from cli import (
    demo,
    logs,
    looking,
    measuring,
    outputs,
    seasons,
    studies,
    tracing,
    trials,
    windows,
)
from cli.options import DEFAULT_STORE, with_example
from cli.show import message, strong
from forecast.errors import NotInStore, WearaheadError


class Commands(TyperGroup):
    """The group of all commands: turns what a person can mend into a message, without a trace."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Refuse ``--store`` behind the command's name, and say where it goes."""
        names = [n for n, word in enumerate(args) if word in self.commands]
        behind = args[names[0] + 1 :] if names else []
        if any(word == "--store" or word.startswith("--store=") for word in behind):
            command = args[names[0]]
            ctx.fail(f"--store goes before the command: wearahead --store FILE {command} ...")
        return super().parse_args(ctx, args)

    def invoke(self, ctx: Any) -> Any:
        """Run the command; exit 1 with message and way out, 130 after Ctrl-C."""
        try:
            return super().invoke(ctx)
        except WearaheadError as error:
            explain(error)
            raise typer.Exit(1) from error
        except KeyboardInterrupt as error:
            message("\nstopped; the store is as it was before")
            raise typer.Exit(130) from error


def explain(error: WearaheadError) -> None:
    """Print an error and its way out on stderr."""
    message(str(error), f"{strong('error:', err=True, colour=True)} ")
    if isinstance(error, NotInStore) and error.nearest and error.nearest not in error.way_out:
        message(f"       did you mean {error.nearest}?")
    for line in error.way_out.splitlines():
        message(f"       {line}")


def version(wanted: bool) -> None:
    """Print the version and leave."""
    if wanted:
        from importlib.metadata import version as installed

        typer.echo(f"wearahead {installed('wearahead')}")
        raise typer.Exit


def main(
    ctx: typer.Context,
    store: Annotated[
        str,
        typer.Option(
            "--store",
            metavar="FILE",
            envvar="WEARAHEAD_STORE",
            help="The store with your logs and forecasts; made by the first import.",
        ),
    ] = DEFAULT_STORE,
    show_version: Annotated[
        bool, typer.Option("--version", callback=version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """See the wear ahead: what to buy, what to change, and when.

    Logs in, a season's spare parts, change-out lists and a report out. Dates are written
    2026-08-30. Results go to stdout, messages to stderr; exit 0: done, 1: could not, 2: wrong
    usage.

    Example:
      wearahead demo
    """
    ctx.obj = store


app = typer.Typer(
    name="wearahead",
    cls=Commands,
    rich_markup_mode=None,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"]},
)
app.callback(help=with_example(main))(main)
for room in (demo, logs, studies, tracing, trials, seasons, measuring, windows, looking, outputs):
    room.add_to(app)
