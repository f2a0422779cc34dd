"""The command line: one module for each command, imported only when it is called.

Exit status: 0 if the command did its work, whatever the verdict; 1 if it could not,
with one line on standard error; 2 for wrong usage.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import sys

import click

from tautlog import __version__
from tautlog.errors import TautlogError
from tautlog.model.printable import printable

# Name, module and one line for --help, so that --help need not import the modules.
COMMANDS = {
    "rehearse": ("rehearse", "Rehearse a whole drop on a simulated rig, without hardware."),
    "init": ("init", "Make a campaign folder with a commented campaign.toml."),
    "desk": ("desk", "Open the campaign in the browser, for the whole day."),
    "plan": ("plan", "Predict a drop, or find the drop that meets a target."),
    "fastener": ("fastener", "Calculate what screws, bolts and shackles hold."),
    "proof": ("proof", "Enter a static pull of the mount."),
    "boards": ("boards", "List the serial ports of this computer, likely boards first."),
    "install": ("install", "Put the firmware on a board."),
    "converter": ("converter", "Find how unequal the steps of the board's converter are."),
    "calibrate": ("calibrate", "Calibrate with known weights, live or from a table."),
    "health": ("health", "Read the instrument at rest, and judge it."),
    "check": ("check", "Go through the checklist before a drop, with two persons."),
    "drop": ("drop", "Do one drop: arm, release, record, mark and judge."),
    "recover": ("recover", "Fetch an event that a board still holds."),
    "import": ("import_", "Make a record from a CSV trace of another instrument."),
    "mark": ("mark", "Compute marks and verdicts of a record."),
    "inspect": ("inspect_", "Enter what an inspection of the article found."),
    "decide": ("decide", "Enter a named person's decision on a test, and the reason."),
    "procedure": ("procedure", "Print the campaign's test procedure, with places to fill in."),
    "deviation": ("deviation", "State where the work was not done as the procedure says."),
    "photo": ("photo", "Keep names and hashes of photos and films with a record."),
    "report": ("report", "Write a report on one drop or on a campaign."),
    "remark": ("remark", "Mark many records again, on all cores."),
    "learn": ("learn", "Learn a line's behaviour from its drops; predict the next drop."),
    "next": ("next_", "Say which step of the campaign comes next, and what stands in its way."),
    "qualify": ("qualify", "State what the drops prove of the part, or say why they do not."),
    "ledger": ("ledger", "Count the drops of every article, line and mount."),
    "show": ("show", "Draw records to a file or in a window."),
    "export": ("export", "Write a record's force as CSV or UFF."),
    "sign": ("sign", "Sign all that the campaign keeps with your own key."),
    "verify": ("verify", "Check that records are unchanged and none is missing."),
    "list": ("list_", "List the records of a folder."),
}
NOBODY = "stopped: an answer was expected from the keyboard, and its input ended"


class Commands(click.Group):
    """A group that imports a command only when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of a day's work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the command."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"tautlog.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands from the table."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.command(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="tautlog")
def tautlog() -> None:
    """Turn a home-built drop rig into a measuring instrument.

    Falling masses and snapping lines kill. This program is never the safety
    device: the key switch and the mechanical catch are. Local codes, the site's
    responsible person and licensed practice come first.
    """


def run(arguments: list[str]) -> int:
    """Run one command line; return the exit status."""
    try:
        return _run(arguments)
    finally:
        _let_go()


def _run(arguments: list[str]) -> int:
    try:
        tautlog.main(arguments, prog_name="tautlog", standalone_mode=False)
        sys.stdout.flush()
    except click.UsageError as problem:
        return _misused(problem)
    except click.exceptions.Exit as leaving:
        return leaving.exit_code
    except TautlogError as problem:
        return _fail(str(problem))
    except (KeyboardInterrupt, click.Abort) as stop:
        ended = isinstance(stop.__context__, EOFError)  # click gives one name to both
        return _fail(NOBODY if ended else "stopped by Ctrl-C")
    except BrokenPipeError:
        return 0  # the reader closed the pipe
    except (OSError, MemoryError) as problem:
        return _fail(f"{problem}: nothing that was stored is lost")
    return 0


def _misused(problem: click.UsageError) -> int:
    command = problem.ctx.command_path if problem.ctx else "tautlog"
    _fail(f"{problem.format_message().rstrip('.')}. See `{command} --help`")
    return 2


def _fail(message: str) -> int:
    with contextlib.suppress(OSError, ValueError):
        sys.stdout.flush()
    with contextlib.suppress(OSError, ValueError):  # standard error may be closed
        click.echo(f"tautlog: {printable(' '.join(message.split()))}", err=True)
    return 1


def _let_go() -> None:
    """Send leftover output of a broken pipe to the null device, so that Python can exit."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError):
            with contextlib.suppress(OSError, ValueError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
