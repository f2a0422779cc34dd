"""``python -m tautlog`` and the ``tautlog`` command."""

import os
import sys

from tautlog.cli import run


def main() -> int:
    """Run the command line; the exit status."""
    # The systems of equations here are small. Threads of the linear algebra only spin beside
    # them (twice the processor time, for nothing), stand in each other's way where records are
    # marked on all cores, and may round otherwise on another machine. An existing setting wins.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    return run(sys.argv[1:])


if __name__ == "__main__":
    raise SystemExit(main())
