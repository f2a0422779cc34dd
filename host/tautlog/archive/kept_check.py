"""Kept check: files of lines and numbered files of a campaign, compared with its chain."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

from tautlog.archive.checked import Checked
from tautlog.calibrate.kept import standing_files
from tautlog.files.campaign_folder import CHAIN_FILE, CHECKLISTS, KEPT_FOLDERS, KEPT_LINES
from tautlog.files.chain import FILE, FOUND, LINE, Chain, Link
from tautlog.files.ordinary import read_lines, read_ordinary, with_line_feeds
from tautlog.files.sound import present_chain
from tautlog.files.strict_json import read_object

OTHER_ENDS = (
    "says what was kept, but its lines end in CR LF: another program wrote it anew, as a checkout "
    "on Windows does; let nothing convert the files of a campaign"
)
# What lets a drop through; what else has to be as it was kept.
_PROVE = ("proofs.jsonl", "bring_up.jsonl")
_SPEAK = (*_PROVE, "ledger.jsonl")
_AGAIN = ", each by name with --supersedes"
_BEFORE = "was there before the chain began, so that it is not known whose it is: "
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


def not_as_kept(folder: Path) -> tuple[str, ...]:
    """What speaks for a drop and is not as this campaign's chain had it, and how to mend it.

    Proofs, bring-up, calibrations and converters let a drop through, and the ledger counts what
    they have seen. A copy from another campaign proves nothing of this one.
    """
    chain = present_chain(folder)
    lines, kept = _kept_lines(folder, chain), _kept_files(chain)
    if not chain.begun:
        there = [name for name in (*_PROVE, *KEPT_FOLDERS) if _holds_something(folder / name)]
        text = f"{' and '.join(there)}: the folder has no chain ({CHAIN_FILE}), so that it is not "
        text += f"known whose they are: restore it, or enter them again{_AGAIN}"
        return (text,) if there else ()
    found = [one for name in _SPEAK for one in _check_lines(folder / name, lines[name])]
    found += [one for name in _PROVE for one in _found_lines(folder / name, lines[name])]
    files = [link for link in kept.values() if _in_kept_folder(link.name)]
    gone = _superseded_files(folder)
    found += [one for link in files for one in _check_file(folder, link)]
    found += [one for one in _put_there(folder, set(kept)) if one.path.parent.name in KEPT_FOLDERS]
    found += [
        Checked(folder / link.name, "added", f"{_BEFORE}calibrate again{_AGAIN}")
        for link in files
        if link.kind == FOUND and Path(link.name).name not in gone
    ]
    return tuple(
        f"{one.path.relative_to(folder).as_posix()}: {one.text}" for one in found if one.differs
    )


def _holds_something(path: Path) -> bool:
    if path.is_dir():
        return any(path.glob("*.json"))
    try:
        return bool(read_ordinary(path).strip())
    except OSError:
        return False  # whoever reads it is told


def _in_kept_folder(name: str) -> bool:
    return name.partition("/")[0] in KEPT_FOLDERS


def _found_lines(path: Path, links: list[Link]) -> Iterator[Checked]:
    """Lines that were there before the chain began, and that no later line corrects."""
    first = max((link.number for link in links if link.kind == FOUND), default=0)
    lines = _lines_of(path) if first else {}
    corrected = {_superseded(line) for number, line in lines.items() if number > first}
    for number in sorted(set(lines) - corrected):
        if number <= first:
            text = f"line {number} {_BEFORE}enter it again: --supersedes {number}"
            yield Checked(path, "added", text)


def _lines_of(path: Path) -> dict[int, bytes]:
    """Lines of a file that are not blank, by their numbers; none if it cannot be read."""
    try:
        return _numbered(read_lines(path))
    except OSError:
        return {}


def _numbered(lines: list[bytes]) -> dict[int, bytes]:
    return {number: line for number, line in enumerate(lines, 1) if line.strip()}


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
    there = _numbered(lines)
    yield from _changed(path, kept, there)
    others = {number for number in there.keys() - kept.keys() if number > first}
    if others:
        others -= {_superseded(there[number]) for number in kept.keys() & there.keys()}
    for number in sorted(others):
        text = f"line {number} {_BY_HAND}chain had it; enter it again: --supersedes {number}"
        yield Checked(path, "added", text)


def _changed(path: Path, kept: dict[int, str], there: dict[int, bytes]) -> Iterator[Checked]:
    """Say which of the lines that were kept are gone or are not what they were."""
    wrong = [number for number in sorted(kept) if _sha256(there.get(number, b"")) != kept[number]]
    if wrong:
        more = f", nor are {len(wrong) - 1} more" if wrong[1:] else ""
        text = f"line {wrong[0]} is not as it was kept{more}: it was edited, removed or moved; "
        text += "restore the file from a copy"
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
    gone = _superseded_files(folder)
    for inside in (*KEPT_FOLDERS, CHECKLISTS):
        for path in sorted((folder / inside).glob("*.json")):
            if f"{inside}/{path.name}" not in kept and path.name not in gone:
                # A list is valid for minutes, and the record has it under its seal.
                state = "unchained" if inside == CHECKLISTS else "added"
                mend = "; make it again (a calibration: --supersedes), or take it out of the folder"
                yield Checked(path, state, f"{_BY_HAND}chain had it{mend * (state == 'added')}")


def _superseded_files(folder: Path) -> set[str]:
    """Names of the calibrations that others supersede."""
    return {one.path.name for one in standing_files(folder) if one.superseded_by}


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
