"""tautlog: from a line that springs taut to a verdict.

The program is the command `tautlog`. For scripts and notebooks there is this::

    import tautlog

    drop = tautlog.open("record.h5")
    drop.marks.peak_force_n      # in class 180
    drop.force(cfc=600)          # newtons, zero removed
    drop.plot()                  # matplotlib axes
    tautlog.plan(mass_kg=9, height_m=1.2, stiffness_n_per_m=21000)
    tautlog.simulate(fault="article-parts").verdict

Importing it loads nothing else; each name is fetched from `tautlog.notebook` when it is first
used. The wings of the package are listed in DEVELOPERS.md.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tautlog.notebook import (
        Campaign,
        Drop,
        DropRecord,
        SimulatedDrop,
        open,
        plan,
        simulate,
    )

__version__ = "0.1.0"  # pyproject.toml takes it from here
__all__ = ["Campaign", "Drop", "DropRecord", "SimulatedDrop", "open", "plan", "simulate"]


def __getattr__(name: str) -> object:
    if name not in __all__:
        raise AttributeError(f"module 'tautlog' has no attribute {name!r}")
    from tautlog import notebook

    return getattr(notebook, name)


def __dir__() -> list[str]:
    return sorted([*__all__, "__version__"])
