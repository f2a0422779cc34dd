"""Kept check: files of lines and numbered files of a campaign, compared with its chain."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

from tautlog.archive.checked import Checked
from tautlog.calibrate.kept import standing_files
from tautlog.files.campaign_folder import CHAIN_FILE, CHECKLISTS, KEPT_FOLDERS, KEPT_LINES
from tautlog.files.chain import FILE, FOUND, LINE, Chain, Link
from tautlog.files.ordinary import read_ordinary, with_line_feeds
from tautlog.files.strict_json import read_object

OTHER_ENDS = (
    "says what was kept, but its lines end in CR LF: another program wrote it anew, as a checkout "
    "on Windows does; let nothing convert the files of a campaign"
)
_BY_HAND = "is not in the chain: it was put there by hand, or the program was killed before the "


def check_kept(folder: Path, chain: Chain) -> Iterator[Checked]:
    """Check everything but records that a chain knows; nothing before the chain began."""
    if not chain.begun:
        return
    lines, files = _kept_lines(folder, chain), _kept_files(chain)
    for name, links in lines.items():
        yield from _check_lines(folder / name, links)
    for link in files.values():
        yield from _check_file(folder, link)
    yield from _put_there(folder, set(files))


def _kept_lines(folder: Path, chain: Chain) -> dict[str, list[Link]]:
    """Links of every file of lines by its name, also of those that have none."""
    there = [path.name for path in sorted(folder.glob("*.jsonl")) if path.name != CHAIN_FILE]
    found: dict[str, list[Link]] = {name: [] for name in (*KEPT_LINES, *there)}
    for link in chain.links:
        if link.kind in (LINE, FOUND) and "/" not in link.name:
            found.setdefault(link.name, []).append(link)
    return found


def _kept_files(chain: Chain) -> dict[str, Link]:
    return {
        link.name: link
        for link in chain.links
        if link.kind == FILE or (link.kind == FOUND and "/" in link.name)
    }


def _check_lines(path: Path, links: list[Link]) -> Iterator[Checked]:
    """Compare the lines of a file with their links."""
    try:
        content = read_ordinary(path)
    except FileNotFoundError:
        if links:
            text = f"had {max(link.number for link in links)} lines and is gone"
            yield Checked(path, "missing", text)
        return
    except OSError as problem:
        yield Checked(path, "unreadable", f"cannot be read: {problem.strerror}")
        return
    if b"\r\n" in content:
        yield Checked(path, "doubtful", OTHER_ENDS)
    lines, first = with_line_feeds(content).split(b"\n"), 0
    for found in [link for link in links if link.kind == FOUND][:1]:
        first = found.number
        if _sha256(b"".join(line + b"\n" for line in lines[:first])) != found.sha256:
            text = f"its first {first} lines are not those that were there when the chain began"
            yield Checked(path, "broken", text)
    kept = {link.number: link.sha256 for link in links if link.kind == LINE}
    there = {number: line for number, line in enumerate(lines, 1) if line.strip()}
    yield from _changed(path, kept, there)
    corrected = {_superseded(there[number]) for number in kept.keys() & there.keys()}
    for number in sorted(there.keys() - kept.keys() - corrected):
        if number > first:
            text = f"line {number} {_BY_HAND}chain had it; enter it again: --supersedes {number}"
            yield Checked(path, "added", text)


def _changed(path: Path, kept: dict[int, str], there: dict[int, bytes]) -> Iterator[Checked]:
    """Say which of the lines that were kept are gone or are not what they were."""
    wrong = [number for number in sorted(kept) if _sha256(there.get(number, b"")) != kept[number]]
    if wrong:
        more = f", nor are {len(wrong) - 1} more" if wrong[1:] else ""
        text = f"line {wrong[0]} is not as it was kept{more}: it was edited, removed or moved"
        yield Checked(path, "broken", text)


def _superseded(line: bytes) -> object:
    try:
        number = read_object(line).get("supersedes")
    except ValueError:
        return None
    return number if isinstance(number, int) else None


def _check_file(folder: Path, link: Link) -> Iterator[Checked]:
    """Compare a numbered file with its link."""
    inside, _, name = link.name.partition("/")
    if inside not in (*KEPT_FOLDERS, CHECKLISTS) or name != Path(name).name:
        yield Checked(folder / CHAIN_FILE, "missing", f"a link of it names {link.name[:80]!r}")
        return
    path = folder / inside / name
    try:
        content = read_ordinary(path)
        if _sha256(content) == link.sha256:
            return
        if _sha256(with_line_feeds(content)) == link.sha256:
            yield Checked(path, "doubtful", OTHER_ENDS)
        else:
            yield Checked(path, "broken", "changed since it was kept: restore it from a copy")
    except FileNotFoundError:
        yield Checked(path, "missing", f"was kept here ({link.sha256[:12]}...) and is gone")
    except OSError as problem:
        yield Checked(path, "unreadable", f"cannot be read: {problem.strerror}")


def _put_there(folder: Path, kept: set[str]) -> Iterator[Checked]:
    """Files that are not in the chain; what a person superseded counts for nothing."""
    gone = {one.path.name for one in standing_files(folder) if one.superseded_by}
    for inside in (*KEPT_FOLDERS, CHECKLISTS):
        for path in sorted((folder / inside).glob("*.json")):
            if f"{inside}/{path.name}" not in kept and path.name not in gone:
                # A list is valid for minutes, and the record has it under its seal.
                state = "unchained" if inside == CHECKLISTS else "added"
                yield Checked(path, state, f"{_BY_HAND}chain had it")


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
