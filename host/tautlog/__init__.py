"""tautlog: from a line that springs taut to a verdict.

Reading order is the order of the data: `link`, `session`, `receiver`,
`record`, `trace`, `filters`, `marks`, `judge`, `picture`. `predict` and
`calibration` stand beside it; `rehearsal` is the rig without the rig.
"""

__version__ = "0.1.0"  # pyproject.toml takes it from here
