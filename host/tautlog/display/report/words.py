"""Words that a report has for figures and verdicts."""

from __future__ import annotations

from tautlog.model.verdict_words import words


def form(value: float | None, unit: str = "") -> str:
    """A figure with its unit, five digits of it; "-" where there is none."""
    if value is None:
        return "-"
    told = str(value) if isinstance(value, int) else f"{value:.5g}"
    return f"{told} {unit}".strip()


def short(verdict: str | None) -> str:
    """A verdict in words under a heading that says of what it is."""
    told = words(verdict)
    for head in ("record ", "trace: load path ", "test: "):
        told = told.removeprefix(head)
    return told
