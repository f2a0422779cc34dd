"""Tables: blocks and events, as the lines of a record's two tables."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from tautlog.model.stream import Block, BoardEvent
from tautlog.record.layout import BLOCK_DTYPE, EVENT_DTYPE


def block_lines(blocks: list[Block], first_row: int) -> npt.NDArray[np.void]:
    """Lines of blocks whose samples begin at a row of the counts."""
    lengths = [block.counts.shape[0] for block in blocks]
    lines = np.empty(len(blocks), BLOCK_DTYPE)
    lines["block"] = [block.number for block in blocks]
    lines["row"] = first_row + np.cumsum([0, *lengths[:-1]], dtype=np.uint64)
    lines["stamp_us"] = [block.stamp_us for block in blocks]
    lines["flags"] = [block.flags for block in blocks]
    lines["lost"] = [block.lost for block in blocks]
    return lines


def event_lines(events: list[BoardEvent], start: int) -> npt.NDArray[np.void]:
    """Lines of events, their samples counted from the start of the trace."""
    lines = np.empty(len(events), EVENT_DTYPE)
    lines["number"] = [event.number for event in events]
    lines["name"] = [event.name.encode("ascii", "replace") for event in events]
    lines["sample_index"] = [event.sample_index - start for event in events]
    lines["stamp_us"] = [event.stamp_us for event in events]
    lines["value"] = [event.value for event in events]
    return lines


def events_of(lines: npt.NDArray[np.void]) -> tuple[BoardEvent, ...]:
    """Events of such lines."""
    return tuple(
        BoardEvent(
            number=int(line["number"]),
            name=line["name"].decode("ascii", "replace"),
            sample_index=int(line["sample_index"]),
            stamp_us=int(line["stamp_us"]),
            value=int(line["value"]),
        )
        for line in lines
    )
