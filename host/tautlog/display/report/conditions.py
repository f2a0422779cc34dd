"""Conditions: what acted on line and article, for the campaign and at each drop of a report."""

from __future__ import annotations

from collections.abc import Sequence

from tautlog.campaign.laboratory import Laboratory
from tautlog.display.report.instruments import NOT_STATED, drops_text
from tautlog.display.report.sources import Source


def conditions_text(sources: Sequence[Source], laboratory: Laboratory) -> str:
    """What campaign.toml states of all drops, then what each record keeps of its own.

    A drop of which nothing is kept is named as soon as another one has something.
    """
    alike: dict[str, list[Source]] = {}
    for source in sources:
        alike.setdefault(source.record.setup.surroundings.text, []).append(source)
    silent = alike.pop("", [])
    told = [laboratory.environment] if laboratory.environment else []
    told += [f"{drops_text(some)}: {text}" for text, some in alike.items()]
    if silent and alike:
        told.append(f"{drops_text(silent)}: {NOT_STATED}")
    return "; ".join(told) or NOT_STATED
