"""What a crew sees and types; figures go to standard output, the rest to standard error."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

import click
from rich.console import Console
from rich.table import Table
from rich.text import Text

from tautlog.cli.output import tell
from tautlog.drop.crew import PHRASE, phrase_holds
from tautlog.model.cautions import CAUTION as CAUTION
from tautlog.model.channels import (
    FORCE,
    VOLTAGE,
    Accelerometer,
    Channel,
    ExcitationMonitor,
    channel_for,
)
from tautlog.model.display_units import SI, Unit, Units, si_of
from tautlog.model.origin import MARK, board_is_rehearsed
from tautlog.model.printable import printable
from tautlog.model.verdict_words import words

if TYPE_CHECKING:
    from tautlog.archive.assessment import Assessment
    from tautlog.board.finding import ReadinessFinding
    from tautlog.board.health import Health
    from tautlog.model.stream import Block, BoardEvent, Instrument
    from tautlog.model.trace import DropSetup
    from tautlog.model.uncertainty import Budget


class Screen(Console):
    """A console that raises a broken pipe as an error, for the caller to handle."""

    def on_broken_pipe(self) -> None:
        """Raise the error that is being handled."""
        raise


class ConsoleCrew:
    """A crew at a terminal.

    Parameters
    ----------
    yes : bool
        Do not ask for the phrase; for scripts.
    quiet : bool
        Show errors only; for --json.
    units : Units
        Units in which it is shown.
    """

    def __init__(self, *, yes: bool, quiet: bool, units: Units = SI) -> None:
        self._yes = yes
        self.units = units
        self._console = Screen(stderr=True, quiet=quiet, highlight=False)
        self._count: int | None = None
        self._shown_s = 0.0
        self._before: list[str] = []

    def say_when_met(self, text: str) -> None:
        """Keep a line until a board answers; if none answers, only that matters."""
        self._before.append(text)

    def say(self, text: str) -> None:
        """Show a line."""
        lines = map(printable, text.split("\n"))
        self._console.print("\n".join(lines), markup=False, soft_wrap=True)

    def met(self, instrument: Instrument, health: Health) -> None:
        """Show the lines that were kept, the board and its health."""
        while self._before:
            self.say(self._before.pop(0))
        self.say(
            f"board: {instrument.board}, firmware {instrument.firmware}, serial "
            f"{instrument.serial}, {instrument.sample_rate_hz:g} samples/s"
        )
        if board_is_rehearsed(instrument.board, instrument.serial):
            self.say(f"{MARK}: this board is simulated; its records count for nothing")
        self.say(health_text(health, self.units))

    def found(self, findings: list[ReadinessFinding]) -> None:
        """Show what is in doubt; a refusal speaks for itself."""
        for finding in findings:
            if not finding.refuses:
                self.say(f"LOOK: {finding.text}")

    def agree(self, setup: DropSetup) -> bool:
        """Ask for the phrase."""
        if self._yes:
            return True
        self._console.print(CAUTION, style="bold")
        self.say(
            f"drop: {self._quantity(setup.mass_kg, 'kg')}, "
            f"{self._quantity(setup.height_m, 'm')}, target "
            f"{self._quantity(setup.target_n, 'N')}, article {setup.article or 'not named'}"
        )
        try:
            typed = click.prompt(
                f"type `{PHRASE}` to arm", err=True, default="", show_default=False
            )
        except click.Abort:  # Ctrl-C, or nobody at the keyboard
            return False
        return phrase_holds(typed)

    def armed(self, by_hand: bool) -> None:
        """Say that it is armed."""
        self.say("ARMED, samples go to disk. Ctrl-C calls the drop off.")
        if by_hand:
            self.say("pull the pin by hand")

    def count(self, left_s: float) -> None:
        """Show whole seconds."""
        whole = math.ceil(left_s)
        if whole != self._count:
            self._count = whole
            self.say(f"  {whole}")

    def released(self, opened: BoardEvent) -> None:
        """Say that the switch opened."""
        self.say("released: the switch is open")

    def received(self, since_release_s: float, of_s: float) -> None:
        """Show progress once a second."""
        if since_release_s - self._shown_s >= 1.0:
            self._shown_s = math.floor(since_release_s)
            self.say(f"  recording, {since_release_s:.0f} of {of_s:.0f} s")

    def ending(self, more: int) -> None:
        """Say that ending takes a while, and what more Ctrl-C would do."""
        self.say(
            f"ending early: the board completes its guarded window; {more} more Ctrl-C leave the "
            "event to it, for `tautlog recover`"
        )

    def block(self, block: Block) -> None:
        """Show nothing: samples are not printed."""

    def _quantity(self, value: float | None, si: str) -> str:
        if value is None:
            return f"{self.units.of(si).name} not given"
        return self.units.text(value, si, "g")

    def judged(self, assessment: Assessment) -> None:
        """Show nothing: the verdict is printed by `print_verdict`."""


def health_text(health: Health, units: Units = SI) -> str:
    """One line of health."""
    return (
        f"health: level {health.level_v:.3f} V, noise "
        f"{units.text(health.noise_n, 'N', '.2f')} rms{_hum(health, units)}, "
        f"{units.text(health.rail_distance_n, 'N')} to the nearer limit; "
        f"{'latched' if health.latched else 'NOT LATCHED'}, "
        f"key {'on' if health.key_on else 'OFF'}, "
        f"wires: article {'whole' if health.article_whole else 'OPEN'}, "
        f"mount {'whole' if health.mount_whole else 'OPEN'}; {health.lost} conversions lost"
        f"{_excitation(health)}{_memory(health)}"
    )


def readback_texts(board: Instrument, health: Health) -> list[str]:
    """One line for the contacts of the release chain, if the board sees any."""
    if not board.readbacks:
        return []
    told = ", ".join(
        f"{one.name} {'OPEN' if one.name in health.open_readbacks else 'made'} (GP{one.gpio})"
        for one in board.readbacks
    )
    return [f"release chain, as the board's loop reads it: {told}; this is no safety function"]


def channel_texts(board: Instrument, health: Health, channels: tuple[Channel, ...]) -> list[str]:
    """One line for each channel beyond the first: its role, its level, and what that means."""
    found = []
    for column, name in enumerate(board.channels[1:], start=1):
        channel, level_v = channel_for(channels, name), health.channels_v[column]
        means = "a plain voltage, kept and not judged"
        if channel.role != VOLTAGE:
            without = "NOT CALIBRATED" if channel.role == FORCE else "NO SCALE"
            means = _meaning(channel, level_v) if channel.scaled else f"{without}: only counts"
        noise_mv = 1e3 * health.channels_noise_v[column]
        found.append(f"{name}: level {level_v:.3f} V, noise {noise_mv:.2f} mV rms; {means}")
    return found


def _meaning(channel: Channel, level_v: float) -> str:
    scale = channel.scale
    if isinstance(scale, Accelerometer):
        if scale.zero_v is None:
            return "its zero is not stated"
        felt = (level_v - scale.zero_v) / (scale.volt_per_m_s2 or math.nan)
        return f"{felt:.2f} m/s2, at rest 9.81 is expected"
    if isinstance(scale, ExcitationMonitor):
        return f"supply {level_v * (scale.divider_ratio or math.nan):.3f} V"
    return "calibrated"


def _excitation(health: Health) -> str:
    return "" if health.excitation_v is None else f"; excitation {health.excitation_v:.3f} V"


def _memory(health: Health) -> str:
    return "" if health.free_bytes is None else f"; {health.free_bytes / 1024:.0f} KiB free"


def _hum(health: Health, units: Units) -> str:
    if health.mains_hz is None:
        return ""
    return f", hum {units.text(health.mains_n, 'N', '.2f')} at {health.mains_hz:g} Hz"


def print_verdict(assessment: Assessment) -> None:
    """Print the decision, notes and reasons, then the quick look in its fixed order.

    The five lines come last: what is printed last is what stays on the screen.
    """
    from tautlog.archive.verdict_lines import notes, quick_look

    decision = assessment.decision
    if decision:
        decided = (
            f"decided by {decision.by}: {words(decision.verdict)} ({decision.reason}); "
            f"proposed was: {words(decision.proposed)}"
        )
        tell(f"  {printable(decided)}")
    for note in notes(assessment):
        tell(f"  {printable(note)}")
    if not assessment.units.are_si:
        tell("  the reasons, as they are kept, in SI:")
    for reason in assessment.verdict.reasons:
        tell(f"  - {printable(reason.text)}")
    for line in quick_look(assessment):
        tell(printable(line))


_NOT_FIGURES = ("legs", "witness", "excitation")  # told in lines of their own


def print_figures(assessment: Assessment, truth: Mapping[str, object] | None = None) -> None:
    """Print all figures, beside the true figures where they are known."""
    from tautlog.archive.kept_marks import as_json

    table = Table(box=None, pad_edge=False)
    table.add_column("figure")
    table.add_column("measured", justify="right")
    if truth is not None:
        table.add_column("true", justify="right")
    for name, value in as_json(assessment).items():
        if name in _NOT_FIGURES or (isinstance(value, (list, str, dict)) and name != "trace_says"):
            continue
        unit = assessment.units.of(si_of(name))
        cells = [plain_text(name), _cell(value, unit)]
        if truth is not None:
            cells.append(_cell(truth.get(name), unit))
        table.add_row(*cells)
    Screen(highlight=False, width=100).print(table)


def print_budgets(budgets: Iterable[Budget], units: Units = SI) -> None:
    """Print each figure's uncertainty, part by part."""
    console = Screen(highlight=False, width=118)
    for made in budgets:
        budget = made.shown_in(units.of(made.unit))
        table = Table(box=None, pad_edge=False, title_justify="left")
        table.title = plain_text(f"{budget.figure} = {budget.value:.6g} {budget.unit}")
        table.add_column("from", min_width=24)
        table.add_column("standard u", justify="right")
        table.add_column("kind")
        table.add_column("share", justify="right")
        table.add_column("basis")
        whole = budget.combined_u**2 or 1.0
        for part in budget.parts:
            share = f"{100 * part.u**2 / whole:.0f} %"
            cells = (part.name, f"{part.u:.3g}", part.kind, share, part.basis)
            table.add_row(*map(plain_text, cells))
        console.print()
        console.print(table)
        console.print(
            plain_text(
                f"combined {budget.combined_u:.3g} {budget.unit}, k = "
                f"{budget.coverage_factor:.3g}: expanded +/- {budget.expanded_u:.3g} "
                f"{budget.unit} (95.45 %)"
            )
        )


def _cell(value: object, unit: Unit) -> Text:
    """A figure; in another unit than SI, which its name tells, with that unit."""
    if value is None:
        return Text("-")
    if not isinstance(value, float):
        return plain_text(str(value))
    named = "" if unit.size == 1.0 else f" {unit.name}"
    return plain_text(f"{value / unit.size:.6g}{named}")


def plain_text(text: str) -> Text:
    """A text for a table, as it is: no markup, and nothing that moves the terminal."""
    return Text(printable(text))
