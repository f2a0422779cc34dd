"""Intended: the facts of an intended drop, gathered from the campaign for the gate."""

from __future__ import annotations

from dataclasses import replace

from tautlog.archive.catalogue import catalogued
from tautlog.archive.kept_check import not_as_kept
from tautlog.archive.summary import RecordSummary
from tautlog.campaign.bring_ups import proving_of
from tautlog.campaign.campaign import Campaign
from tautlog.campaign.condemned import condemned
from tautlog.campaign.ledger import exposures, read_entries
from tautlog.campaign.retirement import worn_out
from tautlog.model.display_units import SI, Units
from tautlog.model.leg_facts import read_leg_facts
from tautlog.model.line import Line
from tautlog.model.load_path import Mount
from tautlog.model.stream import Instrument
from tautlog.model.trace import DropSetup
from tautlog.planning.electronics_advice import Electrics
from tautlog.planning.gate import Intended
from tautlog.planning.lines import line_for
from tautlog.planning.reckoned import Load, earlier_loads


def intended_for(
    campaign: Campaign,
    setup: DropSetup,
    line: Line | None = None,
    friction_n: float | None = None,
    instrument: Instrument | None = None,
    units: Units = SI,
) -> Intended:
    """Gather the facts of a drop.

    Parameters
    ----------
    campaign, setup : Campaign, DropSetup
        What it is done with, and how.
    line, friction_n, instrument : Line, float, Instrument, optional
        As planned, and the board that greeted (default: as set up, the rig's friction, none yet).
    units : Units, optional
        Units in which the checks are said; SI for all that is kept.
    """
    mount, records = mount_of(campaign, setup.mount), catalogued(campaign.folder)
    return replace(
        _of_campaign(campaign),
        mass_kg=setup.mass_kg,
        height_m=setup.height_m,
        target_n=setup.target_n,
        upper_n=setup.upper_n,
        earlier=_earlier(records, setup, units),
        condemned=_condemned(campaign, records, setup, units),
        line=line or line_for(campaign, setup.line),
        friction_n=campaign.rig.friction_n if friction_n is None else friction_n,
        line_name=setup.line,
        article=setup.article,
        mount_name=setup.mount,
        mount=mount,
        drops_since_proof=None if mount is None else drops_since_proof(campaign, mount, records),
        end_state=setup.end_state,
        proving=proving_of(campaign, instrument),
        leg_facts=read_leg_facts(setup.leg_facts),
        departures=campaign.atmosphere.departures(setup.surroundings),
        units=units,
    )


def _of_campaign(campaign: Campaign) -> Intended:
    """The facts that are the same for every drop of a campaign."""
    return Intended(
        mass_kg=None,
        height_m=None,
        line=None,
        rig=campaign.rig,
        elements=campaign.elements,
        lines=tuple(line.name for line in campaign.lines),
        articles=tuple(article.name for article in campaign.articles),
        mounts=tuple(mount.name for mount in campaign.mounts),
        proof_factor=campaign.decision.proof_factor,
        mount_over_article=campaign.decision.mount_over_article,
        electrics=electrics_of(campaign),
        calibration=campaign.calibration,
        calibration_doubts=campaign.calibration_doubts,
        promised_newton_per_volt=campaign.promised_newton_per_volt,
        not_promised=campaign.not_promised,
        legs=campaign.legs,
        channel=campaign.cell.channel,
        not_kept=not_as_kept(campaign.folder),
    )


def _condemned(
    campaign: Campaign, records: list[RecordSummary], setup: DropSetup, units: Units
) -> tuple[str, ...]:
    """Why article or line must not be dropped: by inspection, by name, or by the rules."""
    entries = read_entries(campaign.folder)
    worn = worn_out(campaign.retirement, records, entries, campaign.lines, units=units)
    return condemned(records, campaign.retired + worn, article=setup.article, line=setup.line)


def _earlier(records: list[RecordSummary], setup: DropSetup, units: Units) -> tuple[Load, ...]:
    drop = {"mass_kg": setup.mass_kg, "height_m": setup.height_m}
    return earlier_loads(records, line=setup.line, units=units, **drop)


def mount_of(campaign: Campaign, name: str) -> Mount | None:
    """The mount of this name; without a name, the campaign's only mount; else None."""
    if not name:
        return campaign.mounts[0] if len(campaign.mounts) == 1 else None
    return next((mount for mount in campaign.mounts if mount.name == name), None)


def drops_since_proof(
    campaign: Campaign, mount: Mount, records: list[RecordSummary] | None = None
) -> int:
    """Drops that a mount has seen since its proof, from records and ledger."""
    found = exposures(
        catalogued(campaign.folder) if records is None else records,
        read_entries(campaign.folder),
        [(mount.name, mount.proven_on)],
    )
    return next(
        exposure.drops
        for exposure in found
        if (exposure.kind, exposure.name) == ("mount", mount.name)
    )


def electrics_of(campaign: Campaign | None) -> Electrics:
    """The measuring chain, as far as the campaign states it."""
    if campaign is None:
        return Electrics()
    cell, amplifier, calibration = campaign.cell, campaign.amplifier, campaign.calibration
    return Electrics(
        rated_n=cell.rated_n,
        sensitivity_mv_per_v=cell.sensitivity_mv_per_v,
        excitation_v=cell.excitation_v,
        gain=amplifier.gain,
        zero_v=calibration.zero_v or amplifier.zero_v,
        rail_high_v=calibration.rail_high_v,
        reference_v=calibration.reference_v,
        converter_bits=calibration.converter_bits,
        bandwidth_hz=calibration.bandwidth_hz,
        filter_poles=calibration.filter_poles,
        converter=calibration.converter,
        weights_n=calibration.range_n,
        sample_rate_hz=campaign.sampling.sample_rate_hz,
    )
