"""SSH signatures: a text signed with a person's own key, as OpenSSH signs files.

Format: OpenSSH's PROTOCOL.sshsig, version 1, over SHA-512, with a key of kind ssh-ed25519 (RFC
8032, RFC 8709). `ssh-keygen -Y verify` reads these signatures, and this module those of
`ssh-keygen -Y sign`. The arithmetic is that of the library `cryptography`, an extra: it is needed
by whoever signs, or checks a signature, and by nobody else.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import struct
import warnings
from pathlib import Path
from typing import TYPE_CHECKING

from tautlog.errors import SignatureError
from tautlog.files.ordinary import read_ordinary

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

KIND = "ssh-ed25519"
NAMESPACE = "tautlog"  # a signature for another purpose is none for this one
_MAGIC = b"SSHSIG"
_VERSION = 1
_HASH = b"sha512"
_BEGIN, _END = "-----BEGIN SSH SIGNATURE-----", "-----END SSH SIGNATURE-----"
_COLUMNS = 70  # as ssh-keygen breaks its lines
_MOST_KEY_BYTES = 1 << 16  # own choice: a key of this kind has some 400
_RAW_BYTES, _SIGNATURE_BYTES = 32, 64  # RFC 8032, 5.1


def has_library() -> bool:
    """Whether the library that signs and checks is installed."""
    from importlib.util import find_spec

    return find_spec("cryptography") is not None


def sign(message: bytes, key: Path, passphrase: bytes | None = None) -> str:
    """Sign a message.

    Parameters
    ----------
    message : bytes
        What is signed.
    key : Path
        The private key's file, as `ssh-keygen -t ed25519` writes it.
    passphrase : bytes, optional
        Of the key's file.

    Returns
    -------
    str
        The signature, with its first and last line.

    Raises
    ------
    SignatureError
        If the key cannot be read or is of another kind; `needs_passphrase` says that it is locked.
    """
    private = _private(key, passphrase)
    raw = private.public_key().public_bytes_raw()
    signature = _string(KIND.encode()) + _string(private.sign(_signed_data(message)))
    blob = _MAGIC + struct.pack(">I", _VERSION) + _string(_public_blob(raw))
    blob += _string(NAMESPACE.encode()) + _string(b"") + _string(_HASH) + _string(signature)
    text = base64.b64encode(blob).decode()
    lines = [text[at : at + _COLUMNS] for at in range(0, len(text), _COLUMNS)]
    return "\n".join([_BEGIN, *lines, _END])


def signer_of(message: bytes, signature: str) -> bytes:
    """Check a signature of a message.

    Returns
    -------
    bytes
        The public key that it was made with, 32 bytes. Whose key that is, no signature says.

    Raises
    ------
    SignatureError
        If it is no signature of this message, or the library is not installed.
    """
    require_library()
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    raw, made = _read(signature)
    try:
        Ed25519PublicKey.from_public_bytes(raw).verify(made, _signed_data(message))
    except (InvalidSignature, ValueError) as problem:
        raise SignatureError("the signature is not one of what it stands beside") from problem
    return raw


def read_public(path: Path) -> bytes:
    """The public key in a file, one line as ssh-keygen writes it: 32 bytes.

    Raises
    ------
    SignatureError
        If there is none, or it is of another kind.
    """
    words = _content(path).decode(errors="replace").split()
    try:
        kind, text = words[:2]
        if kind != KIND:
            raise ValueError
        return _raw_of(base64.b64decode(text, validate=True))
    except ValueError as problem:
        raise SignatureError(
            f"{path} holds no public key of kind {KIND}: give the .pub file of a key that "
            "`ssh-keygen -t ed25519` made"
        ) from problem


def fingerprint(raw: bytes) -> str:
    """The name of a public key, as `ssh-keygen -l` shows it."""
    digest = hashlib.sha256(_public_blob(raw)).digest()
    return "SHA256:" + base64.b64encode(digest).decode().rstrip("=")


def _private(key: Path, passphrase: bytes | None) -> Ed25519PrivateKey:
    require_library()
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_ssh_private_key

    content = _content(key)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of kinds of keys that are refused below
            private = load_ssh_private_key(content, passphrase)
    except TypeError as problem:  # it has a passphrase and none was given, or the reverse
        raise SignatureError(
            f"{key} has a passphrase: sign at a terminal, where it is asked for",
            needs_passphrase=True,
        ) from problem
    except (ValueError, UnsupportedAlgorithm) as problem:
        why = "the passphrase is another one, or it is" if passphrase else "it is"
        raise SignatureError(
            f"{key} cannot be used: {why} no private key as `ssh-keygen -t ed25519` makes one"
        ) from problem
    if not isinstance(private, Ed25519PrivateKey):
        raise SignatureError(f"{key} is a key of another kind: expected {KIND}")
    return private


def require_library() -> None:
    """Say how to get the library, if it is not there.

    Raises
    ------
    SignatureError
        If it is not.
    """
    if not has_library():
        raise SignatureError("signatures need a library: pip install 'tautlog[sign]'")


def _content(path: Path) -> bytes:
    try:
        return read_ordinary(path, _MOST_KEY_BYTES)
    except OSError as problem:
        raise SignatureError(f"{path} cannot be read: {problem.strerror}") from problem


def _signed_data(message: bytes) -> bytes:
    """What the key signs: never the message itself, so no signature serves two purposes."""
    digest = hashlib.sha512(message).digest()
    return _MAGIC + b"".join(map(_string, (NAMESPACE.encode(), b"", _HASH, digest)))


def _read(signature: str) -> tuple[bytes, bytes]:
    """Public key and signature, each without its frame."""
    lines = signature.strip().split("\n")
    try:
        if (lines[0], lines[-1]) != (_BEGIN, _END):
            raise ValueError("no frame")
        blob = base64.b64decode("".join(lines[1:-1]), validate=True)
        if blob[:10] != _MAGIC + struct.pack(">I", _VERSION):
            raise ValueError("another format")
        public, namespace, reserved, hashed, made = _strings(blob[10:], 5)
        if (namespace, reserved, hashed) != (NAMESPACE.encode(), b"", _HASH):
            raise ValueError("another purpose")
        kind, inner = _strings(made, 2)
        if kind != KIND.encode() or len(inner) != _SIGNATURE_BYTES:
            raise ValueError("another kind")
        return _raw_of(public), inner
    except (ValueError, binascii.Error) as problem:
        raise SignatureError(f"it is no signature of kind {KIND} for {NAMESPACE}") from problem


def _raw_of(blob: bytes) -> bytes:
    kind, raw = _strings(blob, 2)
    if kind != KIND.encode() or len(raw) != _RAW_BYTES:
        raise ValueError("another kind of key")
    return raw


def _public_blob(raw: bytes) -> bytes:
    return _string(KIND.encode()) + _string(raw)


def _string(content: bytes) -> bytes:
    """A string of RFC 4251, section 5: its length, then its bytes."""
    return struct.pack(">I", len(content)) + content


def _strings(blob: bytes, count: int) -> list[bytes]:
    """Exactly so many strings.

    Raises
    ------
    ValueError
        If there are fewer, or more follows.
    """
    found = []
    for _ in range(count):
        length = int.from_bytes(blob[:4], "big")
        if len(blob) < 4 + length or len(blob) < 4:
            raise ValueError("cut short")
        found.append(blob[4 : 4 + length])
        blob = blob[4 + length :]
    if blob:
        raise ValueError("more follows")
    return found
