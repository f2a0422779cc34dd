"""Lock: one desk at a time enters things into a campaign."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from tautlog.errors import CampaignError
from tautlog.files.locks import lock

FILE_NAME = ".tautlog-desk.lock"


@contextlib.contextmanager
def only_desk(folder: Path) -> Iterator[None]:
    """Be the only desk of a campaign's folder while inside.

    The lock ends with the program, however it ends; the empty file stays. Where the system does
    not lock files, nothing is refused.

    Raises
    ------
    CampaignError
        If another desk is open on it, or the folder cannot be written.
    """
    path = folder / FILE_NAME
    flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0)
    try:
        descriptor = os.open(path, flags, 0o600)
    except OSError as problem:
        raise CampaignError(
            f"{path} cannot be written ({problem.strerror}): a desk keeps entries in its campaign"
        ) from problem
    try:
        lock(descriptor, wait=False)
        yield
    except BlockingIOError as problem:
        raise CampaignError(
            f"another desk is open on {folder}: use its link, or end it with Ctrl-C first"
        ) from problem
    finally:
        os.close(descriptor)
