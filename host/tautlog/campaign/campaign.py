"""Campaign: a folder of records with one campaign.toml.

The file states what holds for every drop. What was measured later overrides it: the newest
calibration and the proofs of the mounts.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from tautlog.calibrate.kept import newest_calibration, newest_file
from tautlog.campaign.calibration_in_force import (
    CalibrationInForce,
    calibration_in_force,
    promised_slope,
)
from tautlog.campaign.condemned import Retired
from tautlog.campaign.dimensions import Dimension
from tautlog.campaign.flight import StatedFlight
from tautlog.campaign.laboratory import Laboratory
from tautlog.campaign.mistakes import contradictions, file_mistakes, mistakes_in
from tautlog.campaign.people import Person
from tautlog.campaign.proofs import counting_proofs, failed_elsewhere, proven
from tautlog.campaign.qualification import Qualification
from tautlog.campaign.requirement import Requirement
from tautlog.campaign.retirement import Retirement
from tautlog.campaign.sections import (
    Amplifier,
    Article,
    Cell,
    DecisionRule,
    ForceChannel,
    RigLimits,
)
from tautlog.campaign.stated import Stated, stated_in
from tautlog.campaign.toml_text import parsed, read_text
from tautlog.errors import CampaignError
from tautlog.files.campaign_folder import CAMPAIGN_FILE, traces_of_campaign
from tautlog.model.calibration import Calibration
from tautlog.model.channels import ACCELERATION, EXCITATION, FORCE, Channel, channel_for
from tautlog.model.display_units import SI, Units
from tautlog.model.line import Line
from tautlog.model.load_path import Element, Mount
from tautlog.model.names import meant, short
from tautlog.model.surroundings import Atmosphere
from tautlog.model.trace import DropSetup
from tautlog.model.window import Sampling
from tautlog.model.wiring import Fitted


@dataclass(frozen=True)
class Campaign:
    """A campaign in its present state.

    Attributes
    ----------
    path : Path
        The file; its folder is the campaign's folder.
    name : str
        Name of the campaign (default: the name of its folder).
    setup : DropSetup
        What holds for a drop unless its options override it.
    requirement : Requirement
        Where the target comes from.
    calibration, calibration_stated, calibration_doubts, calibration_left_out : ...
        The calibration in force; see `calibration_in_force.CalibrationInForce`.
    stated_newton_per_volt : float or None
        As campaign.toml states it; its sign is the sign of the chain.
    port, link_timeout_s : str, float
        Serial port, or "" if none is stated; how long to wait for the board.
    note : str
        Remarks.
    dimensions, flight, laboratory, rig, cell, amplifier, fitted, decision, articles, elements : ...
        As campaign.toml states them.
    qualification, atmosphere, retirement : ...
        As campaign.toml states them; they ask nothing by default.
    lines : tuple of Line
        The lines whose stiffness campaign.toml states.
    mounts : tuple of Mount
        The mounts, with their newest proofs.
    retired : tuple of Retired
        Lines and articles that must no longer be dropped.
    channels : tuple of Channel
        The first force channel, the other legs, accelerometer and supply, as far as stated; a
        leg that nobody calibrated has no scale.
    force_channels : tuple of ForceChannel
        Cells and amplifiers of the other legs.
    sampling : Sampling
        How the board samples, as stated; for plans without it.
    people : tuple of Person
        Who has which role; empty if nobody is named.
    rehearsed : bool
        It is there to practise with.
    units : Units
        Units in which it is shown.
    """

    path: Path
    name: str
    setup: DropSetup = field(default_factory=DropSetup)
    requirement: Requirement = field(default_factory=Requirement)
    dimensions: tuple[Dimension, ...] = ()
    flight: StatedFlight = field(default_factory=StatedFlight)
    calibration: Calibration = field(default_factory=Calibration)
    port: str = ""
    link_timeout_s: float = 2.0
    note: str = ""
    rig: RigLimits = field(default_factory=RigLimits)
    cell: Cell = field(default_factory=Cell)
    amplifier: Amplifier = field(default_factory=Amplifier)
    decision: DecisionRule = field(default_factory=DecisionRule)
    fitted: Fitted = field(default_factory=Fitted)
    lines: tuple[Line, ...] = ()
    articles: tuple[Article, ...] = ()
    mounts: tuple[Mount, ...] = ()
    elements: tuple[Element, ...] = ()
    calibration_stated: bool = False
    calibration_doubts: tuple[str, ...] = ()
    stated_newton_per_volt: float | None = None
    retired: tuple[Retired, ...] = ()
    calibration_left_out: str = ""
    channels: tuple[Channel, ...] = ()
    force_channels: tuple[ForceChannel, ...] = ()
    sampling: Sampling = field(default_factory=Sampling)
    laboratory: Laboratory = field(default_factory=Laboratory)
    qualification: Qualification = field(default_factory=Qualification)
    atmosphere: Atmosphere = field(default_factory=Atmosphere)
    retirement: Retirement = field(default_factory=Retirement)
    people: tuple[Person, ...] = ()
    rehearsed: bool = False
    units: Units = SI

    @property
    def legs(self) -> tuple[Channel, ...]:
        """The force channels beyond the first, with their calibrations."""
        return tuple(one for one in self.channels[1:] if one.role == FORCE)

    def for_channel(self, name: str) -> Campaign:
        """The campaign as seen by one force channel: with its cell, amplifier and calibration.

        Raises
        ------
        CampaignError
            If it does not have that channel.
        """
        if name in ("", self.cell.channel):
            return self
        leg = next((one for one in self.force_channels if one.name == name), None)
        if leg is None:
            names = (self.cell.channel, *(one.name for one in self.force_channels))
            raise CampaignError(
                f"channel {name!r} is not in campaign.toml; {meant(name, names)}: add it as "
                "[[force_channel]]"
            )
        used = channel_for(self.channels, name).calibration
        return replace(
            self,
            cell=leg.cell,
            amplifier=leg.amplifier,
            calibration=used or leg.base(self.calibration),
            calibration_stated=used is not None,
            stated_newton_per_volt=None,
        )

    @property
    def promised_newton_per_volt(self) -> float | None:
        """Slope by the cell's certificate or data sheet and the gain, or None."""
        return promised_slope(self.cell, self.amplifier)

    @property
    def not_promised(self) -> tuple[str, ...]:
        """What is missing for that slope, by the names in campaign.toml."""
        needed = {
            "[cell] rated_n": self.cell.rated_n,
            "[cell] sensitivity_mv_per_v": self.cell.best_mv_per_v,
            "[cell] excitation_v": self.cell.excitation_v,
            "[amplifier] gain": self.amplifier.gain,
        }
        return tuple(name for name, value in needed.items() if not value)

    def line(self, name: str) -> Line | None:
        """The line with this name, or None."""
        return next((line for line in self.lines if line.name == name), None)

    @property
    def folder(self) -> Path:
        """Where its records are."""
        return self.path.parent


