"""tautlog: from a line that springs taut to a verdict.

Reading order is the order of the data: `link`, `session`, `receiver`,
`record`, `trace`, `filters`, `marks`, `judge`, `picture`. `predict` and
`calibration` stand beside it; `rehearsal` is the rig without the rig.
"""

from importlib.metadata import version

__version__ = version("tautlog")
