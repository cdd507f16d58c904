"""`python -m treescan` and the `treescan` command."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line."""
    try:
        from treescan.faces.guard.watcher import start_watcher

        start_watcher()
        from treescan.faces.cli.commands import run

        sys.exit(run(sys.argv[1:]))
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
