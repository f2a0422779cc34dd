"""Permit: whether a campaign lets a drop be done, and on whose word.

The gate's facts are gathered here, from the campaign and from what is said of this drop. A
named person may drop beyond most refusals; name, reason and what was refused go into the
record.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from tautlog.advice import Electrics
from tautlog.archive import RecordSummary, summary_of
from tautlog.calibration import Calibration
from tautlog.campaign import Campaign
from tautlog.catalogue import catalogued
from tautlog.checklist import fresh_checklist
from tautlog.condemned import condemned
from tautlog.errors import RefusedError
from tautlog.gate import Intended, refusals
from tautlog.ledger import add_entry, exposures, read_entries
from tautlog.line import Line
from tautlog.lines import line_for
from tautlog.loadpath import Mount, PathCheck
from tautlog.moment import stamp
from tautlog.permission import CHECKED, NOT_CHECKED, REHEARSAL, Permit, grant
from tautlog.reckoned import earlier_loads
from tautlog.signature import signed
from tautlog.trace import DropSetup

NO_CAMPAIGN = (
    "NOT CHECKED: there is no campaign.toml here. Mount, load path, catch, cell and calibration of "
    "this drop are unknown, and nothing holds it back but the board"
)


def permitted(
    campaign: Campaign | None,
    setup: DropSetup,
    *,
    by: str = "",
    reason: str = "",
    say: Callable[[str], None],
    calibration: Calibration | None = None,
) -> Permit:
    """Return the permit that `drop.run_drop` takes, if the campaign allows the drop.

    Its set-up holds checklist and override. The board's own interlocks come on top; this can
    only withhold.

    Parameters
    ----------
    campaign : Campaign or None
        Without one nothing can be checked: that is said, and goes into the record.
    setup : DropSetup
        Of the drop, with line, article and mount as named for it.
    by, reason : str
        Who drops beyond a refusal, and why; both or none.
    say : callable
        Is told what people must know.
    calibration : Calibration, optional
        Where there is no campaign; a campaign has its own.

    Raises
    ------
    RefusedError
        With every reason, unless a named person takes them all.
    """
    setup = replace(setup, checklist="", override="")
    if campaign is None:
        say(NO_CAMPAIGN)
        setup = replace(setup, override=_told(by, reason or "no campaign", NO_CAMPAIGN))
        return grant(setup, calibration or Calibration(), "", NOT_CHECKED)
    made = fresh_checklist(campaign.folder)
    if made is not None:
        setup = replace(setup, checklist=made.text())
    elif campaign.decision.checklist == "required":
        raise RefusedError("no fresh checklist: go through `tautlog check` with two persons")
    else:
        say("no fresh checklist (`tautlog check`): none goes into the record")
    found = refusals(intended_for(campaign, setup))
    if not found:
        return _granted(campaign, setup)
    reasons = tuple(one.text for one in found)
    refused = "; ".join(reasons)
    final = [one.text for one in found if one.final]
    if final:
        others = [one for one in reasons if one not in final]
        besides = f". Refused besides: {'; '.join(others)}" if others else ""
        raise RefusedError(
            f"refused, and nobody may override it: {'; '.join(final)}{besides}", reasons=reasons
        )
    if not signed(by) or not signed(reason):
        raise RefusedError(
            f"{refused}. A named person may drop all the same: --override-by, --override-reason",
            reasons=reasons,
        )
    say(f"OVERRIDE by {by}: {refused}")
    setup = replace(setup, override=_told(by, reason, refused))
    return _granted(campaign, setup)


def _granted(campaign: Campaign, setup: DropSetup) -> Permit:
    zero_v = campaign.amplifier.zero_v
    return grant(setup, campaign.calibration, campaign.name, CHECKED, zero_v)


def rehearsal(setup: DropSetup, calibration: Calibration) -> Permit:
    """Return the permit of a drop on a simulated rig; no real board takes it."""
    return grant(setup, calibration, "rehearsal", REHEARSAL)


def _told(by: str, reason: str, refused: str) -> str:
    return json.dumps({"by": by or "nobody", "reason": reason, "refused": refused, "utc": stamp()})


def count_elsewhere(campaign: Campaign | None, setup: DropSetup, path: Path) -> None:
    """Enter a drop whose record lies outside its campaign's folder into the ledger.

    Otherwise nobody would count it: only records that lie in the folder are.

    Raises
    ------
    CampaignError
        If the ledger cannot be written.
    """
    if campaign is None or not path.exists():
        return
    if path.parent.resolve() == campaign.folder.resolve():
        return
    one = summary_of(path)
    if one.problem or (one.released and not one.rehearsed):
        add_entry(
            campaign.folder,
            by="tautlog drop",
            article=setup.article,
            line=setup.line,
            mount=setup.mount,
            note=f"its record is {path.resolve()}",
        )


def checked_for(
    campaign: Campaign, setup: DropSetup, *, by: str = "", reason: str = ""
) -> list[PathCheck]:
    """What the gate refuses of a drop, for a checklist; what a named person takes is told.

    Only refusals are open points: what the campaign does not state is told by `plan`.
    """
    found = []
    for one in refusals(intended_for(campaign, setup)):
        if signed(by) and signed(reason) and not one.final:
            text = f"OVERRIDE by {by} ({reason}): {one.text}"
            one = replace(one, holds=True, text=text, refuses=False)
        found.append(one)
    return found or [PathCheck("gate", True, "mount, rig, load path and chain allow this drop")]


def intended_for(
    campaign: Campaign, setup: DropSetup, line: Line | None = None, friction_n: float | None = None
) -> Intended:
    """Gather the facts of a drop that is intended.

    Parameters
    ----------
    campaign : Campaign
        Whose rig, mounts, load path and chain.
    setup : DropSetup
        Mass, height, line, article and mount of this very drop.
    line : Line, optional
        As planned; without it the line of the set-up's name.
    friction_n : float, optional
        As planned; without it the rig's.
    """
    mount = mount_of(campaign, setup.mount)
    records = catalogued(campaign.folder)
    return Intended(
        mass_kg=setup.mass_kg,
        height_m=setup.height_m,
        target_n=setup.target_n,
        earlier=earlier_loads(
            records, line=setup.line, mass_kg=setup.mass_kg, height_m=setup.height_m
        ),
        condemned=condemned(records, campaign.retired, article=setup.article, line=setup.line),
        line=line or line_for(campaign, setup.line),
        friction_n=campaign.rig.friction_n if friction_n is None else friction_n,
        line_name=setup.line,
        article=setup.article,
        mount_name=setup.mount,
        mount=mount,
        drops_since_proof=None if mount is None else drops_since_proof(campaign, mount, records),
        rig=campaign.rig,
        elements=campaign.elements,
        electrics=electrics_of(campaign),
        calibration=campaign.calibration,
        calibration_doubts=campaign.calibration_doubts,
        promised_newton_per_volt=campaign.promised_newton_per_volt,
        not_promised=campaign.not_promised,
        lines=tuple(one.name for one in campaign.lines),
        articles=tuple(one.name for one in campaign.articles),
        mounts=tuple(one.name for one in campaign.mounts),
        proof_factor=campaign.decision.proof_factor,
        mount_over_article=campaign.decision.mount_over_article,
        end_state=setup.end_state,
    )


def mount_of(campaign: Campaign, name: str) -> Mount | None:
    """The mount of a name, or the campaign's only one; None where neither is."""
    if not name:
        return campaign.mounts[0] if len(campaign.mounts) == 1 else None
    return next((one for one in campaign.mounts if one.name == name), None)


def drops_since_proof(
    campaign: Campaign, mount: Mount, records: list[RecordSummary] | None = None
) -> int:
    """Drops that a mount has seen since its proof, by records and ledger."""
    found = exposures(
        catalogued(campaign.folder) if records is None else records,
        read_entries(campaign.folder),
        [(mount.name, mount.proven_on)],
    )
    return next(one.drops for one in found if (one.kind, one.name) == ("mount", mount.name))


def electrics_of(campaign: Campaign | None) -> Electrics:
    """The measuring chain, as far as the campaign tells it."""
    if campaign is None:
        return Electrics()
    cell, amplifier, calibration = campaign.cell, campaign.amplifier, campaign.calibration
    return Electrics(
        rated_n=cell.rated_n,
        sensitivity_mv_per_v=cell.sensitivity_mv_per_v,
        excitation_v=cell.excitation_v,
        gain=amplifier.gain,
        zero_v=amplifier.zero_v,
        rail_high_v=calibration.rail_high_v,
        reference_v=calibration.reference_v,
        converter_bits=calibration.converter_bits,
        bandwidth_hz=calibration.bandwidth_hz,
    )
