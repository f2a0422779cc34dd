"""Worked figures of the sheets: each is reckoned here, and a test holds the text to it.

A sheet writes the figure and names it behind: ``229 J<!--=catch.energy-->``. The name is that of
a function here, in the module that bears the sheet's subject, marked with ``figure``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

FIGURES: dict[str, Figure] = {}


@dataclass(frozen=True)
class Figure:
    """One number of a sheet.

    Attributes
    ----------
    name : str
        Subject and name, as the sheet has them: ``catch.energy``.
    unit : str
        As the sheet writes it behind the number; empty for a ratio.
    form : str
        Format of the number: ``.0f``, ``.3g``.
    value : callable
        Gives the number, in the unit.
    """

    name: str
    unit: str
    form: str
    value: Callable[[], float]

    @property
    def text(self) -> str:
        """The figure as the sheet must write it: ``229 J``."""
        return f"{self.value():{self.form}} {self.unit}".strip().replace("-", "\N{MINUS SIGN}")


def figure(unit: str, form: str = ".3g") -> Callable[[Callable[[], float]], Callable[[], float]]:
    """Enter a function without arguments; its module and name are the figure's name."""

    def enter(function: Callable[[], float]) -> Callable[[], float]:
        subject = function.__module__.rpartition(".")[2]
        name = f"{subject}.{function.__name__}"
        if name in FIGURES:
            raise ValueError(f"{name} is there twice")
        FIGURES[name] = Figure(name, unit, form, function)
        return function

    return enter
