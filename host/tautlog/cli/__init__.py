"""The command line: one module a command, loaded only when it is called.

Exit status: 0 the command did its work, whatever the verdict; 1 it could not,
with one line on standard error; 2 wrong usage.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import sys

import click

from tautlog import __version__
from tautlog.errors import TautlogError

# Name, module, one line for --help: so that --help imports none of them.
COMMANDS = {
    "rehearse": ("rehearse", "A whole drop on a simulated rig, no hardware."),
    "init": ("init", "A new campaign folder with a commented campaign.toml."),
    "plan": ("plan", "Predict a drop, or find the one that meets a target."),
    "fastener": ("fastener", "What screws, bolts and shackles hold, by published formulas."),
    "proof": ("proof", "Enter a static pull that the mount has stood."),
    "boards": ("boards", "The serial ports of this machine, likely boards first."),
    "install": ("install", "Put the firmware on a board."),
    "calibrate": ("calibrate", "Known weights, live or from a table."),
    "health": ("health", "What the instrument reads while nothing happens."),
    "check": ("check", "The list before a drop, two persons, one by one."),
    "drop": ("drop", "Arm, release or wait for a hand, capture, mark, judge."),
    "recover": ("recover", "Fetch an event that a board still holds."),
    "import": ("import_", "Make a record from a CSV trace of another instrument."),
    "mark": ("mark", "Marks and verdicts of a record."),
    "inspect": ("inspect_", "Enter what was found when the article was looked at."),
    "decide": ("decide", "Enter what a named person decides about a test, and why."),
    "photo": ("photo", "Keep names and hashes of photos and films with a record."),
    "report": ("report", "One page on a drop, or a report on a campaign."),
    "remark": ("remark", "Mark many records again, on all cores."),
    "learn": ("learn", "What the drops of a line say of the next one."),
    "ledger": ("ledger", "The drops of every article, line and mount."),
    "show": ("show", "Picture of a record to a file."),
    "export": ("export", "CSV and other open formats."),
    "verify": ("verify", "Whether records are what was sealed, and none is missing."),
    "list": ("list_", "The records of a folder."),
}


class Commands(click.Group):
    """A group that imports a command when it is called and not before."""

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
    """Run one command line; the exit status."""
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
    except (KeyboardInterrupt, click.Abort):
        return _fail("stopped by Ctrl-C")
    except BrokenPipeError:
        return 0  # whoever read us has had enough
    except (OSError, MemoryError) as problem:
        return _fail(f"{problem}: nothing that was stored is lost")
    return 0


def _misused(problem: click.UsageError) -> int:
    command = problem.ctx.command_path if problem.ctx else "tautlog"
    _fail(f"{problem.format_message().rstrip('.')}. `{command} --help` tells more")
    return 2


def _fail(message: str) -> int:
    with contextlib.suppress(OSError, ValueError):
        sys.stdout.flush()
    with contextlib.suppress(OSError, ValueError):  # nobody to tell it to
        click.echo(f"tautlog: {' '.join(message.split())}", err=True)
    return 1


def _let_go() -> None:
    """Leave nothing that Python could trip over when it ends, where a pipe is broken."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError):
            with contextlib.suppress(OSError, ValueError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
