"""Chain check: a campaign's folder against its chain, and against a head kept elsewhere."""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from tautlog.archive.checked import Checked
from tautlog.archive.kept_check import OTHER_ENDS, check_kept
from tautlog.archive.photos import digest_of
from tautlog.archive.summary import RecordSummary
from tautlog.errors import RecordError
from tautlog.files.campaign_folder import CAMPAIGN_FILE, CHAIN_FILE, traces_of_campaign
from tautlog.files.chain import ENTRY, RECORD, Chain, Link, read_chain

_UNCHAINED = (
    "is sealed but not in the chain of this campaign: it came from elsewhere, the chain could "
    "not be written, or its line was removed"
)
CLOCK_BACK_S = 600.0  # own choice: a clock that is set right goes back by seconds
_RECOMPUTED = ("marks",)  # entries that everybody can make again from the samples


def check_chain(folder: Path, summaries: list[RecordSummary]) -> list[Checked]:
    """Compare everything that a campaign keeps with its chain.

    Parameters
    ----------
    folder : Path
        The campaign's folder.
    summaries : list of RecordSummary
        Its records, with the unreadable ones.
    """
    chain = read_chain(folder)
    seals = frozenset(record.seal_now for record in summaries if not record.problem)
    return [
        *_check_whole(folder, chain, summaries),
        *_check_order(folder, chain),
        *_check_clock(folder, chain),
        *_check_names(folder, chain, summaries),
        *(found for record in summaries for found in check_place(record, chain, seals)),
        *check_kept(folder, chain),
    ]


def check_place(
    record: RecordSummary, chain: Chain, there: frozenset[str] = frozenset()
) -> Iterator[Checked]:
    """Check one record, its name, entries and photos against a chain, and seals that are there."""
    if record.problem or not record.seal or record.rehearsed:
        return
    names = [one.name for one in chain.of_record.get(record.record_id, ()) if one.kind == RECORD]
    if names and record.path.name not in names:
        text = f"was sealed as {names[0]}: give it its name again, or take the copy away"
        yield Checked(record.path, "swapped", text)
    before = record.previous_seal
    if before and before not in chain.seals and before not in there:
        text = f"the record sealed before it ({record.previous_seal[:12]}...) is gone, and so is "
        yield Checked(record.path, "missing", f"{text}its line")
    if record.chain_head and not chain.holds(record.chain_head):
        text = "the link that it was begun after is gone: the chain was written anew, or the "
        yield Checked(record.path, "missing", f"{text}record came from elsewhere")
    if record.seal not in chain.seals:
        yield Checked(record.path, "unchained", _UNCHAINED)
    else:
        yield from _check_entries(record, chain)
    yield from _check_photos(record)


def _check_whole(folder: Path, chain: Chain, summaries: list[RecordSummary]) -> Iterator[Checked]:
    """Say that chain or campaign.toml is gone or damaged, or the chain was written anew."""
    sealed = any(one.seal and not one.problem and not one.rehearsed for one in summaries)
    kept = [name for name in traces_of_campaign(folder) if name != CHAIN_FILE]
    if chain.problem and (sealed or kept or chain.links):
        text = f"the chain of this campaign cannot show missing records: {chain.problem}"
        yield Checked(folder / CHAIN_FILE, "missing", text)
    if not os.path.lexists(folder / CAMPAIGN_FILE):
        text = "is gone from among what the campaign keeps: restore it"
        yield Checked(folder / CAMPAIGN_FILE, "missing", text)
    if chain.other_ends:
        yield Checked(folder / CHAIN_FILE, "doubtful", OTHER_ENDS)


def _check_order(folder: Path, chain: Chain) -> Iterator[Checked]:
    """Check that every link follows the one that it was made after."""
    earlier = {""}
    for place, link in enumerate(chain.links):
        if place in chain.changed:
            text = "the chain before it was changed: a line was edited, removed, moved or put in"
            yield Checked(folder / (link.name or CHAIN_FILE), "missing", text)
        # Any earlier line will do: another record may have been sealed while this one was made.
        if lost := {link.previous, link.after} - earlier:
            text = f"the chain before it was changed: the line of {min(lost)[:12]}... is gone"
            yield Checked(folder / link.name, "missing", text)
        if link.kind == RECORD:
            earlier.add(link.sha256)


