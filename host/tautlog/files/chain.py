"""Chain: everything that a campaign keeps, in the order in which it was kept.

`chain.jsonl` next to campaign.toml has one line, a link, for each sealed record, each entry of a
record, each line of a file of lines and each numbered file. Every link holds the SHA-256 of the
line before it, so a link that was edited, removed, moved or put in between shows, and the hash of
the newest link, the head, stands for everything that was kept before. What the chain cannot show is
that its end was cut off together with what the end stood for: only a head that was written down
elsewhere shows that.

A link is a JSON object: utc, kind, name, sha256 and before, and where it has one number and
record_id.

========  ======================================================================================
kind      name, number, sha256
========  ======================================================================================
begun     nothing but "before"; the chain is complete from here on
found     a file of lines (`number`: how many) or a numbered file that was there when it began
record    a record's file; its seal; `record_id`
entry     a record's file; number of the entry over all kinds; its seal; `record_id`
line      a file of lines; number of the line; SHA-256 of the line
file      a numbered file, with its folder; SHA-256 of its bytes
========  ======================================================================================

`before` is the SHA-256 of the line before, without its end, if that is a link with `before`; else
of all bytes before the line. A CR before an LF is no part of either: a checkout on Windows puts
one there. A line of an older program has name, record_id, seal, previous and
after: the newest seal when its record was begun, and when it was sealed.

Two programs add in turn, because the file is locked. Where the system does not lock files, two at
once may make links that follow the same one, which then looks like a change.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from tautlog.errors import CampaignError, RecordError, RecordExistsError
from tautlog.files.append import Appended, LinesFile, appending
from tautlog.files.campaign_folder import (
    CAMPAIGN_FILE,
    CHAIN_FILE,
    CHECKLISTS,
    KEPT_FOLDERS,
    KEPT_LINES,
)
from tautlog.files.new_file import new_file
from tautlog.files.ordinary import read_ordinary, require_ordinary, require_own, with_line_feeds
from tautlog.files.strict_json import read_object
from tautlog.model.timestamp import stamp

BEGUN, FOUND, RECORD, ENTRY, LINE, FILE = "begun", "found", "record", "entry", "line", "file"
MOST_BYTES = 1 << 30  # own choice: some four million links
HEAD_DIGITS = 16  # the fewest of a head that tell it from another; own choice
_LAST_BYTES = 1 << 16  # some two hundred links: enough before a drop


@dataclass(frozen=True, slots=True)
class Link:
    """One thing that was kept.

    Attributes
    ----------
    kind, name, sha256 : str
        See the module.
    number : int
        Number of the line or entry; of a found file of lines, how many it had; else 0.
    record_id : str
        Identity of the record; "" if it is no record's.
    utc : str
        When it was kept; "" in a line of an older program.
    before : str
        SHA-256 of what is before it; "" in a line of an older program.
    previous, after : str
        Only of an older program: the newest seal when its record was begun, and when sealed.
    """

    kind: str
    name: str
    sha256: str
    number: int = 0
    record_id: str = ""
    utc: str = ""
    before: str = ""
    previous: str = ""
    after: str = ""

    def text(self, before: str) -> bytes:
        """The link as a line that follows what has this SHA-256."""
        values = {"utc": stamp(), "kind": self.kind, "name": self.name, "number": self.number}
        values |= {"record_id": self.record_id, "sha256": self.sha256}
        told = {name: value for name, value in values.items() if value}
        return json.dumps(told | {"before": before}).encode()


@dataclass(frozen=True)
class Chain:
    """A campaign's chain as it was read.

    Attributes
    ----------
    links : tuple of Link
        Oldest first; damaged lines are left out.
    heads : tuple of str
        SHA-256 of each link's line; "" for a line of an older program.
    problem : str
        Why the chain is incomplete, or "".
    changed : tuple of int
        Places in `links` before which the chain is not as it was.
    other_ends : bool
        Its lines end in CR LF, which is no part of them.
    """

    links: tuple[Link, ...] = ()
    heads: tuple[str, ...] = ()
    problem: str = ""
    changed: tuple[int, ...] = ()
    other_ends: bool = False

    @property
    def head(self) -> str:
        """The hash that stands for all of it; "" if there is no link but of older programs."""
        return self.heads[-1] if self.heads else ""

    @property
    def begun(self) -> bool:
        """Whether it is complete from some link on."""
        return any(link.before for link in self.links)

    @cached_property
    def records(self) -> tuple[Link, ...]:
        """The links of sealed records."""
        return tuple(link for link in self.links if link.kind == RECORD)

    @cached_property
    def seals(self) -> frozenset[str]:
        """The seals of all records."""
        return frozenset(link.sha256 for link in self.records)

    @cached_property
    def of_record(self) -> dict[str, list[Link]]:
        """The links of a record and its entries, by its identity."""
        found: dict[str, list[Link]] = {}
        for link in self.links:
            if link.record_id:
                found.setdefault(link.record_id, []).append(link)
        return found

    @cached_property
    def _heads(self) -> frozenset[str]:
        return frozenset(self.heads) - {""}

    def holds(self, head: str) -> bool:
        """Whether a head, or the first digits of one that was written down, is one of its heads."""
        short = len(head) < len(self.head)
        return head in self._heads or (short and any(one.startswith(head) for one in self._heads))


def read_chain(folder: Path) -> Chain:
    """The chain of a folder, whatever is wrong with it."""
    try:
        require_own(folder / CHAIN_FILE)
        content = read_ordinary(folder / CHAIN_FILE, MOST_BYTES)
    except FileNotFoundError:
        return Chain(problem="it is gone")
    except OSError as problem:
        return Chain(problem=f"it cannot be read: {problem.strerror}")
    links: list[Link] = []
    heads: list[str] = []
    changed, bad = [], []
    last, so_far, number = "", hashlib.sha256(), 0
    # Line by line: a chain may have millions.
    for number, ended in enumerate(io.BytesIO(content), start=1):
        line = ended.removesuffix(b"\n").removesuffix(b"\r")
        link = link_of(line)
        if link is None:
            bad.append(number)
        else:
            if link.before and link.before != (last or so_far.hexdigest()):
                changed.append(len(links))
            links.append(link)
            heads.append(_sha256(line) if link.before else "")
        last = heads[-1] if link else ""
        so_far.update(line + b"\n")
    wrong = ""
    if bad:
        wrong = f"{len(bad)} of {number} lines are damaged, the first is line {bad[0]}"
    return Chain(tuple(links), tuple(heads), wrong, tuple(changed), b"\r\n" in content)


def link_of(line: bytes) -> Link | None:
    """The link in a line, of this program or an older one; None if there is none."""
    try:
        values = read_object(line)
        if "seal" in values:
            return Link(
                RECORD,
                str(values["name"]),
                str(values["seal"]),
                record_id=str(values["record_id"]),
                previous=str(values["previous"]),
                after=str(values.get("after", "")),
            )
        kind, before, number = values["kind"], values["before"], values.get("number", 0)
        texts = {name: values.get(name, "") for name in ("name", "sha256", "record_id", "utc")}
        strings = all(isinstance(text, str) for text in (kind, before, *texts.values()))
        if not strings or type(number) is not int or not before or "\0" in texts["name"]:
            return None
        texts["name"].encode()  # what is no text is no name of a file
        return Link(kind, number=number, before=before, **texts)
    except (ValueError, KeyError):
        return None


def head_of(folder: Path) -> str:
    """The head of a folder's chain, read from its end; "" if there is none."""
    try:
        end = with_line_feeds(_end_of(folder))
    except OSError:
        return ""
    last = end.removesuffix(b"\n").rpartition(b"\n")[2]
    link = link_of(last)
    return _sha256(last) if link and link.before else ""


