"""``tautlog rehearse``."""

from __future__ import annotations

import contextlib
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tautlog.cli import options
from tautlog.cli.output import tell
from tautlog.cli.shown_units import units_at, units_option
from tautlog.errors import CampaignError, LinkError, RefusedError
from tautlog.model import quantities as q

if TYPE_CHECKING:
    from tautlog.campaign.campaign import Campaign
    from tautlog.cli.conduct import Shown
    from tautlog.cli.console import ConsoleCrew
    from tautlog.drop.outcome import DropOutcome, DropPlan
    from tautlog.rehearsal.process import BoardProcess
    from tautlog.rehearsal.rig import SimulatedRig
    from tautlog.rehearsal.scene import Scene

HELD_WAIT_S = 20.0
SIDE = ("legs", "acceleration", "excitation")  # as in rehearsal.side_channels, which is heavy


class FaultName(options.TextType):
    """Name of a fault; the faults are imported only when the option is used."""

    name = "fault"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Check the name; `list` prints all names and ends."""
        from tautlog.rehearsal.faults import FAULTS

        if value == "list":
            for fault in FAULTS.values():
                tell(f"{fault.name:16} {fault.text}")
            raise click.exceptions.Exit(0)
        if value not in FAULTS:
            self.fail(f"{value!r} is not a fault; allowed are {', '.join(FAULTS)}", param, ctx)
        return str(value)


@click.command(name="rehearse")
@click.option(
    "--mass",
    "mass_kg",
    type=options.Number(q.MASS),
    metavar="KG",
    help="Mass of the sled (default: 9 kg).",
)
@click.option(
    "--height",
    "height_m",
    type=options.Number(q.HEIGHT),
    metavar="M",
    help="Free travel (default: 1.2 m).",
)
@click.option(
    "--target",
    "target_n",
    type=options.Number(q.FORCE),
    metavar="N",
    help="Target force (default: 1800 N).",
)
@click.option(
    "--fault", type=FaultName(), metavar="NAME", help="Play a fault; `--fault list` lists them."
)
@click.option(
    "--seed",
    type=click.IntRange(0),
    default=1,
    show_default=True,
    help="Seed of noise, bounce and hand.",
)
@click.option(
    "--with",
    "side",
    type=click.Choice(SIDE),
    multiple=True,
    help="More channels: two legs with a cell each, a sled accelerometer, the monitored supply of "
    "the bridges. Repeat it for several, three channels at most.",
)
@click.option(
    "--converter-bits",
    type=click.Choice(["12", "16"]),
    default="12",
    show_default=True,
    help="The chip's own converter, or one of 16 bits on three wires.",
)
@options.out_option
@click.option("--hand-release", "by_hand", is_flag=True, help="A simulated hand pulls the pin.")
@click.option("--yes", is_flag=True, help="Do not ask for the phrase.")
@click.option(
    "--speed",
    type=options.Number(q.REHEARSAL_SPEED),
    default=5.0,
    show_default=True,
    metavar="X",
    help="Run the board at most this many times as fast as real time.",
)
@click.option(
    "--serve",
    type=click.IntRange(1, 65535),
    metavar="TCP_PORT",
    help="Only start board and rig, to practise `tautlog drop` on. Its terminal takes what hands "
    "do at the rig, such as `hang 5` or `latch`; `help` lists the words.",
)
@click.option(
    "--bench",
    type=click.IntRange(1, 65535),
    metavar="TCP_PORT",
    help="With --serve: a port through which a second person says the same, a line each, and "
    "spoils wires, such as `open switch`.",
)
@options.live_option
@options.cfc_option
@units_option
@options.shown_options
def command(
    mass_kg: float | None,
    height_m: float | None,
    target_n: float | None,
    fault: str | None,
    seed: int,
    side: tuple[str, ...],
    converter_bits: str,
    out: Path | None,
    by_hand: bool,
    yes: bool,
    speed: float,
    serve: int | None,
    bench: int | None,
    live: bool,
    cfc: str | None,
    named: tuple[str, ...],
    every_figure: bool,
    as_json: bool,
) -> None:
    """Rehearse a whole drop with no hardware.

    The real firmware runs in its own process, under MicroPython where it is installed and under
    this Python otherwise. A simulated rig feeds converter and pins. All else is what `tautlog
    drop` does. The record says that it is a rehearsal, goes into the campaign's folder
    `rehearsals`, and counts for nothing.
    """
    from tautlog.cli.conduct import Shown
    from tautlog.cli.live_crew import crew_for
    from tautlog.rehearsal.process import BoardProcess
    from tautlog.rehearsal.rig import SimulatedRig
    from tautlog.rehearsal.scene import SIXTEEN_BITS, with_sixteen_bits
    from tautlog.rehearsal.side_channels import board_changes

    scene = _scene(mass_kg, height_m, target_n, side, fault)
    changes = board_changes(scene)
    if converter_bits == "16":
        if side:
            raise click.UsageError("a converter of 16 bits has one channel: leave out --with")
        scene = with_sixteen_bits(scene)
        changes.update(SIXTEEN_BITS)
    rig = SimulatedRig(scene, sample_rate_hz=_rate_hz(changes), seed=seed, by_hand=by_hand)
    serial = f"rehearsal-{seed}"
    if bench is not None and serve is None:
        raise click.UsageError("--bench needs --serve")
    if serve is not None:
        with (
            _bench(rig, bench),
            BoardProcess(
                rig, speed=1.0, serial=serial, chip=scene.chip, changes=changes, link_port=serve
            ) as board,
        ):
            _serve(board, rig)
        return
    path = options.record_path(out or _place(), None, scene.setup.article)
    plan = _plan(scene, path, by_hand, speed)
    with (
        crew_for(
            plan.calibration,
            plan.record_s,
            live=live,
            yes=yes or as_json,
            quiet=as_json,
            units=units_at(path.parent, named),
        ) as crew,
        BoardProcess(rig, speed=speed, serial=serial, chip=scene.chip, changes=changes) as board,
    ):
        crew.say("rehearsal: simulated rig, real firmware; nothing can fall")
        if fault:
            crew.say(f"fault played: {fault}")
        shown = Shown.asked(every_figure=every_figure, as_json=as_json)
        _rehearse(board, rig, plan, crew, options.class_of(cfc), shown)


def _rate_hz(changes: dict[str, int | float | str]) -> float | None:
    """Samples a second of a board whose config has these changes; None: as delivered."""
    from tautlog.rehearsal.simulated import REDUCTION

    conversions = changes.get("CONVERSION_RATE_HZ")
    return None if conversions is None else float(conversions) / REDUCTION


def _place() -> Path | None:
    """Folder of a rehearsal without --out: apart from the campaign's records, if any."""
    from tautlog.files.campaign_folder import find_campaign
    from tautlog.model.origin import FOLDER

    found = find_campaign()
    return None if found is None else found.parent / FOLDER


