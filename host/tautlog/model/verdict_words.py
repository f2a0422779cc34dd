"""Verdicts, forces and predictions in words, the same on screen, in pictures and on paper."""

from __future__ import annotations

from tautlog.model.predicted import Predicted

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
    "within": "below its limit",  # of a leg without a target
    "at-least": "AT LEAST this load (a lower bound)",
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
    """A verdict in words; None is a load without a target."""
    return (
        "load not judged (no target)" if verdict is None else _WORDS.get(str(verdict), str(verdict))
    )


def force_text(value: float | None, spread: float | None = None) -> str:
    """A force in whole newtons with its expanded uncertainty, the same in list and report."""
    if value is None:
        return "-"
    return f"{value:.0f}" + ("" if spread is None else f" +/- {spread:.0f}")


def plain_number(value: float) -> str:
    """A mass or a height as people write it: four digits, no powers of ten."""
    return f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"


def prediction_words(predicted: Predicted, measured_n: float | None = None) -> str:
    """A prediction in words, with measured over predicted if given."""
    peak = predicted.peak_force_n
    text = f"predicted {peak:.0f} N ({predicted.peak_low_n:.0f} to {predicted.peak_high_n:.0f} N)"
    if measured_n is not None:
        text += f"; measured over predicted {abs(measured_n) / peak:.3f}"
    return text