def read_campaign(path: str | os.PathLike[str], *, to_drop: bool = True) -> Campaign:
    """Read a campaign.toml, given the file or its folder.

    Parameters
    ----------
    path : path
        The file, or its folder.
    to_drop : bool
        The newest calibration must be readable; else one that is not is left out, and named in
        `calibration_left_out`.

    Raises
    ------
    CampaignError
        With every mistake in the file at once, in `problems`.
    """
    where = _file_at(Path(path))
    stated = read_stated(where)
    used = calibration_in_force(where.parent, stated, to_drop=to_drop)
    channels = _channels(where.parent, stated, used.calibration, to_drop=to_drop)
    return _campaign(where, stated, used, channels)


def _campaign(
    where: Path, stated: Stated, used: CalibrationInForce, channels: tuple[Channel, ...]
) -> Campaign:
    """What is stated, with what was measured later in its place."""
    return Campaign(
        path=where,
        name=stated.campaign.name or where.absolute().parent.name,
        note=stated.campaign.note,
        laboratory=stated.laboratory,
        people=stated.person,
        qualification=stated.qualification,
        atmosphere=stated.atmosphere,
        retirement=stated.retirement,
        setup=stated.setup,
        requirement=stated.requirement,
        flight=stated.flight,
        dimensions=stated.dimension,
        calibration=used.calibration,
        calibration_stated=used.stated,
        calibration_doubts=used.doubts,
        calibration_left_out=used.left_out,
        stated_newton_per_volt=stated.newton_per_volt,
        port=stated.board.port,
        link_timeout_s=stated.board.link_timeout_s,
        rig=stated.rig,
        cell=stated.cell,
        amplifier=stated.amplifier,
        decision=stated.decision,
        fitted=stated.fitted,
        lines=tuple(line.line for line in stated.line if line.line is not None),
        articles=stated.article,
        mounts=_with_proofs(where.parent, stated),
        elements=stated.element,
        retired=stated.retired,
        channels=channels,
        force_channels=stated.force_channel,
        sampling=Sampling(stated.board.chip, len(channels), stated.board.sample_rate_hz),
        rehearsed=stated.rehearsed,
        units=stated.display.units,
    )


