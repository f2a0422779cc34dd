"""``python -m tautlog`` and the ``tautlog`` command."""

import sys

from tautlog.cli import run


def main() -> int:
    """Run the command line; the exit status."""
    return run(sys.argv[1:])


if __name__ == "__main__":
    raise SystemExit(main())
