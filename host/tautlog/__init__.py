"""tautlog: from a line that springs taut to a verdict.

Reading order is the order of the data: `link`, `session`, `receiver`,
`record`, `trace`, `filters`, `marks`, `judge`, `picture`. `predict` and
`calibration` stand beside it; `rehearsal` is the rig without the rig.
"""

import os

# The systems of equations here are small. Threads of the linear algebra only spin beside
# them (twice the processor time, for nothing), stand in each other's way where records are
# marked on all cores, and may round otherwise on another machine. Who sets it, is heard.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"  # pyproject.toml takes it from here
