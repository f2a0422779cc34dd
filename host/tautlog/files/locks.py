"""Locks: keep other programs off a file while it is open."""

from __future__ import annotations

try:
    import fcntl
except ImportError:  # Windows has no such lock: a second writer is not refused
    fcntl = None  # type: ignore[assignment]

LOCKS = fcntl is not None


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
