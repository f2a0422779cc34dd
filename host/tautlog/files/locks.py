"""Locks: keep other programs off a file while it is open, and wait for one's turn."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TypeVar

try:
    import fcntl
except ImportError:  # Windows has no such lock: a second writer is not refused
    fcntl = None  # type: ignore[assignment]

LOCKS = fcntl is not None
TURN_S = 60.0  # own choice: twenty programs that add to one record take half a minute at worst
_LOOK_S = 0.02

Found = TypeVar("Found")


def in_turn(opens: Callable[[], Found]) -> Found:
    """Open what another program may be using for a moment; try again until it is free.

    Raises
    ------
    BlockingIOError
        If it is not free after `TURN_S` seconds.
    """
    end_s = time.monotonic() + TURN_S
    while True:
        try:
            return opens()
        except BlockingIOError:
            if time.monotonic() >= end_s:
                raise
        time.sleep(_LOOK_S)


def lock(descriptor: int, *, wait: bool) -> None:
    """Lock an open file against other programs until it is closed.

    This is the advisory lock that the HDF5 library itself takes. Nothing is locked on a system
    or file system without locks, such as some network folders.

    Parameters
    ----------
    descriptor : int
        The open file.
    wait : bool
        Wait for the program that holds the lock.

    Raises
    ------
    BlockingIOError
        If another program holds the lock and `wait` is not set.
    """
    if fcntl is None:
        return
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise
    except OSError:
        return  # no locks here
