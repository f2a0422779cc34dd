"""People: who did what in the drops of a report."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from tautlog.campaign.campaign import Campaign
from tautlog.display.report.contents import Item
from tautlog.display.report.drops import override_text
from tautlog.display.report.instruments import NOT_STATED, numbers
from tautlog.display.report.sources import Source
from tautlog.files.strict_json import read_object

ROLES = (
    *("runs the drop", "second person at the checklist", "inspects the article"),
    *("decides on the test", "overrode a refusal", "chose another calibration"),
)
_MUST = ROLES[0], ROLES[2], ROLES[3]  # a role that nobody has is named, too


def people_items(sources: Sequence[Source], campaign: Campaign | None) -> tuple[Item, ...]:
    """Roles with their names, and the drops of each name."""
    found: dict[tuple[str, str], list[Source]] = {}
    for source in sources:
        for role, name in _named(source):
            if name:
                found.setdefault((role, name), []).append(source)
    items = [
        Item(role, (name,), numbers(found[role, name]))
        for role in ROLES
        for name in sorted(name for known, name in found if known == role)
    ]
    known = {role for role, _ in found}
    items += [Item(role, ("nobody is named",)) for role in _MUST if role not in known]
    if campaign is not None:
        items.append(Item("who is to decide", (campaign.decision.decides or NOT_STATED,)))
        items.append(Item("authorises the report", (campaign.laboratory.authorises or NOT_STATED,)))
    return tuple(items)


def _named(source: Source) -> Iterator[tuple[str, str]]:
    record, setup = source.record, source.record.setup
    yield ROLES[0], setup.operator
    yield from _of_checklist(setup.checklist)
    for inspection in record.inspections:
        yield ROLES[2], inspection.by
    for decision in record.decisions:
        yield ROLES[3], decision.by
    override = override_text(setup.override)
    if override:
        yield ROLES[4], override.by
    if source.drop.calibration.chosen:
        yield ROLES[5], source.drop.calibration.chosen.by


def _of_checklist(text: str) -> Iterator[tuple[str, str]]:
    try:
        checklist = read_object(text) if text else {}
    except (ValueError, TypeError):
        return
    yield ROLES[0], str(checklist.get("operator", ""))
    yield ROLES[1], str(checklist.get("second", ""))
