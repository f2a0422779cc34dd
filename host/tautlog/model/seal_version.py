"""Seal version: what the seal of a record covers.

It is apart from `record.seal`, so that a list of records need not load h5py.
"""

from __future__ import annotations

ENTRIES_SEALED = 2  # from this version on, status and entries are sealed too
CURRENT = ENTRIES_SEALED
