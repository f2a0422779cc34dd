"""Verdicts in words, the same on screen, picture and paper."""

_WORDS = {
    "valid": "record valid",
    "suspect": "record SUSPECT",
    "invalid": "record INVALID",
    "no-load": "no load reached the part",
    "under": "UNDER target",
    "unproven": "target NOT PROVEN (within the uncertainty)",
    "on-target": "ON TARGET",
    "possible-overload": "POSSIBLE OVERLOAD",
    "overload": "OVERLOAD",
    "at-least": "AT LEAST this load (clipped or gapped)",
    "held": "trace: load path HELD",
    "let-go": "trace: load path LET GO",
    "slipped": "trace: load path SLIPPED",
    "unclear": "trace: load path UNCLEAR",
    "pass": "test: PASS",
    "pass-overtested": "test: PASS, over-tested",
    "fail": "test: FAIL",
    "no-test": "test: NO TEST",
    "no-verdict": "test: NO VERDICT",
    "pending": "test: pending, the article is not inspected",
}


def words(verdict: object) -> str:
    """A verdict in words; that of a load without a target for None."""
    return (
        "load not judged (no target)" if verdict is None else _WORDS.get(str(verdict), str(verdict))
    )
