#!/bin/bash
# lighthouse.sh: how Lighthouse sees the keeper's home and the triage list, in Debian's Chromium, against the
# demonstration. Fails below 95 in any category. It is no part of "make test": its numbers need a machine at rest.
set -euo pipefail
cd "$(dirname "$0")/../.."
here=.build/lighthouse
mkdir -p "$here"
if ! cmp -s internal/tools/lighthouse/package-lock.json "$here/package-lock.json" || [ ! -e "$here/node_modules/.installed" ]; then
  cp internal/tools/lighthouse/package*.json "$here/"
  npm ci --prefix "$here" --no-audit --no-fund
  touch "$here/node_modules/.installed"
fi
cp internal/tools/lighthouse/run.mjs "$here/"

data=$(mktemp -d)
port=${WARMHAND_E2E_PORT:-4174}
.build/warmhand demo --data "$data/data" --listen "localhost:$port" --addresses "$data/addresses.json" >"$data/log" 2>&1 &
server=$!
trap 'kill $server 2>/dev/null; wait $server 2>/dev/null || true; rm -rf "$data"' EXIT
for _ in $(seq 120); do
  [ -s "$data/addresses.json" ] && break
  kill -0 $server 2>/dev/null || { cat "$data/log" >&2; exit 1; }
  sleep 0.5
done
node "$here/run.mjs" "$data/addresses.json"
