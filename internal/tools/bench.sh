#!/bin/bash
# bench.sh runs the benchmarks; their figures are this machine's, so it ends
# with ratios, which carry over.
set -euo pipefail
cd "$(dirname "$0")/../.."
mkdir -p .build
status=0
go test -run '^$' -bench "${1:-.}" ./... | tee .build/bench.txt || status=$?
# Frames, a sale and a code in a photo in the web app; with another pattern only what is asked for.
if [ "${1:-.}" = . ]; then
  (cd pwa && WARMHAND_BENCH=1 npm run -s e2e -- --project phone) | tee .build/frames.txt || status=$?
fi
awk '
  /^BenchmarkHTTPLogs8/ { for (i = 3; i < NF; i += 2) if ($(i + 1) == "of-bare") of_bare = of_bare sprintf("%-56s %.2f\n", "logs/s by HTTP of bare writes, " substr($1, 20), $i) }
  /^BenchmarkIntake12MP/ { split($1, part, /[\/-]/); for (i = 3; i < NF; i += 2) if ($(i + 1) == "cpu-ms/op") cpu[part[2]] = $i }
  /^BenchmarkImport10000/ { for (i = 3; i < NF; i += 2) { if ($(i + 1) == "of-bare") import_of_bare = $i; if ($(i + 1) == "log-max-ms") log_max = $i } }
  /^Benchmark/ { name = $1; sub(/-[0-9]+$/, "", name); for (i = 3; i < NF; i += 2) if ($(i + 1) == "ns/op") ns[name] = $i }
  function ratio(text, a, b) { if (ns[a] && ns[b]) printf "%-56s %.2f\n", text, ns[a] / ns[b] }
  END {
    print ""
    printf "%s", of_bare
    if (import_of_bare) printf "%-56s %.2f\n%-56s %.0f\n", "a list of 10,000 rows, of bare writes of the same", import_of_bare, "  the longest that a log waited meanwhile, ms", log_max
    if (cpu["libvips"]) printf "%-56s %.2f\n", "intake of a 12 MP JPEG against libvips (CPU time)", cpu["ours"] / cpu["libvips"]
    ratio("  the same by the clock", "BenchmarkIntake12MP/ours", "BenchmarkIntake12MP/libvips")
    ratio("reading a workbook of 10,000 rows against a library", "BenchmarkRead10000/ours", "BenchmarkRead10000/library")
    ratio("a code found in 12 megapixels against one reading of them", "BenchmarkFind/12MP", "BenchmarkPass/12MP")
    ratio("a code found in 1600 pixels against one reading of them", "BenchmarkFind/1600px", "BenchmarkPass/1600px")
    ratio("a stored entry against a bare group commit (time)", "BenchmarkWrite8", "BenchmarkBareGroupCommit8")
  }' .build/bench.txt
grep '^zoom and pan\|^sale from\|^a code in a photo' .build/frames.txt 2>/dev/null || true
exit $status
