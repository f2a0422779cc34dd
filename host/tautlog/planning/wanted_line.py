"""Wanted line: the line of a plan, from the given values and the campaign."""

from __future__ import annotations

from dataclasses import replace

from tautlog.campaign.campaign import Campaign
from tautlog.errors import PlanError
from tautlog.model.line import STIFFNESS_U_FRACTION, Line, stiffness_of_pull, stiffness_of_rope
from tautlog.model.names import meant
from tautlog.planning.lines import line_for
from tautlog.planning.wanted import Wanted


def wanted_line(campaign: Campaign | None, wanted: Wanted) -> Line | None:
    """The line to plan with, or None if its stiffness is not known.

    A given stiffness replaces the stiffness of the named line. The line keeps its hardening and
    damping, unless they are given, too.

    Raises
    ------
    PlanError
        If neither campaign.toml nor the records have a line of this name.
    """
    name = wanted.line or (campaign.setup.line if campaign else "") or "line"
    line = _restated(_known_line(campaign, wanted, name), name, wanted)
    if line is None:
        return None
    if wanted.hardening_per_m2 is not None:
        line = replace(line, hardening_per_m2=wanted.hardening_per_m2, trend=None)
    if wanted.damping_ratio is not None:
        line = replace(line, damping_ratio=wanted.damping_ratio, trend=None)
    return line


def _known_line(campaign: Campaign | None, wanted: Wanted, name: str) -> Line | None:
    """The line as campaign and records know it."""
    if campaign is None:
        return None
    line = line_for(campaign, name)
    unknown = line is None and (wanted.line or (campaign.lines and not wanted.stiffness_given_by))
    if unknown:
        raise PlanError(
            f"line {name!r} is neither in campaign.toml nor in the records; "
            f"{meant(name, [known.name for known in campaign.lines])}"
        )
    return line


def _restated(known: Line | None, name: str, wanted: Wanted) -> Line | None:
    """A line with the given stiffness, or the known line."""
    if wanted.stiffness_n_per_m:
        return _replaced(known, name, wanted.stiffness_n_per_m, None, "--stiffness")
    if wanted.modulus_n and wanted.length_m:
        stiffness = stiffness_of_rope(wanted.modulus_n, wanted.length_m)
        return _replaced(known, name, stiffness, None, "--modulus / --length")
    if wanted.pulls:
        stiffness, hardening = stiffness_of_pull(list(wanted.pulls))
        return _replaced(known, name, stiffness, hardening, "--pull")
    return known


def _replaced(
    known: Line | None, name: str, stiffness: float, hardening: float | None, by: str
) -> Line:
    """A known line with another stiffness, or a new line with only a stiffness."""
    if known is None:
        return Line(name, stiffness, hardening or 0.0, source=by)
    kept = "damping" if hardening is not None else "hardening and damping"
    return replace(
        known,
        stiffness_n_per_m=stiffness,
        hardening_per_m2=known.hardening_per_m2 if hardening is None else hardening,
        stiffness_u_fraction=STIFFNESS_U_FRACTION,
        trend=None,
        source=f"{by}, in place of {known.stiffness_n_per_m:.5g} N/m; {kept} from {known.source}",
    )
