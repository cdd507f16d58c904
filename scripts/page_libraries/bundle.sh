#!/usr/bin/env bash
# Makes treescan/outputs/report/page/three.min.js anew from the npm registry; needs node and npm, and is run by hand when three.js moves on.
set -euo pipefail
here="$(cd "$(dirname "$0")" && pwd)"
out="$here/../../treescan/outputs/report/page/three.min.js"
work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
cp "$here/three_parts.js" "$work/"
cd "$work"
npm init -y >/dev/null
npm install --silent three@0.187.0 esbuild@0.28.2
version="$(node -p 'require("./node_modules/three/package.json").version')"
node_modules/.bin/esbuild three_parts.js --bundle --minify --format=iife --global-name=THREE --legal-comments=none \
    --banner:js="/* three.js $version, MIT licence, Copyright 2010-2026 three.js authors; bundled by scripts/page_libraries/bundle.sh */" --outfile="$out"
echo "$out: $(wc -c <"$out") bytes"