def last_seal(folder: Path) -> str:
    """Seal of the record that was sealed last in a folder, or ""."""
    try:
        end = _end_of(folder)
    except OSError:
        return ""
    for line in reversed(end.split(b"\n")):
        link = link_of(line)
        if link is not None and link.kind == RECORD:
            return link.sha256
    # None of these lines is a record's: read the whole chain.
    records = read_chain(folder).records
    return records[-1].sha256 if records else ""


def is_chained(folder: Path, record_id: str) -> bool:
    """Whether a record was sealed in a folder, whatever its file says now."""
    return any(link.record_id == record_id for link in read_chain(folder).records)


def begin(folder: Path) -> None:
    """Begin the chain of a campaign, if it has not begun; what is there already is named in it.

    Raises
    ------
    CampaignError
        If it cannot be written.
    """
    if not _has_chain(folder):
        return
    with appending(folder / CHAIN_FILE) as file:
        if not _is_begun(file):
            _add(file, [Link(BEGUN, "", ""), *_there(folder)])


def add_link(folder: Path, link: Link) -> None:
    """Add a link to the chain of a campaign; it is on disk on return. No campaign, no chain.

    Raises
    ------
    CampaignError
        If it cannot be written; then nothing of it is there.
    """
    if not _has_chain(folder):
        return
    begin(folder)
    with appending(folder / CHAIN_FILE) as file:
        _add(file, [link])


