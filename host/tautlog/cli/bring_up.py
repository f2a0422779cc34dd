"""``tautlog health --bring-up``: the first day, wire by wire."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

import click

from tautlog.cli import options
from tautlog.cli.looked import require_looked
from tautlog.cli.output import tell
from tautlog.errors import AbortedError, CampaignError
from tautlog.model.commissioning import COIL_PHRASE, Phase, Step
from tautlog.model.proven_wiring import AS_EXPECTED, StepDone, last_results, unproven
from tautlog.model.signature import signed
from tautlog.model.wire_faults import told_of

if TYPE_CHECKING:
    from tautlog.board.session import Session
    from tautlog.campaign.campaign import Campaign
    from tautlog.drop.bring_up import BringUp, Hands

INTRODUCTION = (
    "BRING-UP: each wire is opened and shorted by hand, and compared with what the board reads. "
    "Sled down, nothing raised, the latch's coil OFF at the box with a test lamp in its place, "
    "two persons. Usual cautions; local codes, the site's responsible person and licensed "
    "practice come first."
)
BENCH_SPEED = 8.0
HOW = "Enter: done, read it. s REASON: not done. q: stop here, go on later"


@dataclass(frozen=True)
class Asked:
    """What the options ask for.

    Attributes
    ----------
    by, step, reason : str
        Who does it; one step, or ""; reason of a correction.
    supersedes : int or None
        Line that is corrected.
    looked_by : str or None
        Who has looked at the rig since a board was last armed.
    anew, listing, as_json : bool
        All steps again; only list them; print JSON.
    bench : int or None
        Port of a rehearsed bench whose hands do it all.
    """

    by: str = ""
    step: str = ""
    reason: str = ""
    supersedes: int | None = None
    looked_by: str | None = None
    anew: bool = False
    listing: bool = False
    as_json: bool = False
    bench: int | None = None


class ConsoleHands:
    """A person at a terminal; see `drop.bring_up.Hands`.

    Parameters
    ----------
    quiet : bool
        Print nothing on standard output; for --json.
    """

    def __init__(self, *, quiet: bool) -> None:
        self._quiet = quiet

    def begin(self, step: Step, number: int, of: int) -> None:
        """Name the step."""
        tell(f"\n{number} of {of}  {step.name}: {step.about}", err=True)

    def do(self, step: Step, phase: Phase) -> str:
        """Say what to do, and wait."""
        tell(f"  {phase.do}.", err=True)
        if step.name == "coil-out":
            return ""
        while True:
            typed = click.prompt(f"  [{HOW}]", default="", show_default=False, err=True).strip()
            if not typed:
                return ""
            if typed.casefold() == "q":
                raise AbortedError(
                    "stopped: what was done is kept; the same command goes on where it stopped"
                )
            word, _, why = typed.partition(" ")
            if word.casefold() == "s" and signed(why):
                return signed(why)
            tell("  give a reason, such as `s no second person`", err=True)

    def now(self, phase: Phase) -> None:
        """Say what to do now that it is armed."""
        tell(f"  ARMED. NOW: {phase.then or 'look'}", err=True)

    def sees(self, phase: Phase) -> bool | None:
        """Ask what only a person can see."""
        return click.confirm(f"  Did you see that {phase.question}?", default=False, err=True)

    def coil_is_out(self, phase: Phase) -> bool:
        """Ask for the phrase."""
        try:
            typed = click.prompt(
                f"  if {phase.question}, type `{COIL_PHRASE}`",
                default="",
                show_default=False,
                err=True,
            )
        except click.Abort:
            return False
        return bool(typed.strip().casefold() == COIL_PHRASE)

    def read(self, expected: str, read: str, faults: tuple[str, ...]) -> None:
        """Show both beside one another as soon as they are there."""
        if not self._quiet:
            show_pair(expected, read)
            for fault in faults:
                tell(f"    NOT AS EXPECTED: {fault}")

    def done(self, step: Step, done: StepDone) -> None:
        """Show how it came out."""
        if not self._quiet:
            show_result(done)


def show(done: StepDone, *, quiet: bool) -> None:
    """Expected and read of every phase beside one another, and how the step came out."""
    if quiet:
        return
    for pair in zip(done.expected.split("; then "), done.read.split("; then "), strict=False):
        show_pair(*pair)
    show_result(done)


def show_pair(expected: str, read: str) -> None:
    """Expected and read, one below the other."""
    tell(f"    expected  {expected}\n    read      {read}")


def show_result(done: StepDone) -> None:
    """How a step came out, and what it may be if not as expected."""
    tell(f"    {done.step}: {done.result}{f': {done.why}' if done.why else ''}")
    if done.result != AS_EXPECTED:
        for text in told_of(done.step):
            tell(f"    it may be {text}")


def bring_up(port: str | None, timeout_scale: float, asked: Asked) -> None:
    """Do, or list, the steps of a bring-up.

    Raises
    ------
    CampaignError
        Without a campaign; if the wiring is not proven at the end.
    """
    from tautlog.board.link import SerialLink
    from tautlog.board.session import Session

    campaign = options.here(to_drop=False)
    if campaign is None:
        raise CampaignError(
            "a bring-up is kept in a campaign, and there is none here: make one with `tautlog "
            "init`, state under [fitted] what the rig has, and start again in its folder"
        )
    by = "" if asked.listing else options.signature_of(asked.by, "a bring-up")
    if not asked.listing:
        require_looked(campaign, asked.looked_by)
    with SerialLink(options.port_of(port, campaign)) as link:
        session = Session(link, timeout_scale=timeout_scale)
        board = session.greet()
        with _hands(asked, board.board, board.serial) as (hands, speed):
            one = _session(session, campaign, hands, by, speed)
            if asked.listing:
                _list(one, campaign, asked.as_json)
                return
            _do(one, campaign, asked)


@contextlib.contextmanager
def _hands(asked: Asked, board: str, serial: str) -> Iterator[tuple[Hands, float]]:
    """The person, or the hands of a rehearsed bench."""
    from tautlog.model.origin import board_is_rehearsed

    if asked.bench is None:
        yield ConsoleHands(quiet=asked.as_json), 1.0
        return
    if not board_is_rehearsed(board, serial):
        raise CampaignError(
            f"--bench is for a rehearsed board, and this one is real ({board}): open and short its "
            "wires by hand"
        )
    from tautlog.rehearsal.bench_hands import BenchHands
    from tautlog.rehearsal.bench_port import BenchLine

    with BenchLine(asked.bench) as line:
        # A bench's eye needs no four seconds to look.
        yield BenchHands(line.tell, lambda step, done: show(done, quiet=asked.as_json)), BENCH_SPEED


def _session(session: Session, campaign: Campaign, hands: Hands, by: str, speed: float) -> BringUp:
    from tautlog.campaign.bring_ups import add_step
    from tautlog.drop.bring_up import BringUp

    def keep(done: StepDone) -> None:
        options.tell_doubt(add_step(campaign.folder, done))

    return BringUp(session, campaign, hands, by, keep, speed)


def _do(one: BringUp, campaign: Campaign, asked: Asked) -> None:
    from tautlog.campaign.bring_ups import proving_of
    from tautlog.cli.output import print_json

    board = one.session.instrument
    proving = proving_of(campaign, board)
    if proving.unread and asked.supersedes is None:
        raise CampaignError(unproven(proving))
    if asked.supersedes is not None and not asked.step:
        raise click.UsageError("--supersedes corrects one step: name it with --step")
    if asked.step:
        steps: tuple[Step, ...] = (one.named(asked.step),)
    else:
        steps = one.steps if asked.anew else one.open_steps(proving.done)
    if not asked.as_json:
        _introduce(one, len(steps))
    made = list(one.run(steps, asked.supersedes, asked.reason)) if steps else []
    why = unproven(proving_of(campaign, board))
    if asked.as_json:
        print_json({"steps": [asdict(done) for done in made], "unproven": why or None})
    if why:
        raise CampaignError(f"not proven yet: {why}")
    if not asked.as_json:
        again = "" if made else "; `--step NAME` or `--anew` does it again"
        tell(f"\nbring-up whole: every wire is as expected{again}")


def _introduce(one: BringUp, number: int) -> None:
    board, whole = one.session.instrument, len(one.steps)
    tell(INTRODUCTION, err=True)
    tell(f"board {board.serial}, {board.board}, firmware {board.firmware}", err=True)
    tell(f"{number} of {whole} steps to do" if number else "nothing to do", err=True)


def _list(one: BringUp, campaign: Campaign, as_json: bool) -> None:
    """Every step with its last result."""
    from tautlog.campaign.bring_ups import board_seen, proving_of
    from tautlog.cli.output import print_columns, print_json
    from tautlog.model.proven_wiring import steps_that_count

    proving = proving_of(campaign, one.session.instrument)
    last = last_results(steps_that_count(proving.done, board_seen(one.session.instrument)))
    rows = [
        {
            "step": step.name,
            "about": step.about,
            "do": [phase.do for phase in step.phases],
            "last": asdict(last[step.name]) if step.name in last else None,
        }
        for step in one.steps
    ]
    why = unproven(proving)
    if as_json:
        print_json({"steps": rows, "unproven": why or None})
        return
    table = [["step", "result", "when", "by", "about"]]
    for step in one.steps:
        done = last.get(step.name)
        found = [done.result, done.utc, done.by] if done else ["missing", "", ""]
        table.append([step.name, *found, step.about])
    print_columns(table)
    tell(f"not proven: {why}" if why else "proven: each wire is as expected")
