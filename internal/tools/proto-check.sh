#!/bin/bash
# proto-check.sh: the contract is well formed, breaks nobody who spoke the one
# before it, and the generated code is made from it.
set -euo pipefail
cd "$(dirname "$0")/../.."
tmp=.build/proto-check
rm -rf $tmp
mkdir -p $tmp
.build/tools/buf lint

# Compared with where this branch left main, and on main with the commit before.
before=$(git merge-base HEAD origin/main 2>/dev/null || git merge-base HEAD main 2>/dev/null || true)
if [ -z "$before" ] || [ "$before" = "$(git rev-parse HEAD 2>/dev/null || true)" ]; then
  before=$(git rev-parse -q --verify HEAD~1 2>/dev/null || true)
fi
if [ -n "$before" ] && git cat-file -e "$before:proto/warmhand" 2>/dev/null && git cat-file -e "$before:buf.yaml" 2>/dev/null; then
  mkdir -p $tmp/before/.build
  git archive "$before" proto buf.yaml | tar -x -C $tmp/before
  cp -r .build/proto-deps $tmp/before/.build/
  .build/tools/buf breaking --against $tmp/before
  echo "Nothing in the contract breaks what $(git rev-parse --short "$before") had."
else
  echo "No earlier contract here to compare with: not checked for breaking changes."
fi

mkdir -p $tmp/made/internal/gen
internal/tools/generate.sh $tmp/made
for path in internal/gen/warmhand internal/gen/openapi.json pwa/src/api/gen; do
  diff -rq $path $tmp/made/$path || { echo "Generated code is not up to date: run make proto" >&2; exit 1; }
done
echo "Generated code is up to date."
