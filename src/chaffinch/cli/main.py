"""The command ``chaffinch``: which commands there are, and what an error looks like.

Commands are imported when they are asked for, so that ``chaffinch check`` pays for nothing else. Exit status: 0 fine,
2 for anything a person can mend in the input, 1 for everything else.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from importlib import import_module
from typing import ClassVar, Final

import click

from chaffinch import __version__
from chaffinch.cli.terminal.hushed import hushed, hushed_value
from chaffinch.errors import ChaffinchError, InputError

COMMANDS: Final = {
    "check": "What a check file says: loss, range, verdict, where it was lost.",
    "plan": "How many catches, what the kit can see, and how best to read a catch.",
    "card": "A card for the cab: what the pan holds at each loss; as PDF too.",
    "where": "Where a field's or a stop's grain was lost, from the book.",
    "pace": "How fast to go: grain lost against time spent, from the book.",
    "day": "Which hours to work, how fast, and when to check again, from a forecast.",
    "worth": "Is a stop to check, or one more catch, worth its minutes?",
    "advise": "What is most likely wrong, and the one step worth trying.",
    "trial": "This setting or that: does the one tried lose less?",
    "monitor": "What the bar of the loss monitor means, in real units.",
    "ledger": "What a season left on the ground, and fair comparisons.",
    "report": "Reports on paper: a check, field, trial, season or field log; a sheet to fill in.",
    "fieldlog": "The combine's own log: read, cleaned, and what the whole field lost.",
    "book": "The book: checks, machines and fields, kept for years.",
    "serve": "The book in a browser and on phones nearby.",
    "crops": "The crops known, with their figures and where each comes from.",
    "demo": "An invented harvest day, told step by step.",
}
GROUPS: Final = ("report", "fieldlog", "book")
"""Commands that have commands of their own, a module each."""


class Commands(click.Group):
    """A group whose commands are modules of ``chaffinch.cli``, imported late."""

    known: ClassVar[Mapping[str, str]] = COMMANDS
    what: ClassVar[str] = "command"

    def load(self, name: str) -> click.Command:
        """Import one known command."""
        place = f"{name}.group" if name in GROUPS else name
        command: click.Command = import_module(f"chaffinch.cli.{place}").command
        return command

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order they are shown."""
        return list(self.known)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command, or None if there is none of that name."""
        return self.load(cmd_name) if cmd_name in self.known else None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(self.known.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command, refusing an unknown one with the nearest known name."""
        if args and args[0] not in self.known and not args[0].startswith("-"):
            from difflib import get_close_matches

            near = get_close_matches(args[0], list(self.known), n=1)
            hint = f"did you mean '{near[0]}'?" if near else f"use one of {', '.join(self.known)}"
            raise InputError(self.what, args[0], "there is no such command", hint)
        return super().resolve_command(ctx, args)


@click.group(
    cls=Commands,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)
@click.version_option(__version__, prog_name="chaffinch", message="%(prog)s %(version)s")
@click.pass_context
def group(ctx: click.Context) -> None:
    """Turn the seed a combine leaves behind into decisions.

    Write down what the pans held in a small check file; Chaffinch answers with the loss, an honest range, where it was
    lost, what it costs and whether it is over your limit. Works without a network.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and exit."""
    sys.exit(run(arguments))


def run(arguments: list[str] | None = None) -> int:
    """Run the command line and return the exit status; every foreseen error becomes one line on stderr."""
    if sys.stdout is None:
        return _complain("there is no standard output to write to", 1)
    try:
        status = group.main(args=arguments, prog_name="chaffinch", standalone_mode=False)
    except InputError as error:
        error.value = hushed_value(error.value)  # before it is shortened
        return _complain(error.line(), 2)
    except click.UsageError as error:
        where = error.ctx.command_path if error.ctx is not None else "chaffinch"
        return _complain(f"{where}: {_flat(error.format_message())}; see {where} --help", 2)
    except click.ClickException as error:
        return _complain(_flat(error.format_message()), 1)
    except ChaffinchError as error:
        return _complain(str(error), 1)
    except (click.Abort, KeyboardInterrupt):
        return _complain("stopped", 1)
    except (UnicodeEncodeError, UnicodeDecodeError) as error:
        return _complain(f"a name or file holds characters that cannot be written here ({error.reason})", 2)
    except BrokenPipeError:
        # The reader (head, a pager) has gone; nothing is left to say. Closing stderr keeps Python from saying it.
        sys.stderr.close()
        return 1
    except OSError as error:
        # A full disk behind >, a closed terminal: nothing can be shown, and that must not look like success.
        return _complain(f"the answer could not be written ({error.strerror})", 1)
    return status if isinstance(status, int) else 0


def _complain(line: str, status: int) -> int:
    if sys.stderr is None:
        return status
    from chaffinch.cli.terminal.page import harmless

    line = harmless(hushed(line))
    click.echo(f"chaffinch: {line}" if not line.startswith("chaffinch") else line, err=True)
    return status


def _flat(text: str) -> str:
    return " ".join(text.split()).rstrip(".")
