"""Fields: what ISO/IEC 17025 asks of a test report, and what this report holds of it.

The list is that of ISO/IEC 17025:2017, 7.8.2.1 a) to p), as published page by page in a public
study text (qm-dag.pages.dev, "Common requirements for reports"; the standard itself was not at
hand); the conditions of 7.8.3.1 are from memory, the statement of conformity of 7.8.6.2 as in the
same text. The words are ours. Nothing here says that a laboratory or a report conforms: most of
the standard is about the laboratory.
"""

from __future__ import annotations

from collections.abc import Sequence

from tautlog.campaign.campaign import Campaign
from tautlog.campaign.laboratory import Laboratory
from tautlog.display.report.conditions import conditions_text
from tautlog.display.report.contents import Item
from tautlog.display.report.instruments import NOT_STATED, drops_text
from tautlog.display.report.sources import Source


def field_items(
    sources: Sequence[Source], campaign: Campaign | None, title: str, number: str, written: str
) -> tuple[Item, ...]:
    """Every field with its clause, and what is known of it."""
    lab = campaign.laboratory if campaign else Laboratory()
    days = sorted({source.record.utc[:10] for source in sources if source.record.utc})
    imported = [source for source in sources if source.imported]
    common = (
        ("a", "title", title),
        ("b", "laboratory, name and address", lab.name),
        ("c", "where it was done", lab.place),
        ("d", "number of the report, end", f"{number} on every page; the end is marked"),
        ("e", "customer", lab.customer),
        ("f", "method", lab.method),
        ("g", "items tested", _items(sources, campaign)),
        ("h", "items received on", lab.received),
        ("i", "days of the drops", " to ".join(dict.fromkeys((days[0], days[-1]))) if days else ""),
        ("j", "issued", written),
        ("k", "choice of the items", lab.sampling),
        ("l", "items only", "the results relate only to the items tested"),
        ("m", "results with units", "the outcome of each drop, its ten figures, the annex"),
        ("n", "deviations", "see Deviations"),
        ("o", "authorised by", lab.authorises),
        ("p", "results from others", _others(imported)),
    )
    further = (
        ("7.8.3.1 a", "conditions of the test", conditions_text(sources, lab)),
        ("7.8.3.1 b", "conformity", "see the answer on the first page"),
        ("7.8.3.1 c", "uncertainty", "beside each peak; its parts are in the annex"),
        ("7.8.6.2", "decision rule", "see Requirement and decision rule"),
    )
    return tuple(
        Item(f"7.8.2.1 {letter}) {what}", (told or NOT_STATED,)) for letter, what, told in common
    ) + tuple(Item(f"{clause}) {what}", (told or NOT_STATED,)) for clause, what, told in further)


def _items(sources: Sequence[Source], campaign: Campaign | None) -> str:
    """Articles with version and remarks, as far as stated."""
    stated = {article.name: article for article in campaign.articles} if campaign else {}
    names = sorted({source.record.setup.article for source in sources})
    told = []
    for name in names:
        article = stated.get(name)
        parts = [name or "an article that is not named"]
        if article is not None:
            parts += [f"version {article.version or NOT_STATED}", article.note]
        told.append(", ".join(part for part in parts if part))
    return "; ".join(told)


def _others(imported: Sequence[Source]) -> str:
    if not imported:
        return "none"
    return f"{drops_text(imported)}, IMPORTED from another instrument"


def not_stated(items: Sequence[Item]) -> tuple[str, ...]:
    """The fields that nobody has stated."""
    return tuple(item.what for item in items if item.facts == (NOT_STATED,))
