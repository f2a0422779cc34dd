"""Verdicts, forces and predictions in words, the same on screen, in pictures and on paper."""

from __future__ import annotations

from collections.abc import Iterable

from tautlog.model.display_units import SI, Units
from tautlog.model.predicted import Predicted
from tautlog.model.shown import shown_force

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


def force_text(
    value_n: float | None,
    spread_n: float | None = None,
    levels_n: Iterable[float | None] = (),
    units: Units = SI,
) -> str:
    """A force with its expanded uncertainty, without unit; as `shown_force`, "-" for None."""
    return "-" if value_n is None else shown_force(value_n, spread_n, levels_n, units).interval


def plain_number(value: float, si: str = "", units: Units = SI) -> str:
    """A mass or a height as people write it: four digits, no powers of ten."""
    value /= units.of(si).size
    return f"{value:.4g}" if abs(value) < 1e4 else f"{value:.0f}"


def prediction_words(
    predicted: Predicted, measured_n: float | None = None, units: Units = SI
) -> str:
    """A prediction in words, with measured over predicted if given."""
    peak = predicted.peak_force_n
    band = units.band(predicted.peak_low_n, predicted.peak_high_n, "N")
    text = f"predicted {units.text(peak, 'N')} ({band})"
    if measured_n is not None:
        text += f"; measured over predicted {abs(measured_n) / peak:.3f}"
    return text
