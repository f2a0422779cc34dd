"""People: who did what in the drops of a report."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from tautlog.campaign.campaign import Campaign
from tautlog.campaign.people import (
    CALIBRATOR,
    DECIDER,
    INSPECTOR,
    OPERATOR,
    OVERRIDER,
    ROLES,
    SECOND,
    Act,
)
from tautlog.display.report.contents import Item
from tautlog.display.report.drops import override_text
from tautlog.display.report.instruments import NOT_STATED, numbers
from tautlog.display.report.sources import Source
from tautlog.files.strict_json import read_object

_MUST = OPERATOR, INSPECTOR, DECIDER  # a role that nobody has is named, too


def people_items(sources: Sequence[Source], campaign: Campaign | None) -> tuple[Item, ...]:
    """Roles with their names, and the drops of each name."""
    found: dict[tuple[str, str], list[Source]] = {}
    for source in sources:
        for act in acts_in(source):
            if act.by:
                found.setdefault((act.role, act.by), []).append(source)
    items = [
        Item(ROLES[role], (name,), numbers(found[role, name]))
        for role in ROLES
        for name in sorted(name for known, name in found if known == role)
    ]
    known = {role for role, _ in found}
    items += [Item(ROLES[role], ("nobody is named",)) for role in _MUST if role not in known]
    if campaign is not None:
        items += [Item("named in campaign.toml", (one.name, one.roles)) for one in campaign.people]
        items.append(Item("who is to decide", (campaign.decision.decides or NOT_STATED,)))
        items.append(Item("authorises the report", (campaign.laboratory.authorises or NOT_STATED,)))
    return tuple(items)


def acts_in(source: Source) -> Iterator[Act]:
    """What people did in one drop, and in which role."""
    record, setup = source.record, source.record.setup
    yield Act(OPERATOR, setup.operator)
    yield from _of_checklist(setup.checklist)
    for inspection in record.inspections:
        yield Act(INSPECTOR, inspection.by)
    for decision in record.decisions:
        yield Act(DECIDER, decision.by)
    override = override_text(setup.override)
    if override:
        yield Act(OVERRIDER, override.by)
    if source.drop.calibration.chosen:
        yield Act(CALIBRATOR, source.drop.calibration.chosen.by)


def _of_checklist(text: str) -> Iterator[Act]:
    try:
        checklist = read_object(text) if text else {}
    except (ValueError, TypeError):
        return
    yield Act(OPERATOR, str(checklist.get("operator", "")))
    yield Act(SECOND, str(checklist.get("second", "")))
