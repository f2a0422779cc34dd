"""Seal version: what the seal of a record covers, by the number that it carries.

It stands apart from `record.seal`, so that what only tells of records need not load h5py.
"""

from __future__ import annotations

ENTRIES_SEALED = 2  # from here on status and entries are sealed too
CURRENT = ENTRIES_SEALED
