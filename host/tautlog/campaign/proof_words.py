"""Proof words: which mount is meant, and what a proof that was entered means for it."""

from __future__ import annotations

from dataclasses import dataclass

from tautlog.campaign.campaign import Campaign, read_campaign
from tautlog.campaign.drop_setup import mount_name
from tautlog.campaign.proofs import Proof
from tautlog.errors import CampaignError
from tautlog.files.json_lines import Standing
from tautlog.model.display_units import SI, Units
from tautlog.model.load_path import Mount
from tautlog.model.verdict_words import plain_number


@dataclass(frozen=True)
class ProofTold:
    """What an entered proof means.

    Attributes
    ----------
    lines : tuple of str
        In words, the most important first.
    mount_failed : str
        Why nothing may be dropped on the mount by all its proofs, or "".
    """

    lines: tuple[str, ...]
    mount_failed: str


def mount_to_prove(campaign: Campaign, name: str | None) -> Mount:
    """The mount of that name, or the only one.

    Raises
    ------
    CampaignError
        If there is none of that name, or several and none is named.
    """
    if not campaign.mounts:
        raise CampaignError("no campaign.toml here states a [[mount]]: name the mount in it first")
    unnamed = which_mount(campaign, name)
    if unnamed:
        raise CampaignError(unnamed)
    used = mount_name(campaign, name)
    return next(mount for mount in campaign.mounts if mount.name == used)


def which_mount(campaign: Campaign, name: str | None) -> str:
    """Ask which mount is meant if there are several and none is named; else ""."""
    names = ", ".join(mount.name for mount in campaign.mounts)
    several = not name and len(campaign.mounts) > 1
    return f"the campaign has several mounts: name the mount ({names})" if several else ""


def told(campaign: Campaign, made: Proof, number: int) -> ProofTold:
    """What a proof means that was just entered as `number`."""
    failed = mount_failed(campaign, made.mount)
    stiffness = made.stiffness_n_per_m
    units = campaign.units
    rigid = ""
    if stiffness is not None:
        rigid = f", {plain_number(stiffness, 'N/m', units)} {units.of('N/m').name}"
    lines = []
    if made.doubts:
        lines.append(
            f"{made.mount}: kept as {number}. It FAILED: {_why(made, units)}. No drop on this "
            "mount until a newer proof is good"
        )
    elif failed:
        lines.append(f"{made.mount}: kept as {number}, but NO DROP on this mount: {failed}")
    else:
        factor = campaign.decision.proof_factor
        lines.append(
            f"{made.mount}: kept as {number}, proven to {units.text(made.pulled_n, 'N')}{rigid}, "
            f"good for peaks up to {units.text(made.pulled_n / factor, 'N')} (factor {factor:g})"
        )
        if made.unknown:
            lines.append(f"LOOK: {made.unknown}")
    if made.supersedes is not None:
        lines.append(f"it supersedes {made.supersedes}: {made.reason}")
    return ProofTold(tuple(lines), failed)


def mount_failed(campaign: Campaign, name: str) -> str:
    """Why nothing may be dropped on a mount by all its proofs, read anew, or ""."""
    mounts = {known.name: known for known in read_campaign(campaign.path).mounts}
    return mounts[name].failed or mounts[name].failed_elsewhere


def _why(proof: Proof, units: Units) -> str:
    return "; ".join(proof.failures_in(units).values())


def line_of(standing: Standing[Proof], units: Units = SI) -> str:
    """One proof on record, in one line."""
    proof = standing.entry
    text = (
        "cannot be read"
        if proof is None
        else (
            f"{proof.mount}: {units.text(proof.pulled_n, 'N')} for {proof.held_s:g} s, "
            f"by {proof.by}"
            + (f", FAILED: {_why(proof, units)}" if proof.doubts else "")
            + (f" (supersedes {proof.supersedes}: {proof.reason})" if proof.supersedes else "")
        )
    )
    gone = f"; SUPERSEDED by {standing.superseded_by}" if standing.superseded_by else ""
    return f"{standing.number}  {standing.utc}  {text}{gone}"
