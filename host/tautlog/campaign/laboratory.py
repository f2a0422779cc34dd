"""Laboratory: what campaign.toml may state for the head of a report.

These are the facts that ISO/IEC 17025:2017, 7.8.2.1, asks of a test report and that no record of
a drop can know. What is not stated is reported as not stated.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from tautlog.model.key import stated


@dataclass(frozen=True)
class Laboratory:
    """Who tests, where, for whom and by which method; "" if it is not stated."""

    name: str = field(
        default="", metadata=stated("Name and address of the laboratory, club or firm.")
    )
    place: str = field(
        default="", metadata=stated("Where the drops are made, if it is not that address.")
    )
    customer: str = field(
        default="", metadata=stated("For whom: name, and how to reach them. Or: own use.")
    )
    method: str = field(
        default="",
        metadata=stated("Procedure by which the drops are made: name and revision."),
    )
    received: str = field(
        default="",
        metadata=stated("Day on which the articles came, such as 2026-03-01.", day=True),
    )
    sampling: str = field(
        default="",
        metadata=stated("How the articles were chosen from all that were made, and by whom."),
    )
    environment: str = field(
        default="",
        metadata=stated("Temperature, humidity and whatever else acted on line and article."),
    )
    authorises: str = field(
        default="", metadata=stated("Name and role of the person who authorises the report.")
    )