def _campaign() -> Campaign | None:
    """The campaign around this folder, whose drops are practised; None if there is none."""
    from tautlog.campaign.campaign import read_campaign
    from tautlog.files.campaign_folder import find_campaign

    found = find_campaign()
    try:
        return None if found is None else read_campaign(found, to_drop=False)
    except CampaignError:  # a rehearsal needs no campaign, and a drop says what is wrong with it
        return None


def _scene(
    mass_kg: float | None,
    height_m: float | None,
    target_n: float | None,
    side: tuple[str, ...],
    fault: str | None,
) -> Scene:
    from tautlog.campaign.drop_setup import DropRequest, setup_from
    from tautlog.rehearsal.faults import FAULTS
    from tautlog.rehearsal.practice import scene_of, with_stated_legs
    from tautlog.rehearsal.scene import CHIP, default_scene
    from tautlog.rehearsal.side_channels import KINDS

    setup_from(None, DropRequest(mass_kg, height_m, target_n))  # refuses what is out of range
    given = {"mass_kg": mass_kg, "height_m": height_m, "target_n": target_n}
    campaign = _campaign()
    try:
        figures = {name: value for name, value in given.items() if value is not None}
        if campaign is not None and campaign.rehearsed and not figures:
            scene = scene_of(campaign)
        else:
            scene = default_scene(**figures, chip=campaign.sampling.chip if campaign else CHIP)
        for kind in side:
            scene = KINDS[kind](scene)
        if campaign is not None and "legs" in side:
            scene = with_stated_legs(scene, campaign)
        return FAULTS[fault].change(scene) if fault else scene
    except ValueError as problem:
        raise CampaignError(f"this drop cannot be rehearsed: {problem}") from problem


def _plan(scene: Scene, path: Path, by_hand: bool, speed: float) -> DropPlan:
    from tautlog.drop.granting import rehearsal
    from tautlog.drop.outcome import DropPlan

    return DropPlan(
        path=path,
        permit=rehearsal(scene.setup, scene.calibration, scene.channels),
        by_hand=by_hand,
        countdown_s=3.0,
        speed=speed,
        shunt=scene.shunt,
    )


def _rehearse(
    board: BoardProcess,
    rig: SimulatedRig,
    plan: DropPlan,
    crew: ConsoleCrew,
    cfc: int | None,
    shown: Shown,
) -> None:
    from tautlog.cli.conduct import show_outcome
    from tautlog.drop.conducting import conduct
    from tautlog.drop.stop import StopRequest

    with StopRequest().listening() as stop:
        try:
            outcome = conduct(board.url, plan, crew, stop)
        except LinkError as problem:
            board.check()
            if rig.scene.behaviour.cut_link_after_s is None:
                raise
            crew.say(f"the cable is out ({problem})")
            with stop.at_once():
                outcome = _recover(board, plan, crew)
        show_outcome(
            outcome, crew, cfc=cfc, shown=shown, truth=rig.truth, stop=stop, units=crew.units
        )


def _recover(board: BoardProcess, plan: DropPlan, crew: ConsoleCrew) -> DropOutcome:
    """Plug the cable in again and fetch what the board holds."""
    from tautlog.drop.conducting import fetch

    deadline = time.monotonic() + HELD_WAIT_S
    while True:
        try:
            outcome = fetch(board.url, plan.path)
        except RefusedError:
            # The board is still completing the guarded window. Every greeting is a sign of
            # life, so wait longer than the board waits for one.
            if time.monotonic() > deadline:
                raise
            time.sleep(2.5)
            continue
        crew.say("the cable is back in: the board held the event, and it was fetched")
        return outcome


def _bench(rig: SimulatedRig, port: int | None) -> contextlib.AbstractContextManager[object]:
    """The port to the rig's wires, if one is asked for."""
    from tautlog.rehearsal.bench_port import BenchPort

    if port is None:
        return contextlib.nullcontext()
    tell(f"hands and faults are heard at 127.0.0.1:{port}: `where`, `open switch`, `help`")
    return BenchPort(rig.bench, port)


def _serve(board: BoardProcess, rig: SimulatedRig) -> None:
    from tautlog.cli.bench_console import BenchConsole

    tell(f"a rehearsed board answers at {board.url}; Ctrl-C ends it")
    tell(f"try: tautlog drop --port {board.url} --mass 9 --height 1.2 --target 1800")
    console = BenchConsole(rig.bench)
    try:
        while True:
            board.check()
            console.obey(wait_s=0.2)
    except KeyboardInterrupt:
        tell("ended")
