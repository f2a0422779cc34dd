"""Tolerance: the strength that a share of all parts has, from articles that all broke.

One-sided lower tolerance limit of a normal distribution, mean - k s, with k from the noncentral
t distribution: k = t(C; n - 1, z(R) sqrt(n)) / sqrt(n) (NIST/SEMATECH e-Handbook of Statistical
Methods, 7.2.6.3). A share of 0.90 at confidence 0.95 is called B-basis, 0.99 A-basis
(MIL-HDBK-17-1F, chapter 8).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.stats import nct, norm

from tautlog.errors import StatementError
from tautlog.qualify.shares import require_share

FEWEST = 3  # with two, k is above 20 and the limit says nothing; own choice


def one_sided_factor(n: int, reliability: float, confidence: float) -> float:
    """The factor k of a one-sided tolerance limit from n values.

    Raises
    ------
    StatementError
        With fewer than two values, or a share out of range.
    """
    require_share("reliability", reliability)
    require_share("confidence", confidence)
    if n < 2:
        raise StatementError(f"n = {n}: expected 2 values or more")
    away = float(norm.ppf(reliability)) * math.sqrt(n)
    return float(nct.ppf(confidence, n - 1, away)) / math.sqrt(n)


def normal_lower_limit(values: Sequence[float], reliability: float, confidence: float) -> float:
    """Value that a share of the population exceeds, at a confidence; it may be negative.

    Parameters
    ----------
    values : sequence of float, length n
        Strengths of articles that all broke.
    reliability, confidence : float
        The share, and the one-sided confidence.

    Raises
    ------
    StatementError
        With fewer than `FEWEST` values, or one that is not a force.
    """
    strengths = np.asarray(values, dtype=float)
    if strengths.size < FEWEST:
        raise StatementError(f"{strengths.size} breaks: expected {FEWEST} or more")
    if not (np.isfinite(strengths).all() and (strengths > 0.0).all()):
        raise StatementError("a strength is not a positive number")
    k = one_sided_factor(strengths.size, reliability, confidence)
    return float(strengths.mean() - k * strengths.std(ddof=1))
