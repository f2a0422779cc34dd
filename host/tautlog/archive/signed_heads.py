"""Signed heads: heads of a campaign's chain, signed by people with keys of their own.

Each is one line in `signatures.jsonl`, with its own link in the chain. It stands for all that was
kept before it. Whoever makes everything anew cannot sign it without the key; so no head need be
written down elsewhere, if the public key is known there.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from tautlog.archive.checked import Checked
from tautlog.errors import CampaignError, SignatureError
from tautlog.files.append import Appended
from tautlog.files.campaign_folder import CHAIN_FILE
from tautlog.files.chain import Chain, add_kept_line, begin, read_chain
from tautlog.files.ordinary import read_ordinary
from tautlog.files.ssh_signature import (
    fingerprint,
    has_library,
    require_library,
    sign,
    signer_of,
)
from tautlog.files.strict_json import read_json
from tautlog.files.typed_json import built
from tautlog.model.names import short
from tautlog.model.signature import signed
from tautlog.model.timestamp import require_time, stamp

FILE_NAME = "signatures.jsonl"


@dataclass(frozen=True)
class SignedHead:
    """A head of the chain, and its signature.

    Attributes
    ----------
    utc, by : str
        When it was signed, and who says so.
    head : str
        The head: SHA-256 of the chain's newest link then.
    links : int
        How many links the chain had then.
    signature : str
        See `files.ssh_signature`; it covers the four above.

    Raises
    ------
    CampaignError
        If it is not signed by a name, or stands for nothing.
    """

    utc: str
    by: str
    head: str
    links: int
    signature: str = ""

    def __post_init__(self) -> None:
        require_time("utc", self.utc)
        if signed(self.by) != self.by or not self.by or not self.by.isprintable():
            raise CampaignError(f"by = {short(self.by)}: expected the name of who signs")
        if len(self.head) != 64 or not set(self.head) <= set("0123456789abcdef") or self.links < 1:
            raise CampaignError(f"head = {short(self.head)} is no head of a chain")

    @property
    def message(self) -> bytes:
        """The text that is signed, four lines."""
        text = f"utc {self.utc}\nby {self.by}\nlinks {self.links}\nhead {self.head}\n"
        return text.encode()


@dataclass(frozen=True)
class Found:
    """One line of the file, as it was checked.

    Attributes
    ----------
    number : int
        Of the line.
    entry : SignedHead or None
        None if it cannot be read.
    key : bytes
        The public key that it was made with; empty if it does not hold.
    problem : str
        Why it does not hold, or "".
    later : int
        Links that the chain got after it, beside those of signatures; only of one that holds.
    """

    number: int
    entry: SignedHead | None = None
    key: bytes = b""
    problem: str = ""
    later: int = 0

    @property
    def words(self) -> str:
        """What it says, in one line; only of one that holds."""
        made = self.entry
        if made is None:
            return self.problem
        return (
            f"signed by {made.by}, {made.utc[:16].replace('T', ' ')} UTC, up to link {made.links}, "
            f"with the key {fingerprint(self.key)}"
        )


def sign_head(folder: Path, by: str, key: Path, passphrase: bytes | None = None) -> Appended:
    """Sign the chain as it is now, and keep the signature.

    Parameters
    ----------
    folder : Path
        The campaign's folder.
    by : str
        Who signs.
    key, passphrase : Path, bytes
        The private key's file; it is read and nothing of it is kept.

    Raises
    ------
    CampaignError
        If there is no whole chain to sign, or the signature cannot be kept.
    SignatureError
        If the key cannot be used.
    """
    begin(folder)
    chain = read_chain(folder)
    if chain.problem or chain.changed or not chain.head:
        why = chain.problem or "a line was edited, removed, moved or put in"
        raise CampaignError(f"the chain is not whole ({why}): look with `tautlog verify`")
    made = SignedHead(stamp(), by, chain.head, len(chain.links))
    made = replace(made, signature=sign(made.message, key, passphrase))
    return add_kept_line(folder / FILE_NAME, json.dumps(asdict(made)).encode())


def read_signed_heads(folder: Path) -> list[Found]:
    """Every line of the file, checked against the chain, which is read only if there is one.

    Raises
    ------
    SignatureError
        If there are signatures, and the library that checks them is not installed.
    """
    try:
        lines = read_ordinary(folder / FILE_NAME).split(b"\n")
    except FileNotFoundError:
        return []
    except OSError as problem:
        return [Found(1, problem=f"it cannot be read: {problem.strerror}")]
    require_library()
    chain = read_chain(folder)
    return [_found(number, line, chain) for number, line in enumerate(lines, 1) if line.strip()]


def check_signed_heads(folder: Path) -> list[Checked]:
    """Check every signature; without the library it is only said that they were not checked."""
    path = folder / FILE_NAME
    if not has_library():
        text = "was not checked: that needs a library, pip install 'tautlog[sign]'"
        return [Checked(path, "unchecked", text)] if os.path.lexists(path) else []
    return [
        Checked(path, "broken", f"line {one.number}: {one.problem}")
        for one in read_signed_heads(folder)
        if one.problem
    ]


def check_key(folder: Path, key: bytes) -> list[Checked]:
    """Check that a signature of a public key holds, and say what no signature of it covers.

    Raises
    ------
    SignatureError
        If the library that checks it is not installed.
    """
    require_library()
    later = [one.later for one in read_signed_heads(folder) if one.key == key]
    if later:
        chain, number = folder / CHAIN_FILE, min(later)
        if not number:
            text = "all links are signed with the key"
            return [Checked(chain, "intact", f"{text} {fingerprint(key)}", links_not_signed=0)]
        text = f"{_not_signed(number)} with the key {fingerprint(key)}: only what was kept before"
        return [Checked(chain, "doubtful", f"{text} it is", links_not_signed=number)]
    text = f"no signature of the key {fingerprint(key)} holds here"
    return [Checked(folder / FILE_NAME, "missing", text)]


def signature_words(folder: Path) -> list[str]:
    """What the signatures that hold say, and how much came after the last of them; often nothing.

    Raises
    ------
    SignatureError
        As `read_signed_heads`.
    """
    holding = [one for one in read_signed_heads(folder) if not one.problem]
    if not holding:
        return []
    later = min(one.later for one in holding)
    left = f"{_not_signed(later)} by anybody" if later else "all links are signed"
    return [*(one.words for one in holding), left]


def _not_signed(links: int) -> str:
    """That there are links which no signature covers."""
    one = links == 1
    return (
        f"NOT ALL OF IT IS SIGNED: {links} link{'' if one else 's'} came after the last "
        f"signature, and what {'it keeps' if one else 'they keep'} is not signed"
    )


def _found(number: int, line: bytes, chain: Chain) -> Found:
    try:
        entry = built(SignedHead, read_json(line))
    except ValueError as problem:
        return Found(number, problem=f"it is no signed head: {problem}")
    try:
        key = signer_of(entry.message, entry.signature)
    except SignatureError as problem:
        return Found(number, entry, problem=str(problem))
    if chain.heads[entry.links - 1 : entry.links] != (entry.head,):
        text = f"it stands for {entry.links} links up to {entry.head[:16]}..., which the chain no"
        return Found(number, entry, problem=f"{text} longer has: cut off, or made anew")
    later = [link for link in chain.links[entry.links :] if link.name != FILE_NAME]
    return Found(number, entry, key, later=len(later))
