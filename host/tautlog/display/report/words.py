"""Words of a report for figures and verdicts."""

from __future__ import annotations

from tautlog.model.verdict_words import words


def form(value: float | None, unit: str = "") -> str:
    """A figure with its unit, to five digits; "-" for None."""
    if value is None:
        return "-"
    text = str(value) if isinstance(value, int) else f"{value:.5g}"
    return f"{text} {unit}".strip()


def short(verdict: str | None) -> str:
    """A verdict in words, without the subject: the heading names it."""
    text = words(verdict)
    for head in ("record ", "trace: load path ", "test: "):
        text = text.removeprefix(head)
    return text
