#!/bin/bash
# generate.sh [FOLDER] makes the code that comes from proto/, into the tree or,
# laid out alike, into FOLDER.
set -euo pipefail
cd "$(dirname "$0")/../.."
out=${1:-.}
rm -rf "$out/internal/gen/warmhand" "$out/pwa/src/api/gen" "$out/.build/openapi"
.build/tools/buf generate -o "$out"
.build/tools/openapiv3-merge internal/tools/openapi.json "$out"/.build/openapi/warmhand/v1/*.json >"$out/internal/gen/openapi.json"