def _file_at(place: Path) -> Path:
    is_folder = place.is_dir() and place.name != CAMPAIGN_FILE
    return place / CAMPAIGN_FILE if is_folder else place


def _channels(
    folder: Path, stated: Stated, first: Calibration, *, to_drop: bool
) -> tuple[Channel, ...]:
    """The first force channel, and all others that are stated."""
    found = [Channel(stated.cell.channel, first)]
    for leg in stated.force_channel:
        used = None
        try:
            if newest_file(folder, leg.name) is not None:
                used = newest_calibration(folder, leg.base(stated.calibration), leg.name)
        except CampaignError:
            if to_drop:
                raise
        found.append(Channel(leg.name, used))
    if stated.accelerometer.volt_per_m_s2:
        found.append(Channel(ACCELERATION, stated.accelerometer))
    if stated.excitation.divider_ratio:
        found.append(Channel(EXCITATION, stated.excitation))
    return tuple(found)


def read_stated(path: Path) -> Stated:
    """What a campaign.toml states, without later measurements.

    Raises
    ------
    CampaignError
        With every mistake in the file at once, in `problems`.
    """
    content, text = _parsed(path)
    mistakes = mistakes_in(content, text)
    if mistakes:
        raise file_mistakes(path, mistakes)
    stated = stated_in(content)
    mistakes = contradictions(stated)
    if mistakes:
        raise file_mistakes(path, mistakes)
    return stated


def _with_proofs(folder: Path, stated: Stated) -> tuple[Mount, ...]:
    """The mounts with their newest proofs; proofs that cannot be read prove nothing."""
    mounts = stated.mount
    try:
        proofs = counting_proofs(folder, rehearsed=stated.rehearsed)
    except CampaignError as problem:
        return tuple(replace(mount, proven_n=0.0, failed=str(problem)) for mount in mounts)
    names = [mount.name for mount in mounts]
    return tuple(
        replace(proven(mount, proofs), failed_elsewhere=failed_elsewhere(mount, names, proofs))
        for mount in mounts
    )


def _parsed(path: Path) -> tuple[dict[str, Any], str]:
    text = ""
    try:
        text = read_text(path)
        return parsed(text), text
    except FileNotFoundError as problem:
        traces = traces_of_campaign(path.parent)
        if traces:
            raise CampaignError(
                f"{path} cannot be read, but the folder holds {' and '.join(traces)}: restore "
                "it, or work in another folder"
            ) from problem
        raise CampaignError(
            f"{path} does not exist: make a campaign with `tautlog init`, or give its folder"
        ) from problem
    except OSError as problem:
        raise CampaignError(f"{path} cannot be read: {problem.strerror}") from problem
    except UnicodeDecodeError as problem:
        raise CampaignError(f"{path} is not UTF-8 text (byte {problem.start})") from problem
    except (ValueError, RecursionError) as problem:
        # TOMLDecodeError ends in "(at line 3, column 7)"; int refuses thousands of digits.
        end = f"at line {len(text.splitlines())}, the last"
        why = str(problem).replace("at end of document", end)
        mistake = f"cannot be read as TOML: {short(why, 200, quoted=False)}"
        raise file_mistakes(path, [mistake]) from problem
