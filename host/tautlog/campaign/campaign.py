"""Campaign: a folder of records with one campaign.toml.

The file says once what holds for every drop; what was measured since goes over it: the newest
calibration, and the proofs of the mounts.
"""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from tautlog.campaign.calibration_in_force import calibration_in_force, promised_slope
from tautlog.campaign.condemned import Retired
from tautlog.campaign.mistakes import contradictions, file_mistakes, mistakes_in
from tautlog.campaign.proofs import failed_elsewhere, proven, read_proofs
from tautlog.campaign.sections import Amplifier, Article, Cell, DecisionRule, Requirement, Rig
from tautlog.campaign.stated import Stated, stated_in
from tautlog.errors import CampaignError
from tautlog.files.campaign_folder import CAMPAIGN_FILE
from tautlog.model.calibration import Calibration
from tautlog.model.line import Line
from tautlog.model.load_path import Element, Mount
from tautlog.model.names import short
from tautlog.model.trace import DropSetup


@dataclass(frozen=True)
class Campaign:
    """A campaign as it stands.

    Attributes
    ----------
    path : Path
        The file; its folder is the campaign's.
    name : str
        Name of the campaign; that of its folder where the file has none.
    setup : DropSetup
        What holds for a drop unless told otherwise.
    requirement : Requirement
        Where the target comes from.
    calibration, calibration_stated, calibration_doubts, calibration_left_out : ...
        That in force; see `calibration_in_force.InForce`.
    stated_newton_per_volt : float or None
        As campaign.toml says; its sign is that of the chain.
    port, link_timeout_s : str, float
        Serial port, or "" to find the board; patience with it.
    note : str
        Remarks.
    rig, cell, amplifier, decision, articles, elements : ...
        As campaign.toml states them.
    lines : tuple of Line
        Those whose stiffness it tells.
    mounts : tuple of Mount
        With their newest proofs.
    retired : tuple of Retired
        Lines and articles that must not be dropped any more.
    """

    path: Path
    name: str
    setup: DropSetup = field(default_factory=DropSetup)
    requirement: Requirement = field(default_factory=Requirement)
    calibration: Calibration = field(default_factory=Calibration)
    port: str = ""
    link_timeout_s: float = 2.0
    note: str = ""
    rig: Rig = field(default_factory=Rig)
    cell: Cell = field(default_factory=Cell)
    amplifier: Amplifier = field(default_factory=Amplifier)
    decision: DecisionRule = field(default_factory=DecisionRule)
    lines: tuple[Line, ...] = ()
    articles: tuple[Article, ...] = ()
    mounts: tuple[Mount, ...] = ()
    elements: tuple[Element, ...] = ()
    calibration_stated: bool = False
    calibration_doubts: tuple[str, ...] = ()
    stated_newton_per_volt: float | None = None
    retired: tuple[Retired, ...] = ()
    calibration_left_out: str = ""

    @property
    def promised_newton_per_volt(self) -> float | None:
        """Slope that the cell's certificate or sheet and the gain promise, or None."""
        return promised_slope(self.cell, self.amplifier)

    @property
    def not_promised(self) -> tuple[str, ...]:
        """What lacks for such a promise, by the names in campaign.toml."""
        told = {
            "[cell] rated_n": self.cell.rated_n,
            "[cell] sensitivity_mv_per_v": self.cell.best_mv_per_v,
            "[cell] excitation_v": self.cell.excitation_v,
            "[amplifier] gain": self.amplifier.gain,
        }
        return tuple(name for name, value in told.items() if not value)

    def line(self, name: str) -> Line | None:
        """The line of a name, or None."""
        return next((one for one in self.lines if one.name == name), None)

    @property
    def folder(self) -> Path:
        """Where its records are."""
        return self.path.parent


def read_campaign(path: str | os.PathLike[str], *, to_drop: bool = True) -> Campaign:
    """Read a campaign.toml, or that of a folder.

    Parameters
    ----------
    path : path
        The file, or its folder.
    to_drop : bool
        The newest calibration must be readable. Without it, for what only looks back, one
        that is not is left out and named in `calibration_left_out`.

    Raises
    ------
    CampaignError
        With every mistake in the file at once, in `problems`.
    """
    where = Path(path)
    if where.is_dir():
        where = where / CAMPAIGN_FILE
    said = read_stated(where)
    used = calibration_in_force(where.parent, said, to_drop=to_drop)
    return Campaign(
        path=where,
        name=said.campaign.name or where.absolute().parent.name,
        note=said.campaign.note,
        setup=said.setup,
        requirement=said.requirement,
        calibration=used.calibration,
        calibration_stated=used.stated,
        calibration_doubts=used.doubts,
        calibration_left_out=used.left_out,
        stated_newton_per_volt=said.newton_per_volt,
        port=said.board.port,
        link_timeout_s=said.board.link_timeout_s,
        rig=said.rig,
        cell=said.cell,
        amplifier=said.amplifier,
        decision=said.decision,
        lines=tuple(one.line for one in said.line if one.line is not None),
        articles=said.article,
        mounts=_with_proofs(where.parent, said.mount),
        elements=said.element,
        retired=said.retired,
    )


def read_stated(path: Path) -> Stated:
    """What a campaign.toml states, without what was measured since.

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


def _with_proofs(folder: Path, mounts: tuple[Mount, ...]) -> tuple[Mount, ...]:
    """The mounts with their newest proofs; what cannot be read proves nothing."""
    try:
        proofs = read_proofs(folder)
    except CampaignError as problem:
        return tuple(replace(one, proven_n=0.0, failed=str(problem)) for one in mounts)
    names = [one.name for one in mounts]
    return tuple(
        replace(proven(one, proofs), failed_elsewhere=failed_elsewhere(one, names, proofs))
        for one in mounts
    )


def _parsed(path: Path) -> tuple[dict[str, Any], str]:
    text = ""
    try:
        text = path.read_bytes().decode("utf-8-sig") + "\n"
        return tomllib.loads(text), text
    except FileNotFoundError as problem:
        raise CampaignError(
            f"{path} is not there: make one with `tautlog init`, or name the folder that has it"
        ) from problem
    except OSError as problem:
        raise CampaignError(f"{path} cannot be read: {problem.strerror}") from problem
    except UnicodeDecodeError as problem:
        raise CampaignError(f"{path} is not UTF-8 text (byte {problem.start})") from problem
    except (ValueError, RecursionError) as problem:
        # TOMLDecodeError ends in "(at line 3, column 7)"; int refuses thousands of digits.
        end = f"at line {len(text.splitlines())}, the last"
        why = str(problem).replace("at end of document", end)
        told = [f"no valid TOML: {short(why, 200, quoted=False)}"]
        raise file_mistakes(path, told) from problem
