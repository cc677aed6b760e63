package server_test

import (
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
	"warmhand/server"
	"warmhand/server/servertest"
)

// The operator's page says that all is well when it is, and otherwise what to look at;
// it names nobody, and only the port of the metrics has it.
func TestStatusPage(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
		c.Metrics = "127.0.0.1:0"
		c.BackupTo, c.BackupEvery, c.BackupKeep = t.TempDir(), time.Hour, 1
	}})
	breeder := f.NewBreeder("loam")
	animal := breeder.NewAnimal()
	caseID, _ := breeder.HandOver(animal)
	page := f.ForOperators
	// until waits for the page to have each of these.
	until := func(wanted ...string) (text string) {
		t.Helper()
		for deadline := time.Now().Add(20 * time.Second); ; <-time.After(5 * time.Millisecond) {
			text = page("/")
			missing := ""
			for _, w := range wanted {
				if !strings.Contains(text, w) {
					missing = w
				}
			}
			if missing == "" {
				return text
			}
			if time.Now().After(deadline) {
				t.Fatalf("nothing of %q in\n%s", missing, text)
			}
		}
	}
	until("<h1>All is well</h1>", "They reach all devices and addresses.", "The newest is of 1 June 2026, 12:00 UTC.", "making backups")

	f.Write(func(tx care.Tx) error {
		c, err := tx.Case("loam", caseID)
		if err != nil {
			return err
		}
		c.DueAt = f.Clock.Now().Add(-time.Hour)
		if err := tx.UpdateCase(c); err != nil {
			return err
		}
		if err := tx.InsertReminder(care.Reminder{BreederID: "loam", CaseID: caseID, PersonID: "k1", Topic: "first_night", WayID: "w1", State: care.ReminderFailed, At: f.Clock.Now()}); err != nil {
			return err
		}
		return tx.PutWay(care.Way{ID: "w1", BreederID: "loam", PersonID: "loam-owner", Kind: care.WayMail, Address: "robin@example.org", CreatedAt: f.Clock.Now(), Trouble: words.Say("The mail server could not be reached.")})
	})
	text := until("<h1>To look at</h1>", "Cases to look at because time went by: the first has waited for 1 hour.", "Given up in the last day: 1", "The mail server could not be reached.")
	for _, name := range []string{"loam", caseID, animal, "robin", "w1"} {
		if strings.Contains(text, name) {
			t.Errorf("%s is on the page", name)
		}
	}
	numbers := page("/metrics")
	for _, line := range []string{`warmhand_queue_length{queue="cases"} 1`, `warmhand_queue_age_seconds{queue="cases"} 3600`, `warmhand_failed_sends 1`, `warmhand_queue_age_seconds{queue="accounts"} 0`} {
		if !strings.Contains(numbers, line+"\n") {
			t.Errorf("the metrics lack %s", line)
		}
	}
	f.Clock.Advance(3 * time.Hour)
	until("The newest is of 1 June 2026, 12:00 UTC. Look for room and rights")
	if got := f.Page().Call("GET", "/", nil); strings.Contains(string(got.Body), "What waits") {
		t.Error("the page is on the public port")
	}
}