def _check_clock(folder: Path, chain: Chain) -> Iterator[Checked]:
    """Say where the clock went back: what was kept from there on has wrong times, or before."""
    latest = ""
    for link in chain.links:
        if link.utc and _back_s(latest, link.utc) > CLOCK_BACK_S:
            text = (
                f"was kept at {link.utc} by the clock here, after what was kept at {latest}: the "
                "clock was set back, and times before or after that are wrong"
            )
            yield Checked(folder / (link.name or CHAIN_FILE), "doubtful", text)
            latest = link.utc
        latest = max(latest, link.utc)


def _back_s(before: str, after: str) -> float:
    """Seconds by which a clock went back between two times; 0 if one cannot be read."""
    if after >= before:  # the usual, and ISO times of one form are in the order of their texts
        return 0.0
    try:
        return (datetime.fromisoformat(before) - datetime.fromisoformat(after)).total_seconds()
    except (ValueError, TypeError):
        return 0.0


def _check_names(folder: Path, chain: Chain, summaries: list[RecordSummary]) -> Iterator[Checked]:
    """Check that every sealed record is there, under its name."""
    by_id: dict[str, list[RecordSummary]] = defaultdict(list)
    problems = {}
    for record in summaries:
        problems[record.path.name] = record.problem
        if not record.problem:
            by_id[record.record_id].append(record)
    for link in chain.records:
        mine = by_id[link.record_id]
        named = next((record for record in mine if record.path.name == link.name), None)
        if named is not None and named.seal_now != link.sha256:
            yield Checked(named.path, "swapped", "its seal differs from that in the chain")
        elif named is None:
            yield from _elsewhere(folder, link, mine, problems)


def _elsewhere(
    folder: Path, link: Link, mine: list[RecordSummary], problems: dict[str, str]
) -> Iterator[Checked]:
    """Say what became of a record that is not under the name that it was sealed under."""
    path = folder / link.name
    if problems.get(link.name) == "":
        text = f"is not the record that was sealed under this name ({link.record_id[:8]})"
        yield Checked(path, "swapped", text)
    elif link.name not in problems and not mine:
        yield Checked(path, "missing", f"was sealed here ({link.sha256[:12]}...) and is gone")


def _check_entries(record: RecordSummary, chain: Chain) -> Iterator[Checked]:
    """Compare the entries of a record with the chain; a record of an older chain may have more."""
    entries = [line.split(" ") for line in record.entries.splitlines()]
    seals = {int(order): seal for _, order, seal in entries}
    mine = chain.of_record.get(record.record_id, ())
    kept = {link.number: link.sha256 for link in mine if link.kind == ENTRY}
    for number in sorted(kept):
        if seals.get(number) != kept[number]:
            text = f"its entry {number} was kept ({kept[number][:12]}...) and is gone or changed"
            yield Checked(record.path, "missing", text)
    newest = {place.partition("/")[0]: int(order) for place, order, _ in entries}
    for place, order, _ in entries:
        kind = place.partition("/")[0]
        if record.chain_head and int(order) not in kept and newest[kind] == int(order):
            state = "unchained" if kind in _RECOMPUTED else "added"
            text = f"{place} is not in the chain: put in elsewhere, or the program was killed then"
            yield Checked(record.path, state, f"{text}; enter it again")


def _check_photos(record: RecordSummary) -> Iterator[Checked]:
    """Say which photos in the record's folder are not those that were entered."""
    for line in record.photos.splitlines():
        sha256, _, name = line.partition(" ")
        path = record.path.parent / Path(name.replace("\\", "/")).name
        try:
            changed = path.is_file() and digest_of(path)[0] != sha256
        except (OSError, ValueError, RecordError):
            changed = True
        if changed:
            text = f"is not the photo that was entered with {record.path.name}"
            yield Checked(path, "broken", text)
