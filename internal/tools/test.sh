#!/bin/bash
# test.sh runs every check, the later ones too when one fails, and sums up.
set -uo pipefail
cd "$(dirname "$0")/../.."
summary=() passed=0 failed=0

step() {
  local name=$1 from=$SECONDS status=ok
  shift
  echo
  echo "== $name"
  if "$@"; then passed=$((passed + 1)); else failed=$((failed + 1)) status=FAILED; fi
  summary+=("$(printf '%-8s %-34s %4d s' $status "$name" $((SECONDS - from)))")
}

gofmt_clean() {
  local bad
  bad=$(git ls-files -co --exclude-standard '*.go' | xargs -r ls -d 2>/dev/null | xargs gofmt -l) || return 1
  [ -z "$bad" ] || { echo "Not formatted (make fmt): $bad"; return 1; }
}
vet() { go vet ./... && (cd internal/tools && go vet ./...); }
tool_tests() { (cd internal/tools && go test ./...); }
npm_run() { (cd pwa && npm run -s "$@"); }

# First the build: the Go tests serve the web app that it puts in.
step "web app and its size" make -s web
step "program" make -s build
step "contract" make -s proto-check
step "Go format" gofmt_clean
step "Go vet" vet
step "Go tests" internal/tools/with-postgres.sh internal/tools/go-tests.sh
step "tests of the tools" tool_tests
step "TypeScript types" npm_run check
step "lint of the web app" npm_run lint
step "unit tests of the web app" npm_run test
step "browser tests" npm_run e2e

echo
printf '%s\n' "${summary[@]}"
echo "$passed passed, $failed failed"
[ $failed = 0 ]
