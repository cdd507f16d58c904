#!/usr/bin/env bash
# Sets treescan up and runs its tests: `test.sh` the fast ones, `test.sh checked` the style and type checks too, `test.sh all` also the slow ones.
set -euo pipefail
cd "$(dirname "$0")/.."
bash scripts/setup.sh dev
processes=(-n 2 --dist loadfile)
if [ "${1:-}" = all ]; then
    .venv/bin/ruff check .
    .venv/bin/mypy
    .venv/bin/python -m pytest -q "${processes[@]}" -m "slow or not slow" --durations=15
elif [ "${1:-}" = checked ]; then
    .venv/bin/ruff check .
    .venv/bin/mypy
    .venv/bin/python -m pytest -q "${processes[@]}" --durations=15
else
    .venv/bin/python -m pytest -q "${processes[@]}"
fi
