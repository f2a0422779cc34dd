"""Letting go: what the edges of the release switch say of the release, and how surely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tautlog.model.limits import RECLOSED_WITHIN_S, STAMP_SAMPLES
from tautlog.model.stream import BoardEvent

OPENED, KNOCK, EDGE, LOST = "release-opened", "knock", "release-edge", "edges-lost"
# A contact that bounces is closed for a millisecond or two at a time (common practice).
RECLOSED_S = 0.002
NEAR_S = 0.01  # a knock so shortly before may have been the release itself; own choice


@dataclass(frozen=True)
class Edge:
    """One edge of the release switch, in seconds from the start of the trace."""

    time_s: float
    opens: bool


@dataclass(frozen=True)
class LettingGo:
    """The release as the switch tells it.

    Attributes
    ----------
    time_s : float or None
        Its first opening; None when the switch told of none within the trace.
    u_s : float
        Half the width of the interval that it lies in: of the stamp, or of the doubt.
    doubt : str
        Why its time is not to be trusted, in plain words; "" when it is.
    note : str
        What else the switch did before it; "" for nothing.
    edges : tuple of Edge
        Every edge that the board noted, in order, knocks among them.
    """

    time_s: float | None = None
    u_s: float = 0.0
    doubt: str = ""
    note: str = ""
    edges: tuple[Edge, ...] = ()


def letting_go(events: Sequence[BoardEvent], sample_rate_hz: float, size: int) -> LettingGo:
    """Read the release out of a record's events.

    Parameters
    ----------
    events : sequence of BoardEvent
        Their sample index counted from the start of the trace.
    sample_rate_hz : float
        Samples per second.
    size : int
        Samples of the trace.
    """
    edges = tuple(
        sorted(
            (
                Edge(event.sample_index / sample_rate_hz, event.name != EDGE or event.value == 1)
                for event in events
                if event.name in (OPENED, KNOCK, EDGE)
            ),
            key=lambda edge: edge.time_s,
        )
    )
    first = next((event.sample_index for event in events if event.name == OPENED), None)
    if first is None or not 0 <= first < size:
        return LettingGo(edges=edges)
    time_s, u_s = first / sample_rate_hz, STAMP_SAMPLES / sample_rate_hz
    before = [edge for edge in edges if edge.time_s < time_s]
    doubt, wide_s = _doubt(events, edges, time_s)
    knocks = sum(event.name == KNOCK for event in events)
    note = ""
    if before and knocks:
        apart_ms = 1000 * (time_s - before[-1].time_s)
        note = (
            f"the switch opened and closed again {knocks} time(s) before the release, the last "
            f"of it {apart_ms:.1f} ms before: a knock, or the spike of a coil"
        )
    return LettingGo(time_s, max(u_s, wide_s), doubt, note, edges)


def _doubt(
    events: Sequence[BoardEvent], edges: tuple[Edge, ...], time_s: float
) -> tuple[str, float]:
    """Why the time is not sure, and by how much it may be off."""
    lost = sum(one.value for one in events if one.name == LOST)
    if lost:
        return f"{lost} edge(s) of the inputs found no place in the board's list", NEAR_S
    before = [edge.time_s for edge in edges if edge.time_s < time_s]
    if before and time_s - before[-1] < NEAR_S:
        apart_s = time_s - before[-1]
        return f"the switch had opened and closed {1000 * apart_s:.1f} ms before", apart_s
    after = [edge for edge in edges if time_s <= edge.time_s <= time_s + RECLOSED_WITHIN_S]
    for one, later in zip(after, [*after[1:], None], strict=True):
        if one.opens:
            continue
        end_s = time_s + RECLOSED_WITHIN_S if later is None else later.time_s
        if end_s - one.time_s > RECLOSED_S:
            closed_ms = 1000 * (end_s - one.time_s)
            text = f"after it the switch was closed for {closed_ms:.1f} ms, longer than a bounce"
            return text, end_s - time_s
    return "", 0.0
