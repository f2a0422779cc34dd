"""Proof: the mounts and how far they are proven, the pulls on record, and one entered by hand."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.requests import Request
from starlette.responses import Response

from tautlog.campaign.campaign import Campaign
from tautlog.campaign.proof_words import line_of, mount_to_prove
from tautlog.campaign.proofs import Proof, add_proof, read_proofs
from tautlog.campaign.zone import require_looked
from tautlog.desk.forms import Entered
from tautlog.desk.page import desk_of, entered_at, page
from tautlog.errors import CampaignError, TautlogError
from tautlog.model import quantities as q
from tautlog.model.load_path import PathCheck
from tautlog.model.signature import signed
from tautlog.model.timestamp import stamp


def show(request: Request, said: str = "", entered: Mapping[str, str] | None = None) -> Response:
    """The page."""
    campaign, _ = desk_of(request).campaign_or_why()
    lines, problem = _on_record(campaign)
    return page(
        request,
        "proof.html",
        task="proof",
        said=said,
        status=400 if said else 200,
        typed=dict(entered or {}),
        mounts=[mount.name for mount in campaign.mounts] if campaign else [],
        checks=_checks(campaign),
        lines=lines,
        problem=problem,
    )


def _on_record(campaign: Campaign | None) -> tuple[list[str], str]:
    if campaign is None:
        return [], ""
    try:
        return [line_of(one, campaign.units) for one in read_proofs(campaign.folder)][::-1], ""
    except TautlogError as problem:
        return [], str(problem)


def _checks(campaign: Campaign | None) -> list[PathCheck]:
    """How far each mount is proven."""
    if campaign is None:
        return []
    factor, units = campaign.decision.proof_factor, campaign.units
    found = []
    for mount in campaign.mounts:
        failed = mount.failed or mount.failed_elsewhere
        if failed:
            found.append(PathCheck("proof", False, f"{mount.name}: {failed}", refuses=True))
        elif mount.proven_n <= 0.0:
            text = f"{mount.name}: no pull of it is on record"
            found.append(PathCheck("proof", False, text, refuses=True))
        else:
            text = (
                f"{mount.name}: proven to {units.text(mount.proven_n, 'N')} on "
                f"{mount.proven_on[:10]}, good for peaks up to "
                f"{units.text(mount.proven_n / factor, 'N')} (factor {factor:g})"
            )
            found.append(PathCheck("proof", True, text))
    return found


def enter(request: Request, entered: Entered) -> Response:
    """Enter a pull, whether it held or failed."""
    try:
        campaign = desk_of(request).campaign()
        made = _made(campaign, entered)
        if made.supersedes is None:  # a correction is made at the table
            require_looked(campaign.folder)
        added = add_proof(campaign.folder, made, rehearsed=campaign.rehearsed)
    except TautlogError as problem:
        return show(request, str(problem), entered.texts)
    return entered_at(request, "/proof", "proof", added.doubt)


def _made(campaign: Campaign, entered: Entered) -> Proof:
    """The proof that was typed.

    Raises
    ------
    CampaignError
        If something is missing, or nobody signs it.
    """
    mount = mount_to_prove(campaign, entered.text("mount"))
    pulled_n, held_s = entered.number("pulled_n", q.PULL), entered.number("held_s", q.HELD)
    if pulled_n is None or held_s is None:
        raise CampaignError("a proof needs the force, and how long it was held")
    deflection_mm = entered.number("deflection_mm", q.DEFLECTION_MM)
    set_mm = entered.number("set_mm", q.SET_MM)
    wrong, reason = entered.entry_number("supersedes"), signed(entered.text("reason"))
    if wrong is not None and not reason:
        raise CampaignError("to correct an entry, say why")
    return Proof(
        stamp(),
        entered.text("by"),
        mount.name,
        pulled_n,
        held_s,
        deflection_m=None if deflection_mm is None else deflection_mm / 1000.0,
        set_m=None if set_mm is None else set_mm / 1000.0,
        note=entered.text("note"),
        most_deflection_m=mount.most_deflection_m,
        supersedes=wrong,
        reason=reason,
    )
