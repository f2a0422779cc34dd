"""Thinning: what is drawn of a long curve, so that no peak of it is lost."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

Places = npt.NDArray[np.intp]


def extremes(values: npt.NDArray[Any], per: int) -> tuple[Places, Places]:
    """Places of the lowest and of the highest value of each stretch of `per` values.

    The last stretch may be shorter. Where values are missing those that are there count; of
    a stretch in which all are missing its first is given.
    """
    whole = values.size // per * per
    low, high = _in_rows(values[:whole].reshape(-1, per))
    starts = np.arange(0, values.size, per)
    if whole < values.size:
        last_low, last_high = _in_rows(values[np.newaxis, whole:])
        low, high = np.append(low, last_low), np.append(high, last_high)
    return starts + low, starts + high


def _in_rows(table: npt.NDArray[Any]) -> tuple[Places, Places]:
    """Where in its row the lowest and the highest value stands."""
    if table.dtype.kind == "f" and not (known := np.isfinite(table)).all():
        return (
            np.where(known, table, np.inf).argmin(axis=1),
            np.where(known, table, -np.inf).argmax(axis=1),
        )
    return table.argmin(axis=1), table.argmax(axis=1)


def thinned(values: npt.NDArray[np.float64], most: int) -> Places:
    """Places of what is drawn of a curve: all, or the extremes of each of `most` / 2 stretches.

    In order, each once; the first and the last are among them.
    """
    if values.size <= most:
        return np.arange(values.size)
    ends = extremes(values, -(-values.size // (most // 2)))
    return np.unique(np.concatenate([*ends, [0, values.size - 1]]))
