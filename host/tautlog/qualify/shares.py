"""Shares: how large a share of all parts stands a load, when n articles were tried.

Articles are independent samples of one version, tried once each, and each either stood or did not.
Sources: C. J. Clopper and E. S. Pearson, Biometrika 26 (1934), 404-413; without a failure the lower
bound is the success-run theorem, R = (1 - C)**(1 / n).
"""

from __future__ import annotations

import math

from scipy.stats import beta

from tautlog.errors import StatementError

MOST_ARTICLES = 1_000_000  # a rig will not drop so many


def require_share(name: str, value: float) -> float:
    """Return a share that is neither nothing nor all.

    Raises
    ------
    StatementError
        If it is not between 0 and 1; nobody can show 1 with a finite number of articles.
    """
    if isinstance(value, bool) or not 0.0 < value < 1.0:
        raise StatementError(f"{name} = {value!r}: allowed is a share > 0 and < 1, such as 0.9")
    return float(value)


def lower_share(successes: int, n: int, confidence: float) -> float:
    """Lower bound of the share that stands, at a one-sided confidence (Clopper-Pearson).

    Parameters
    ----------
    successes, n : int
        Articles that stood, and articles tried.
    confidence : float
        One-sided confidence, a share.

    Returns
    -------
    float
        0 if none stood.

    Raises
    ------
    StatementError
        If the counts are not counts.
    """
    require_share("confidence", confidence)
    if not (0 <= successes <= n and n > 0):
        raise StatementError(f"{successes} of {n} articles: expected 0 <= successes <= n and n > 0")
    if successes == 0:
        return 0.0
    return float(beta.ppf(1.0 - confidence, successes, n - successes + 1))


def articles_needed(reliability: float, confidence: float, failures: int = 0) -> int:
    """Fewest articles that show a reliability if this many of them fail.

    Raises
    ------
    StatementError
        If a share is out of range, or more articles would be needed than anybody drops.
    """
    require_share("reliability", reliability)
    require_share("confidence", confidence)
    if failures < 0:
        raise StatementError(f"failures = {failures}: allowed is 0 or more")

    def shows(n: int) -> bool:
        # A bound that meets the reliability but for rounding meets it.
        return lower_share(n - failures, n, confidence) >= reliability - 1e-12

    enough = failures + 1
    while not shows(enough):
        enough *= 2
        if enough > MOST_ARTICLES:
            raise StatementError(
                f"reliability {reliability:g} at confidence {confidence:g} needs more than "
                f"{MOST_ARTICLES} articles: ask for less"
            )
    least = max(enough // 2, failures + 1)
    while least < enough:
        middle = (least + enough) // 2
        least, enough = (least, middle) if shows(middle) else (middle + 1, enough)
    return enough


def success_run(reliability: float, confidence: float) -> int:
    """Articles that must stand without a failure, by the closed form ln(1 - C) / ln(R)."""
    require_share("reliability", reliability)
    require_share("confidence", confidence)
    exact = math.log1p(-confidence) / math.log(reliability)
    return max(math.ceil(exact - 1e-9), 1)
