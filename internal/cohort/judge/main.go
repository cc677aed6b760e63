// Judge prints how the assessment does on simulated cohorts, beside the best
// tuned rules of thumb; with -out it writes the page's table and plots as well.
package main

import (
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"warmhand/internal/cohort"
)

func main() {
	if err := run(os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "judge:", err)
		os.Exit(1)
	}
}

func run(args []string, stdout io.Writer) error {
	flags := flag.NewFlagSet("judge", flag.ContinueOnError)
	only := flags.String("world", "", "one world only, by its name; the page is left as it is")
	books := flags.Int("books", 75, "books of 40 animals for each seed")
	tuned := flags.String("tuned", "101,102", "seeds that thresholds and rules are tuned on")
	judged := flags.String("judged", "7001,7002,7003", "seeds that they are then applied to")
	out := flags.String("out", "", "folder for results.md and plots; nothing is written without")
	if err := flags.Parse(args); err != nil {
		return err
	}
	tune, err := seeds(*tuned)
	if err != nil {
		return err
	}
	judge, err := seeds(*judged)
	if err != nil {
		return err
	}
	worlds := cohort.Worlds()
	if *only != "" {
		w, err := cohort.ByName(*only)
		if err != nil {
			return err
		}
		worlds = []cohort.World{w}
	}
	if *books < 1 {
		return fmt.Errorf("-books is %d: at least 1", *books)
	}

	var text strings.Builder
	to := io.MultiWriter(stdout, &text)
	fmt.Fprintf(to, "Thresholds and rules tuned on seeds %s, applied to seeds %s; %d animals a seed, %d days each.\n", *tuned, *judged, *books*cohort.BookSize, cohort.Horizon)
	var verdicts []cohort.Verdict
	for _, w := range worlds {
		v := cohort.Judge(w, tune, judge, *books)
		tell(to, &v)
		verdicts = append(verdicts, v)
	}
	load := cohort.LoadOf(cohort.Make(worlds[0], judge[0], *books), judge[0])
	fmt.Fprintf(to, "\n## A day's work\n\nA breeder with 40 open cases in the %s world, setup checks and climate included: %.2f cases a day rise to \"step in\" or \"vet\". On %.0f %% of days none does, on %.0f %% one, on %.0f %% more than one. By the gravest concern:",
		worlds[0].Name, load.RisesPerDay, 100*load.Days[0], 100*load.Days[1], 100*load.Days[2])
	kinds := make([]string, 0, len(load.ByCause))
	for k := range load.ByCause {
		kinds = append(kinds, k)
	}
	slices.Sort(kinds)
	for i, k := range kinds {
		fmt.Fprintf(to, "%s %s %.2f", map[bool]string{true: "", false: ","}[i == 0], k, load.ByCause[k])
	}
	fmt.Fprintln(to, ".")
	if *out == "" || *only != "" {
		return nil // one world is no page
	}
	if err := os.WriteFile(filepath.Join(*out, "results.md"), []byte("# Results\n\nWritten by `make cohort`; what it means is in the [README](README.md).\n\n"+text.String()), 0o644); err != nil {
		return err
	}
	return plots(*out, verdicts)
}

func seeds(list string) (out []uint64, err error) {
	for s := range strings.SplitSeq(list, ",") {
		n, err := strconv.ParseUint(strings.TrimSpace(s), 10, 64)
		if err != nil {
			return nil, fmt.Errorf("seeds are whole numbers with commas between them, not %q", list)
		}
		out = append(out, n)
	}
	return out, nil
}

// share is a share to three decimals without the leading zero.
func share(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	return strings.TrimPrefix(strconv.FormatFloat(v, 'f', 3, 64), "0")
}

func days(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	return strconv.FormatFloat(v, 'f', 0, 64)
}

func tell(to io.Writer, v *cohort.Verdict) {
	t := &v.Truths
	fmt.Fprintf(to, "\n## %s%s: %s\n\n%d animals; %.1f %% fail, %.1f %% of the healthy pause, %.1f %% were picky with the breeder; %.1f %% of the healthy and %.1f %% of the failing lose a tenth in truth. Ball pythons refuse %.0f %% of what they are offered at home while healthy and not pausing.\n\n",
		strings.ToUpper(v.World.Name[:1]), v.World.Name[1:], v.World.About, t.Animals, 100*t.Fails, 100*t.Paused, 100*t.Picky, 100*t.LostTenth[0], 100*t.LostTenth[1], 100*t.Refused["python_regius"])
	fmt.Fprintln(to, "| | false alarms | s14 | s21 | s28 | median delay, days | before a tenth is lost | lead, days |\n|---|---|---|---|---|---|---|---|")
	for _, budget := range []float64{.05, .10, .20, .30} {
		for i := range v.Contestants {
			c := &v.Contestants[i]
			f := c.At(budget)
			name := c.Name
			if r := c.Rule[slices.Index(cohort.Budgets[:], budget)]; r != (cohort.Rule{}) {
				name += " (" + r.String() + ")"
			}
			fmt.Fprintf(to, "| %s at %.0f %% | %s | %s | %s | %s | %s | %s | %s |\n", name, 100*budget, share(f.FalseAlarms), share(f.S14), share(f.S21), share(f.S28), days(f.MedianDelay), share(f.Before10), days(f.Lead))
		}
	}
	for _, c := range v.Common {
		fmt.Fprintf(to, "| %s, as people say | %s | %s | %s | %s | %s | %s | %s |\n", c.Name, share(c.Rule.FalseAlarms), share(c.Rule.S14), share(c.Rule.S21), share(c.Rule.S28), days(c.Rule.MedianDelay), share(c.Rule.Before10), days(c.Rule.Lead))
		fmt.Fprintf(to, "| the alarm score at as many | %s | %s | %s | %s | %s | %s | %s |\n", share(c.Scored.FalseAlarms), share(c.Scored.S14), share(c.Scored.S21), share(c.Scored.S28), days(c.Scored.MedianDelay), share(c.Scored.Before10), days(c.Scored.Lead))
	}
	fmt.Fprintln(to, "\n| on a random day | AUROC | AUPRC | failing among the first 8 of 40 | precision of the first 8 |\n|---|---|---|---|---|")
	for _, r := range []struct {
		name string
		is   cohort.Ranking
	}{{"alarm score", v.Alarm}, {"probability", v.Chance}, {"urgency", v.Urgency}, {"best rule", v.Thumb}, {"has stopped eating, of pausing and failing", v.OffFeed}} {
		fmt.Fprintf(to, "| %s | %s | %s | %s | %s |\n", r.name, share(r.is.AUROC), share(r.is.AUPRC), share(r.is.TopShare), share(r.is.TopPrecision))
	}
	picky := v.Contestants[0].At(.10)
	fmt.Fprintf(to, "\nProbability: Brier %.4f, calibration error %s raw, %s recalibrated. Changes of standing per 100 animals: %.0f. Healthy picky animals alarmed at 10 %%: %s with what is known from the breeder, %s without (n = %d).\n",
		v.Brier, share(v.ECE), share(v.ECERecalibrated), v.Changes, share(picky.PickyAlarms), share(v.PickyForgotten), picky.Picky)
}