def add_kept_line(path: Path, line: bytes) -> Appended:
    """Add a line to a file of a campaign's folder, and its link to the chain: both or neither.

    Raises
    ------
    CampaignError
        If either cannot be written.
    """
    begin(path.parent)
    with appending(path) as file:
        file.add(line)
        added = file.added()
        try:
            add_link(path.parent, Link(LINE, path.name, _sha256(line), added.number))
        except CampaignError:
            file.take_back()
            raise
    return added


def add_kept_file(path: Path, content: bytes) -> None:
    """Write a new file in a folder of a campaign's folder, and its link: both or neither.

    Raises
    ------
    RecordExistsError
        If there is a file of that name.
    CampaignError
        If either cannot be written.
    """
    campaign = path.parent.parent
    begin(campaign)
    try:
        with new_file(path) as draft:
            draft.write_bytes(content)
    except RecordExistsError:
        raise
    except RecordError as problem:
        raise CampaignError(str(problem)) from problem
    try:
        add_link(campaign, Link(FILE, f"{path.parent.name}/{path.name}", _sha256(content)))
    except CampaignError:
        path.unlink(missing_ok=True)
        raise


def _has_chain(folder: Path) -> bool:
    return any(os.path.lexists(folder / name) for name in (CAMPAIGN_FILE, CHAIN_FILE))


def _is_begun(file: LinesFile) -> bool:
    """Whether a chain has a link with `before`, most often its last line."""
    last = link_of(file.last_line())
    if last is not None and last.before:
        return True
    links = (link_of(line) for line in file.everything().split(b"\n"))
    return any(link is not None and link.before for link in links)


def _add(file: LinesFile, links: Sequence[Link]) -> None:
    """Add links, each with the hash of what is before it."""
    last = link_of(file.last_line())
    if last is not None and last.before:
        before = _sha256(file.last_line().removesuffix(b"\r"))
    else:
        before = _sha256(with_line_feeds(file.everything()) + b"\n" * file.cut_short)
    lines = []
    for link in links:
        lines.append(link.text(before))
        before = _sha256(lines[-1])
    file.add(b"\n".join(lines))


def _there(folder: Path) -> list[Link]:
    """What a campaign kept before its chain began, as it is now; a file that is not read is not."""
    found = []
    for name in KEPT_LINES:
        with contextlib.suppress(OSError):
            whole = with_line_feeds(read_ordinary(folder / name)).rpartition(b"\n")
            content = whole[0] + whole[1]  # without a line that was cut short
            found.append(Link(FOUND, name, _sha256(content), content.count(b"\n")))
    for name in (*KEPT_FOLDERS, CHECKLISTS):
        for path in sorted((folder / name).glob("*.json")):
            with contextlib.suppress(OSError):
                found.append(Link(FOUND, f"{name}/{path.name}", _sha256(read_ordinary(path))))
    return found


def _end_of(folder: Path) -> bytes:
    """The last bytes of a chain; its first line may be cut."""
    require_own(folder / CHAIN_FILE)
    require_ordinary(folder / CHAIN_FILE, MOST_BYTES)
    with open(folder / CHAIN_FILE, "rb") as file:
        size = file.seek(0, os.SEEK_END)
        file.seek(max(size - _LAST_BYTES, 0))
        return file.read()


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
