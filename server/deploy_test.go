package server_test

import (
	"encoding/json"
	"maps"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"warmhand/server"
	"warmhand/server/servertest"
)

// An alert about a number that nobody tells never comes. Each name in the
// alerts and on the dashboard, and each value of a label, is one that the program
// has told after a day of use.
func TestAlertsAreAboutWhatThereIs(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
		c.Metrics, c.PassEvery = "127.0.0.1:0", time.Hour
		c.BackupTo, c.BackupEvery, c.BackupKeep = t.TempDir(), time.Hour, 1
	}})
	breeder := f.NewBreeder("b1")
	settle(t, f, breeder, f.Page(), "Oslo")
	breeder.Call("GET", "/v1/breeders/b1/cases", nil).OK()
	f.Page().Call("POST", "/v1/claims:lookUp", map[string]any{"claimCode": "0000000000"})
	f.Page().Call("POST", "/v1/access:useKeeperCode", map[string]any{"code": "0000000000", "requestId": f.ID("keeper-request")})
	told := ""
	read := func() {
		t.Helper()
		told = f.ForOperators("/metrics")
	}
	for deadline := time.Now().Add(time.Minute); ; <-time.After(5 * time.Millisecond) {
		if read(); strings.Contains(told, `timestamp_seconds{work="making backups"}`) && strings.Contains(told, `timestamp_seconds{work="the pass over due cases"}`) {
			break
		}
		if time.Now().After(deadline) {
			t.Fatalf("the first rounds of work do not end:\n%s", told)
		}
	}

	var expressions []string
	alerts, err := os.ReadFile("deploy/alerts.yml")
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range regexp.MustCompile(`(?m)^ +expr: (.*)$`).FindAllStringSubmatch(string(alerts), -1) {
		expressions = append(expressions, m[1])
	}
	if n := strings.Count(string(alerts), "- alert: "); n < 6 || n != len(expressions) || n != strings.Count(string(alerts), "todo: ") {
		t.Errorf("%d alerts, %d expressions, and not all say what to do", n, len(expressions))
	}
	// The operator's page and the alerts call the same late.
	late := map[string]time.Duration{}
	for _, m := range regexp.MustCompile(`warmhand_queue_age_seconds\{queue=~?"\(?([a-z|]+)\)?"\}\) > (\d+)`).FindAllStringSubmatch(string(alerts), -1) {
		n, err := strconv.Atoi(m[2])
		if err != nil {
			t.Fatal(err)
		}
		for _, queue := range strings.Split(m[1], "|") {
			late[queue] = time.Duration(n) * time.Second
		}
	}
	if want := server.QueuesLate(); !maps.Equal(late, want) {
		t.Errorf("alerts have queues late after %v, the page after %v", late, want)
	}
	text, err := os.ReadFile("deploy/dashboard.json")
	if err != nil {
		t.Fatal(err)
	}
	var board struct {
		Panels []struct{ Targets []struct{ Expr string } }
	}
	if err := json.Unmarshal(text, &board); err != nil || len(board.Panels) < 8 {
		t.Fatalf("%d panels, %v", len(board.Panels), err)
	}
	for _, p := range board.Panels {
		for _, target := range p.Targets {
			expressions = append(expressions, target.Expr)
		}
	}
	name := regexp.MustCompile(`\b(?:warmhand|go|process)_[a-z_]+`)
	label := regexp.MustCompile(`\b(method|work|result|code|queue)(=~?)"([^"]*)"`)
	for _, e := range expressions {
		if strings.Count(e, "(") != strings.Count(e, ")") {
			t.Errorf("brackets: %s", e)
		}
		names := name.FindAllString(e, -1)
		if len(names) == 0 {
			t.Errorf("no number in %s", e)
		}
		for _, n := range names {
			if !regexp.MustCompile(`(?m)^` + n + `[{ ]`).MatchString(told) {
				t.Errorf("the program does not tell %s: %s", n, e)
			}
		}
		for _, m := range label.FindAllStringSubmatch(e, -1) {
			if m[1] == "code" || m[1] == "result" && m[3] == "failed" {
				continue // names of gRPC; nothing failed here
			}
			values := []string{m[3]}
			if m[2] == "=~" {
				prefix, rest, _ := strings.Cut(m[3], "(")
				values = nil
				for _, v := range strings.Split(strings.TrimSuffix(rest, ")"), "|") {
					values = append(values, prefix+v)
				}
			}
			for _, v := range values {
				if !strings.Contains(told, m[1]+`="`+v+`"`) {
					t.Errorf("no %s is %q: %s", m[1], v, e)
				}
			}
		}
	}
}
