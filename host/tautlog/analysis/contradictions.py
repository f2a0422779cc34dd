"""Contradictions: what a board's events and blocks say that cannot all be true.

A board that works as `firmware/wire.py` says tells one arming, one release and one end, in
that order, blocks of one length at an even pace, and never the same block twice with other
samples. Whatever is otherwise makes a record suspect or invalid, whoever is at fault. What
the switch's edges say of the time of the release is `letting_go`'s business, and what a
record lacks at its end `completeness`'s.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tautlog.analysis.letting_go import EDGE, LOST, OPENED
from tautlog.firmware import wire
from tautlog.model.contradiction import INVALID, Contradiction
from tautlog.model.limits import RECLOSED_WITHIN_S
from tautlog.model.reception import BY_DRIVE, BY_HAND, Reception
from tautlog.model.stream import BoardEvent

FORCE, ARMED, DRIVEN, ENDED = "release-by-force", "armed", "release-driven", "recording-ended"
RELEASES = (OPENED, FORCE)
ONCE = (ARMED, ENDED)
# A driven release is noted before the pin goes high, and a latch takes milliseconds to open.
BEFORE_DRIVE_US = 1000  # own choice
# Events that are noted by the main loop stand at the start of the block under way; own choice,
# some turns of the loop.
LOOP_S = 0.05
OUTSIDE_S = 1.0  # that a record that was cut short lacks of what was told already; own choice
RATE_OFF = 0.01  # of the pace of blocks: own choice, crystals keep 0.01 %
_NUMBERS = 1 << 16  # events are numbered modulo (`firmware/wire.py`)
_TICKS = wire.TICKS_PERIOD_US


@dataclass(frozen=True)
class Story:
    """All that a record, or a receiver, holds of a drop but its samples.

    Attributes
    ----------
    events : sequence of BoardEvent
        Their sample index counted from the start of the trace.
    sample_rate_hz : float
        Samples per second.
    samples_per_block : int
        As the board promised.
    size : int or None
        Samples of the trace, gaps included; None while it is still coming.
    numbers, lengths, stamps_us, lost : ndarray of int64, shape (blocks,)
        Of the blocks, in their order: numbers, samples, board clock at the last of them,
        conversions lost. Empty while it is still coming.
    reception : Reception
        What the laptop saw besides.
    """

    events: Sequence[BoardEvent]
    sample_rate_hz: float
    samples_per_block: int
    size: int | None = None
    numbers: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    lengths: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    stamps_us: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    lost: npt.NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    reception: Reception = field(default_factory=Reception)

    @property
    def block_s(self) -> float:
        """Seconds of a block."""
        return self.samples_per_block / self.sample_rate_hz

    def named(self, *names: str) -> list[BoardEvent]:
        """Events of these names, in the order of their numbers."""
        return [event for event in self.ordered() if event.name in names]

    def ordered(self) -> list[BoardEvent]:
        """Events in the order of their numbers, which count from the arming."""
        first = _first_number(self.events)
        return sorted(self.events, key=lambda event: (event.number - first) % _NUMBERS)


def contradictions(story: Story) -> tuple[Contradiction, ...]:
    """Find all that cannot be; the gravest first, none when all fits."""
    if not story.events and not story.numbers.size:
        return ()
    found = [contradiction for rule in _RULES for contradiction in rule(story)]
    return tuple(sorted(found, key=lambda contradiction: contradiction.severity != INVALID))


def _first_number(events: Sequence[BoardEvent]) -> int:
    armed = next((event.number for event in events if event.name == ARMED), None)
    return min((event.number for event in events), default=0) if armed is None else armed


# Events


def _armed(story: Story) -> Iterator[Contradiction]:
    if story.events and not story.named(ARMED):
        yield Contradiction("not-armed", "the board never reported that it was armed")


def _unasked(story: Story) -> Iterator[Contradiction]:
    """A release that nobody asked for; where a hand was to do it, none is asked."""
    opened, driven, by = story.named(*RELEASES), story.named(DRIVEN), _by(story)
    sent = story.reception.release_sent
    if by == BY_HAND and driven:
        yield Contradiction(
            "unasked-release", "the drive released although a release by hand was planned"
        )
    if by == BY_DRIVE and opened and not driven:
        text = "the release opened although it was not commanded: the drive was never pulsed"
        yield Contradiction("unasked-release", text)
    elif by == BY_DRIVE and driven and sent is False:
        text = "the release opened although it was not commanded: the board drove it by itself"
        yield Contradiction("unasked-release", text)
    elif by == BY_DRIVE and opened and driven:
        early_us = wire.ticks_elapsed_us(driven[0].stamp_us, opened[0].stamp_us)
        if opened[0].name == OPENED and early_us > BEFORE_DRIVE_US:
            text = (
                "the release opened although it was not commanded: "
                f"{early_us / 1000:.0f} ms before it was driven"
            )
            yield Contradiction("unasked-release", text)


def _by(story: Story) -> str:
    if story.reception.by:
        return story.reception.by
    armed = story.named(ARMED)
    return {1: BY_DRIVE, 2: BY_HAND}.get(armed[0].value, "") if armed else ""


def _twice(story: Story) -> Iterator[Contradiction]:
    opened = story.named(*RELEASES)
    if len(opened) > 1:
        apart_s = (opened[1].sample_index - opened[0].sample_index) / story.sample_rate_hz
        between = [
            event
            for event in story.named(EDGE)
            if event.value == 0
            and opened[0].sample_index <= event.sample_index <= opened[1].sample_index
        ]
        closed = "" if between else ", and did not close between"
        text = f"the board tells of {len(opened)} releases, {apart_s:.4g} s apart{closed}"
        yield Contradiction("told-twice", text)
    for name in ONCE:
        if len(story.named(name)) > 1:
            text = f"the board tells {len(story.named(name))} times: {name}"
            yield Contradiction("told-twice", text)


def _place(story: Story) -> Iterator[Contradiction]:
    """A release that is stamped where it cannot have been."""
    opened, armed = story.named(OPENED), story.named(ARMED)
    if not opened:
        return
    at = opened[0].sample_index
    if armed and at < armed[0].sample_index - story.samples_per_block:
        early_s = (armed[0].sample_index - at) / story.sample_rate_hz
        text = f"the release is stamped {early_s:.4g} s before the board was armed"
        yield Contradiction("release-misplaced", text)
    off_s = _stamp_off(story, opened[0])
    if off_s is not None and abs(off_s) > LOOP_S + 2.0 * story.block_s:
        text = (
            f"the clock of the release and its sample lie {abs(off_s):.4g} s apart: one of them "
            "is wrong"
        )
        yield Contradiction("release-misplaced", text)


def _stamp_off(story: Story, event: BoardEvent) -> float | None:
    """Seconds by which the clock of an event is ahead of that of its sample; None if unknown."""
    if not story.numbers.size:
        return None
    places = (story.numbers - story.numbers[0]) * story.samples_per_block
    at = int(np.searchsorted(places, event.sample_index, side="right")) - 1
    if at < 0 or event.sample_index >= places[at] + story.lengths[at]:
        return None
    last = int(places[at]) + story.samples_per_block - 1
    expected_us = int(story.stamps_us[at])
    ahead_us = float(wire.ticks_elapsed_us(event.stamp_us, expected_us))
    return ahead_us / 1e6 + (last - event.sample_index) / story.sample_rate_hz


def _reclosed(story: Story) -> Iterator[Contradiction]:
    """A sled that has gone cannot be on its latch again."""
    opened = story.named(OPENED)
    if not opened or story.named(LOST):  # then nobody knows which edge was the last
        return
    rate_hz, start = story.sample_rate_hz, opened[0].sample_index
    edges = sorted(
        (edge for edge in story.named(EDGE) if edge.sample_index >= start),
        key=lambda edge: edge.sample_index,
    )
    ends = story.named(ENDED)
    end = max([start, *(edge.sample_index for edge in (*edges, *ends)), story.size or 0])
    stops = [*(edge.sample_index for edge in edges[1:]), end]
    for edge, stop in zip(edges, stops, strict=False):
        closed_s = (stop - edge.sample_index) / rate_hz
        if edge.value == 0 and closed_s > RECLOSED_WITHIN_S:
            late_s = (edge.sample_index - start) / rate_hz
            text = (
                f"the release switch closed again {late_s:.4g} s after the release and stayed so "
                f"for {closed_s:.2g} s: a sled that fell is not on its latch"
            )
            yield Contradiction("switch-reclosed", text)
            return


def _outside(story: Story) -> Iterator[Contradiction]:
    if story.size is None:
        return
    rate_hz, block = story.sample_rate_hz, story.samples_per_block
    ended = bool(story.named(ENDED))
    last = story.size + (block if ended else OUTSIDE_S * rate_hz + block)
    # What came before the release may lie before the first block that a board still held.
    outside = [
        event
        for event in story.ordered()
        if event.sample_index > last or (event.name in RELEASES and event.sample_index < -block)
    ]
    if outside:
        names = ", ".join(dict.fromkeys(event.name for event in outside))
        at_s = outside[0].sample_index / rate_hz
        text = (
            f"the board tells of {names} at {at_s:.6g} s, the trace goes from 0 to "
            f"{story.size / rate_hz:.4g} s"
        )
        yield Contradiction("event-outside", text)


def events_missing(events: Sequence[BoardEvent]) -> int | None:
    """Events that never came: numbers count from the arming without a break; None without it."""
    if not any(event.name == ARMED for event in events):
        return None
    first = _first_number(events)
    places = {(event.number - first) % _NUMBERS for event in events}
    return max(places) + 1 - len(places)


def events_lacking(events: Sequence[BoardEvent]) -> bool:
    """Whether a board that holds an event has more of them: its end, or one between."""
    return events_missing(events) != 0 or not any(event.name == ENDED for event in events)


def _missing(story: Story) -> Iterator[Contradiction]:
    lacking = events_missing(story.events)
    if lacking:
        yield Contradiction("events-missing", f"{lacking} event(s) of the board never came")


def _order(story: Story) -> Iterator[Contradiction]:
    names = [event.name for event in story.ordered()]
    released = next((place for place, name in enumerate(names) if name in RELEASES), None)
    if released is not None and "went-safe" in names[released:]:
        yield Contradiction("wrong-order", "the board went safe after the release")
    if ENDED in names:
        if released is None or released > names.index(ENDED):
            text = "the board ended a recording without a release before it"
            yield Contradiction("wrong-order", text)
        end = story.named(ENDED)[0].sample_index
        if story.size is not None and story.size > end + story.samples_per_block:
            more_s = (story.size - end) / story.sample_rate_hz
            text = f"{more_s:.4g} s of samples came after the recording had ended"
            yield Contradiction("wrong-order", text)


# Blocks


def _blocks(story: Story) -> Iterator[Contradiction]:
    seen = story.reception
    if seen.changed_blocks:
        text = f"{_named(seen.changed_blocks)} came twice, with other samples the second time"
        yield Contradiction("block-changed", text)
    if seen.reflagged_blocks:
        text = f"{_named(seen.reflagged_blocks)} came again with other flags, losses or times"
        yield Contradiction("block-reflagged", text)
    short = int(np.count_nonzero(story.lengths < story.samples_per_block))
    misfits = short + seen.misfit_blocks
    if misfits:
        text = (
            f"{misfits} block(s) do not hold the {story.samples_per_block} samples of each "
            "channel that the board promised"
        )
        yield Contradiction("block-misfit", text)
    if seen.astray_blocks:
        text = f"the board told {seen.astray_blocks} time(s) of blocks that it cannot have made yet"
        yield Contradiction("block-astray", text)
    if seen.given_up_blocks:
        text = (
            f"{seen.given_up_blocks} block(s) never came, although the board was asked again and "
            "did not report them as gone"
        )
        yield Contradiction("block-withheld", text)
    if seen.nonsense_frames:
        text = f"{seen.nonsense_frames} frame(s) of the board arrived intact but made no sense"
        yield Contradiction("frame-nonsense", text)


def _named(numbers: list[int]) -> str:
    return f"block {numbers[0]}" if len(numbers) == 1 else f"{len(numbers)} blocks"


def _lost(story: Story) -> Iterator[Contradiction]:
    untold = story.reception.lost_conversions - int(story.lost.sum())
    if story.numbers.size and untold > 0:
        text = f"the board counts {untold} lost conversion(s) of which no block tells"
        yield Contradiction("lost-untold", text)


def _clock(story: Story) -> Iterator[Contradiction]:
    """Blocks follow each other by the board's clock as by their numbers."""
    if story.numbers.size < 2:
        return
    block_us = 1e6 * story.block_s
    expected_us = np.diff(story.numbers) * block_us
    seen_us = np.diff(story.stamps_us)
    off_us = (seen_us - expected_us + _TICKS / 2) % _TICKS - _TICKS / 2
    allowed_us = block_us + 1e6 * LOOP_S + RATE_OFF * expected_us
    wrong = np.flatnonzero(np.abs(off_us) > allowed_us)
    if wrong.size:
        at = int(wrong[0])
        text = (
            f"between block {story.numbers[at]} and {story.numbers[at + 1]} the board's clock "
            f"goes {off_us[at] / 1000:+.0f} ms otherwise than its count of samples"
        )
        yield Contradiction("clock-jumped", text)


def _states(story: Story) -> Iterator[Contradiction]:
    for text in story.reception.states:
        yield Contradiction("state-impossible", f"the board said that it was {text}")


_RULES = (
    _armed,
    _unasked,
    _twice,
    _place,
    _reclosed,
    _outside,
    _missing,
    _order,
    _blocks,
    _lost,
    _clock,
    _states,
)
