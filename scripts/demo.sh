#!/usr/bin/env bash
# Sets treescan up and plans one of the sample scans; says where the report is.
set -euo pipefail
cd "$(dirname "$0")/.."
bash scripts/setup.sh
out="${1:-out}"
.venv/bin/treescan plan sample_clouds/quillmoor_green_qg07.laz --species "oak" -o "$out"
