"""Granting: whether a campaign permits a drop, and who overrides a refusal.

The gate's facts are gathered here, from the campaign and from the set-up of this drop. A named
person may override most refusals; name, reason and the refusal go into the record.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from tautlog.archive.summary import summary_of
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.checklist import fresh_checklist, why_void
from tautlog.campaign.ledger import LedgerEntry, add_entry, all_entries
from tautlog.campaign.people import require_at_the_list
from tautlog.campaign.zone import require_looked
from tautlog.drop.permit import CHECKED, NOT_CHECKED, REHEARSAL, Permit, grant
from tautlog.drop.wires import MAY_OVERRIDE, Wires, override_text
from tautlog.errors import CampaignError, RefusedError
from tautlog.model.calibration import Calibration
from tautlog.model.channels import Channel
from tautlog.model.display_units import SI, Units
from tautlog.model.load_path import PathCheck
from tautlog.model.signature import signed
from tautlog.model.stream import Instrument
from tautlog.model.timestamp import stamp
from tautlog.model.trace import DropSetup
from tautlog.planning.gate import aim_checks, refusals, surroundings_checks
from tautlog.planning.intended import intended_for

NO_CAMPAIGN = (
    "NOT CHECKED: there is no campaign.toml here. Mount, load path, catch, cell, calibration and "
    "wires of this drop are unknown, and only the board can refuse it"
)


def permitted(
    campaign: Campaign | None,
    setup: DropSetup,
    *,
    by: str = "",
    reason: str = "",
    say: Callable[[str], None],
    calibration: Calibration | None = None,
    units: Units = SI,
) -> Permit:
    """Return the permit for `drop.run_drop`, if the campaign permits the drop.

    Its set-up holds checklist and override. The board has its own interlocks as well; this
    check can only refuse.

    Parameters
    ----------
    campaign : Campaign or None
        If None, nothing can be checked: that is said, and goes into the record.
    setup : DropSetup
        The set-up of the drop, with its line, article and mount.
    by, reason : str
        Who overrides a refusal, and why; both or neither.
    say : callable
        Gets what people must know.
    calibration : Calibration, optional
        Used if there is no campaign; a campaign has its own.
    units : Units, optional
        Units in which it is said; what is kept is in SI.

    Raises
    ------
    RefusedError
        With all reasons, unless a named person overrides them all; or if people must stay out.
    """
    setup = replace(setup, checklist="", override="")
    if campaign is None:
        say(NO_CAMPAIGN)
        setup = replace(setup, override=override_text(by, reason or "no campaign", NO_CAMPAIGN))
        return grant(setup, calibration or Calibration(), "", NOT_CHECKED)
    setup = replace(setup, checklist=_checklist(campaign, say))
    intended = intended_for(campaign, setup)
    seen = intended if units.are_si else intended_for(campaign, setup, units=units)
    for check in (*surroundings_checks(seen), *aim_checks(seen)):
        say(f"LOOK: {check.text}")
    if found := refusals(intended):
        say(f"OVERRIDE by {by}: {_overridden(refusals(seen), by, reason)}")
        setup = replace(setup, override=override_text(by, reason, _all_of(found)))
    wires = Wires(intended.proving, by, reason, practises=campaign.rehearsed)
    return _granted(campaign, setup, wires)


def _granted(campaign: Campaign, setup: DropSetup, wires: Wires) -> Permit:
    zero_v, channels = campaign.amplifier.zero_v, campaign.channels
    used, name = campaign.calibration, campaign.name
    return grant(setup, used, name, CHECKED, zero_v, channels, wires, campaign.folder)


def _checklist(campaign: Campaign, say: Callable[[str], None]) -> str:
    """The fresh checklist, or "" if none is required.

    Raises
    ------
    RefusedError
        If the campaign requires one and none is fresh, or it is by others than those named; if
        people must stay out, for then nobody can have gone through it.
    """
    require_looked(campaign.folder)
    made = fresh_checklist(campaign.folder)
    required = campaign.decision.checklist == "required"
    if made is not None:
        try:
            persons = made.operator, made.second
            look = require_at_the_list(campaign.people, *persons, required=required)
        except CampaignError as problem:
            raise RefusedError(str(problem)) from problem
        for text in look:
            say(f"LOOK: {text}")
        return made.text()
    why = why_void(campaign.folder)
    seen = f"the checklist is void ({why})" if why else "there is no fresh checklist"
    if required:
        raise RefusedError(f"{seen}: go through `tautlog check` with two persons")
    say(f"{seen} (`tautlog check`): none goes into the record")
    return ""


def _overridden(found: tuple[PathCheck, ...], by: str, reason: str) -> str:
    """The refusals that a named person overrides, in words.

    Raises
    ------
    RefusedError
        If a refusal cannot be overridden, or nobody overrides it.
    """
    reasons = tuple(check.text for check in found)
    final = [check.text for check in found if check.final]
    if final:
        others = [text for text in reasons if text not in final]
        besides = f". Also refused: {'; '.join(others)}" if others else ""
        raise RefusedError(
            f"refused, and nobody may override it: {'; '.join(final)}{besides}", reasons=reasons
        )
    refused = _all_of(found)
    if not signed(by) or not signed(reason):
        raise RefusedError(f"{refused}. {MAY_OVERRIDE}", reasons=reasons)
    return refused


def _all_of(found: tuple[PathCheck, ...]) -> str:
    return "; ".join(check.text for check in found)


def rehearsal(
    setup: DropSetup, calibration: Calibration, channels: tuple[Channel, ...] = ()
) -> Permit:
    """Return a permit for a drop on a simulated rig; it is refused with a real board."""
    return grant(setup, calibration, "rehearsal", REHEARSAL, channels=channels)


def withheld(
    campaign: Campaign,
    setup: DropSetup,
    *,
    by: str = "",
    reason: str = "",
    instrument: Instrument | None = None,
) -> list[PathCheck]:
    """What `permitted` would refuse now, and what it would override; nothing is granted.

    It is said in the campaign's units of display.
    """
    units = campaign.units
    found = checked_for(campaign, setup, by=by, reason=reason, instrument=instrument, units=units)
    try:
        _checklist(campaign, lambda text: None)
    except RefusedError as problem:
        found.append(PathCheck("checklist", False, str(problem), refuses=True))
    return found


def count_elsewhere(
    campaign: Campaign | None, setup: DropSetup, path: Path, by: str = "tautlog drop"
) -> bool:
    """Enter a drop whose record is outside its campaign's folder into the ledger, once.

    Otherwise it would not count: the ledger counts only records in the folder.

    Parameters
    ----------
    campaign, setup : Campaign or None, DropSetup
        Whose ledger; what was dropped.
    path : Path
        The record.
    by : str
        The program that enters it.

    Returns
    -------
    counted : bool
        Whether the ledger counts it.

    Raises
    ------
    CampaignError
        If the ledger cannot be read or written.
    """
    if campaign is None or not path.exists():
        return False
    if path.parent.resolve() == campaign.folder.resolve():
        return False
    note = f"its record is {path.resolve()}"
    if any(line.entry and line.entry.note == note for line in all_entries(campaign.folder)):
        return True  # also if somebody has corrected that entry
    record = summary_of(path)
    if record.problem or (record.released and not record.rehearsed):
        named = {one: getattr(setup, one) for one in ("article", "line", "mount")}
        add_entry(campaign.folder, LedgerEntry(stamp(), by=by, **named, note=note))
        return True
    return False


def checked_for(
    campaign: Campaign,
    setup: DropSetup,
    *,
    by: str = "",
    reason: str = "",
    instrument: Instrument | None = None,
    units: Units = SI,
) -> list[PathCheck]:
    """The gate's refusals for a checklist; an override by a named person is shown.

    Only refusals are open points: `plan` shows what the campaign does not state. They are said in
    `units`; SI for a list that is kept.
    """
    found = []
    intended = intended_for(campaign, setup, instrument=instrument, units=units)
    for check in refusals(intended):
        if signed(by) and signed(reason) and not check.final:
            text = f"OVERRIDE by {by} ({reason}): {check.text}"
            check = replace(check, holds=True, text=text, refuses=False)
        found.append(check)
    permits = PathCheck("gate", True, "mount, rig, load path and chain permit this drop")
    look = [replace(one, holds=True, text=f"LOOK: {one.text}") for one in aim_checks(intended)]
    return [*(found or [permits]), *look]
