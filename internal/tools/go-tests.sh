#!/bin/bash
# go-tests.sh runs the Go tests; with-postgres.sh gives it a database. The
# pure rooms start no goroutine, so the race detector would find nothing in
# them and make their long computations many times slower. Here no test may be
# skipped for want of a tool.
set -uo pipefail
export WARMHAND_REQUIRE_POSTGRES=1 WARMHAND_REQUIRE_REFERENCE=1 WARMHAND_REQUIRE_PRINT=1
cd "$(dirname "$0")/../.."
pure='^warmhand/internal/(assess|care|casefile|insight|measure|print|reference|sheet|snake)(/|$)'
all=$(go list ./...) || exit 1
status=0
go test -timeout 10m $(grep -E "$pure" <<<"$all") || status=1
go test -race -timeout 10m $(grep -vE "$pure" <<<"$all") || status=1
exit $status
