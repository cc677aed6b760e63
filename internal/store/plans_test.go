package store

import (
	"os"
	"slices"
	"strings"
	"testing"

	"warmhand/internal/store/storetest"
)

// scansAllowed are the queries that may read a table from end to end.
var scansAllowed = map[string]string{
	"list discarded photos: d":                "a queue that the sweep empties",
	"claim due cases: due":                    "no table: what was just found",
	"list troubles: ways":                     "an index of those in trouble alone",
	"list photo hashes: photos":               "warmhand check, which reads everything",
	"read import: imports":                    "an index of those under way alone",
	"read the schema version: schema_version": "it has one row",
	"count: breeders":                         "what warmhand backup and check say at the end",
	"count: animals":                          "the same",
	"count: entries":                          "the same",
	"count: cases":                            "the same",
}

// No query reads a table from end to end: an index serves each, in whatever
// size. PostgreSQL is told to scan only where nothing else is possible, because
// on an empty table it would scan always.
func TestNoQueryReadsATable(t *testing.T) {
	t.Parallel()
	t.Run("sqlite", func(t *testing.T) {
		t.Parallel()
		checkPlans(t, Config{Dir: t.TempDir()})
	})
	t.Run("postgres", func(t *testing.T) {
		t.Parallel()
		checkPlans(t, Config{URL: storetest.Schema(t) + "&options=-c%20enable_seqscan%3Doff"})
	})
}

func checkPlans(t *testing.T, c Config) {
	t.Helper()
	plans, err := Plans(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	if len(plans) < 90 {
		t.Errorf("%d plans: some queries are missing", len(plans))
	}
	used := map[string]bool{}
	for _, p := range plans {
		if os.Getenv("WARMHAND_PLANS") != "" {
			t.Logf("%s\n%s\n  %s", p.Query, p.Text, strings.Join(p.Steps, "\n  "))
		}
		for _, table := range p.Scans {
			key := p.Query + ": " + table
			if used[key] = true; scansAllowed[key] == "" {
				t.Errorf("%s reads all of %s:\n%s\n  %s", p.Query, table, p.Text, strings.Join(p.Steps, "\n  "))
			}
		}
	}
	var never []string
	for key := range scansAllowed {
		if !used[key] {
			never = append(never, key)
		}
	}
	slices.Sort(never)
	t.Log("allowed and not needed here:", never)
}
