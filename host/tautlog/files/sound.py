"""Sound: which lines and files of a campaign are as its chain had them when they were kept.

What is not in the chain was put there by hand, or a program was killed between the thing and its
link. It may forbid, but must let nothing through.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from tautlog.files.campaign_folder import CHAIN_FILE
from tautlog.files.chain import FILE, FOUND, LINE, Chain, Link, read_chain
from tautlog.files.ordinary import read_lines, read_ordinary, with_line_feeds


@dataclass(frozen=True)
class SoundLines:
    """The lines of one file, compared with their links.

    Attributes
    ----------
    numbers : frozenset of int
        Lines that are as they were kept, or as they were found when the chain began.
    in_order : tuple of (Link, bool)
        The link of each line that was kept, oldest first, and whether the line is still there.
    begun : bool
        There is a chain; without one nothing can be said of any line.
    """

    numbers: frozenset[int]
    in_order: tuple[tuple[Link, bool], ...]
    begun: bool


def present_chain(folder: Path) -> Chain:
    """The chain of a folder as it is now; read again only if its file has changed."""
    try:
        found = (folder / CHAIN_FILE).lstat()
    except OSError:
        return read_chain(folder)
    return _read(folder.absolute(), found.st_mtime_ns, found.st_size, found.st_ino)


@lru_cache(maxsize=4)
def _read(folder: Path, changed_ns: int, size: int, inode: int) -> Chain:
    return read_chain(folder)


def sound_lines(folder: Path, name: str) -> SoundLines:
    """Compare the lines of a file with the chain; a file that cannot be read has none."""
    chain = present_chain(folder)
    try:
        lines = read_lines(folder / name)
    except OSError:
        lines = []
    mine = [link for link in chain.links if link.name == name]
    kept = [one for one in mine if one.kind == LINE]
    there = {(number, hashlib.sha256(line).hexdigest()) for number, line in enumerate(lines, 1)}
    first = max((link.number for link in mine if link.kind == FOUND), default=0)
    in_order = tuple((one, (one.number, one.sha256) in there) for one in kept)
    sound = {*range(1, first + 1), *(one.number for one, is_there in in_order if is_there)}
    return SoundLines(frozenset(sound), in_order, chain.begun)


def is_sound_file(folder: Path, inside: str, name: str) -> bool:
    """Whether a file in a folder of the campaign's folder is as it was kept; without a chain, yes.

    Parameters
    ----------
    folder : Path
        The campaign's.
    inside, name : str
        The folder in it; the file's name.
    """
    chain = present_chain(folder)
    if not chain.begun:
        return True
    digests = {
        link.sha256
        for link in chain.links
        if link.kind in (FILE, FOUND) and link.name == f"{inside}/{name}"
    }
    try:
        content = read_ordinary(folder / inside / name)
    except OSError:
        return False
    forms = (content, with_line_feeds(content))
    return not digests.isdisjoint(hashlib.sha256(one).hexdigest() for one in forms)
