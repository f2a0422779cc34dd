"""Practice: a rehearsed rig and its board for a whole campaign, running beside other work."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from urllib.parse import urlsplit

from tautlog.campaign.campaign import Campaign
from tautlog.errors import CampaignError
from tautlog.model.channels import ACCELERATION, EXCITATION, FORCE
from tautlog.model.leg_facts import read_leg_facts
from tautlog.rehearsal.bench import Bench
from tautlog.rehearsal.bench_port import BenchPort
from tautlog.rehearsal.process import BoardProcess
from tautlog.rehearsal.rig import SimulatedRig
from tautlog.rehearsal.scene import (
    DEFAULT_HEIGHT_M,
    DEFAULT_MASS_KG,
    DEFAULT_TARGET_N,
    Scene,
    default_scene,
)
from tautlog.rehearsal.side_channels import KINDS, LEFT, RIGHT, board_changes

SERIAL = "rehearsal-1"
# So that a calibration that is a little off leaves the range that the checklist asks for.
RESERVE = 1.03
LOCAL = ("127.0.0.1", "localhost")


@dataclass(frozen=True)
class Practice:
    """What one campaign practises on.

    Attributes
    ----------
    bench : Bench
        Hands at the rig.
    url : str
        Port of the board.
    bench_port : int or None
        Where a second person says the same from another terminal, if anywhere.
    """

    bench: Bench
    url: str
    bench_port: int | None = None


@contextlib.contextmanager
def practising(campaign: Campaign, bench_port: int | None = None) -> Iterator[Practice]:
    """Let a rehearsed board answer at the port that a campaign states, while inside.

    Parameters
    ----------
    campaign : Campaign
        There to practise with.
    bench_port : int or None
        TCP port for a second person on this computer.

    Raises
    ------
    CampaignError
        If the campaign is real, or states no port of this computer.
    BoardError, LinkError
        If the board does not start, or a port is taken.
    """
    if not campaign.rehearsed:
        raise CampaignError(
            f"{campaign.path} is a real campaign, and a rehearsed rig is not for it: make one to "
            "practise with, `tautlog init FOLDER --practice`"
        )
    port = _port_of(campaign)
    scene = scene_of(campaign)
    rig = SimulatedRig(scene, seed=1)
    with contextlib.ExitStack() as held:
        if bench_port is not None:
            held.enter_context(BenchPort(rig.bench, bench_port))
        board = held.enter_context(
            BoardProcess(
                rig,
                serial=SERIAL,
                chip=scene.chip,
                changes=board_changes(scene),
                link_port=port,
            )
        )
        yield Practice(rig.bench, board.url, bench_port)


def scene_of(campaign: Campaign) -> Scene:
    """A rig as a campaign states it, whose crew did everything right.

    Raises
    ------
    CampaignError
        If there is no such rig.
    """
    setup = campaign.setup
    legs = [one.name for one in campaign.channels if one.role == FORCE]
    if len(legs) > 1 and legs != [LEFT, RIGHT]:
        raise CampaignError(f"the rehearsed rig's legs are {LEFT} and {RIGHT}, not {legs}")
    roles = {one.role for one in campaign.channels}
    kinds = ["legs"] * (len(legs) > 1)
    kinds += [role for role in (ACCELERATION, EXCITATION) if role in roles]
    try:
        scene = default_scene(
            setup.mass_kg or DEFAULT_MASS_KG,
            setup.height_m or DEFAULT_HEIGHT_M,
            setup.target_n or DEFAULT_TARGET_N,
            campaign.sampling.chip,
            RESERVE,
        )
        for kind in kinds:
            scene = KINDS[kind](scene)
    except ValueError as problem:
        raise CampaignError(f"this campaign's rig cannot be rehearsed: {problem}") from problem
    return with_stated_legs(scene, campaign)


def with_stated_legs(scene: Scene, campaign: Campaign) -> Scene:
    """The scene with what the campaign states of its legs: angles, targets and limits.

    Raises
    ------
    CampaignError
        If it states a leg that the rehearsed rig has not.
    """
    facts = campaign.setup.leg_facts
    other = [one.name for one in read_leg_facts(facts) if one.name not in (LEFT, RIGHT)]
    if other:
        raise CampaignError(f"the rehearsed rig's legs are {LEFT} and {RIGHT}, not {other[0]}")
    return replace(scene, setup=replace(scene.setup, leg_facts=facts))


def _port_of(campaign: Campaign) -> int:
    """Number of the port of this computer at which a campaign expects its board."""
    try:
        place = urlsplit(campaign.port)
        if place.scheme == "socket" and place.hostname in LOCAL and place.port:
            return place.port
    except ValueError:
        pass
    raise CampaignError(
        f"port = {campaign.port!r} under [board] of {campaign.path}: a rehearsed board answers on "
        'this computer, such as port = "socket://127.0.0.1:7000"'
    )
