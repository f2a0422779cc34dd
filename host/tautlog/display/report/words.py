"""Words of a report for figures and verdicts."""

from __future__ import annotations

from tautlog.model.display_units import SI, Units
from tautlog.model.verdict_words import words


def form(value: float | None, si: str = "", units: Units = SI) -> str:
    """A figure with its unit, to five digits; "-" for None.

    Parameters
    ----------
    value : float or None
        In SI.
    si : str
        Its SI unit, or "".
    units : Units
        Units in which it is shown.
    """
    if value is None:
        return "-"
    unit = units.of(si)
    plain = isinstance(value, int) and unit.size == 1.0
    return f"{value if plain else format(value / unit.size, '.5g')} {unit.name}".strip()


def short(verdict: str | None) -> str:
    """A verdict in words, without the subject: the heading names it."""
    text = words(verdict)
    for head in ("record ", "trace: load path ", "test: "):
        text = text.removeprefix(head)
    return text


def outcome_word(verdict: str) -> str:
    """A test verdict in one or two words."""
    return short(verdict).partition(", the ")[0]


_SHAPES = {
    "pass": "\N{BLACK CIRCLE}",
    "pass-overtested": "\N{BLACK CIRCLE}",
    "fail": "\N{MULTIPLICATION X}",
    "pending": "\N{WHITE DIAMOND}",
}


def outcome_shape(verdict: str) -> str:
    """A sign that tells a test verdict from the others without colour."""
    return _SHAPES.get(verdict, "\N{WHITE CIRCLE}")


_FINDINGS = {
    "deformed-within": "deformed, within what is allowed",
    "deformed-beyond": "deformed beyond what is allowed",
    "not-inspected": "not inspected",
}


def finding_word(finding: str) -> str:
    """What an inspection found, in words."""
    return _FINDINGS.get(finding, finding)


def minute(utc: str) -> str:
    """An ISO time to the minute, as people read it."""
    return f"{utc[:10]} {utc[11:16]} UTC" if len(utc) >= 16 else utc or "-"
