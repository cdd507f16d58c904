"""`python -m treescan` and the `treescan` command."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line."""
    from treescan.faces.cli.commands import run

    sys.exit(run(sys.argv[1:]))


if __name__ == "__main__":
    main()
