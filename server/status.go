package server

import (
	"bytes"
	"context"
	_ "embed"
	"fmt"
	"html/template"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"warmhand/internal/care"
)

// What the operator is shown, on the port of the metrics, which is nobody else's: how
// much work waits and for how long, what was given up, and what to do about it. The
// same numbers are among the metrics. They name nobody.

// statusWait is how long the database has to say what waits.
const statusWait = 5 * time.Second

// queueWords say what a queue is, and what is to be done when its first has waited for
// too long. Those times are the alerts', too (deploy/alerts.yml).
var queueWords = []struct {
	queue, what string
	late        time.Duration
	todo        string
}{
	{care.QueueCases, "Cases to look at because time went by", 30 * time.Minute, "Silence and overdue weights are not noticed. The log says why, under the pass over due cases."},
	{care.QueuePeople, "People to look at for reminders", 15 * time.Minute, "Nobody is reminded. The log says why, under reminding people."},
	{care.QueueSends, "Messages under way or to be tried again", 15 * time.Minute, "They should have been tried again by now. The log says why, under reminding people."},
	{care.QueueImports, "Lists that are brought in", time.Hour, "The log says why, under bringing in lists. Is the data folder the one that all servers share?"},
	{care.QueueAccounts, "Accounts to erase", 3 * time.Hour, "Somebody was promised that their data go. The log says why, under erasing accounts."},
}

// backupLate is after how many of its intervals a backup is missed.
const backupLate = 2

func (s *Server) backlog(ctx context.Context) (b care.Backlog, err error) {
	ctx, cancel := context.WithTimeout(care.WithReach(ctx, care.EverybodysReach), statusWait)
	defer cancel()
	err = s.store.Read(ctx, func(tx care.Tx) (err error) {
		b, err = tx.Backlog(s.now())
		return err
	})
	return b, err
}

// lastBackup is when the newest whole one was made; zero for none.
func (s *Server) lastBackup() (at time.Time, err error) {
	have, err := backupsIn(s.cfg.BackupTo)
	if err == nil && len(have) > 0 {
		at = have[0]
	}
	return at, err
}

var (
	queueLength = prometheus.NewDesc("warmhand_queue_length", "How much of the program's own work waits, of all servers together.", []string{"queue"}, nil)
	queueAge    = prometheus.NewDesc("warmhand_queue_age_seconds", "For how long the first of it has waited.", []string{"queue"}, nil)
	failedSends = prometheus.NewDesc("warmhand_failed_sends", "Messages that were given up in the last day.", nil, nil)
	backupMade  = prometheus.NewDesc("warmhand_last_backup_timestamp_seconds", "When the newest whole backup was made.", nil, nil)
)

// backlogMetrics asks the database whenever somebody asks for metrics. What cannot be
// told then is left out.
type backlogMetrics struct{ s *Server }

func (backlogMetrics) Describe(to chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{queueLength, queueAge, failedSends, backupMade} {
		to <- d
	}
}

func (m backlogMetrics) Collect(to chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		to <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	if b, err := m.s.backlog(context.Background()); err == nil {
		for i := range b.Queues {
			q := &b.Queues[i]
			gauge(queueLength, float64(q.Length), q.Name)
			gauge(queueAge, q.Late(m.s.now()).Seconds(), q.Name)
		}
		gauge(failedSends, float64(b.FailedSends))
	}
	if m.s.cfg.BackupTo != "" {
		if at, err := m.s.lastBackup(); err == nil && !at.IsZero() {
			gauge(backupMade, float64(at.Unix()))
		}
	}
}

//go:embed status.html
var statusHTML string

//go:embed status.css
var statusStyle []byte

var statusTemplate = template.Must(template.New("status").Parse(statusHTML))

// statusPage is what the page shows.
type statusPage struct {
	Origin, Version, Now string
	Todo                 []string // nothing: all is well
	Queues               []statusLine
	Work                 []statusLine
	Failed, Others       string
	Troubles             []statusLine
	Backup               string
}

// statusLine is one line of a table; Bad says that it wants somebody.
type statusLine struct {
	What, Count, When string
	Bad               bool
}

func (s *Server) status(w http.ResponseWriter, r *http.Request) {
	now := s.now()
	p := statusPage{Origin: s.Origin(), Version: s.cfg.Version, Now: now.UTC().Format("2 January 2006, 15:04 UTC")}
	b, err := s.backlog(r.Context())
	if err != nil {
		p.Todo = append(p.Todo, "The database does not answer. Look whether it runs, and for a full disk.")
	}
	for _, words := range queueWords {
		for i := range b.Queues {
			if q := &b.Queues[i]; q.Name == words.queue {
				p.Queues = append(p.Queues, queueLine(q, words.what, now, words.late))
				if q.Late(now) > words.late {
					p.Todo = append(p.Todo, words.what+": the first has waited for "+span(q.Late(now))+". "+words.todo)
				}
			}
		}
	}
	for _, x := range b.Troubles {
		p.Troubles = append(p.Troubles, statusLine{What: x.Text.String(), Count: fmt.Sprint(x.Ways)})
	}
	p.Failed = upTo(b.FailedSends)
	for _, x := range s.metrics.lately() {
		line := statusLine{What: x.what, When: "never", Bad: x.failed}
		if !x.done.IsZero() {
			line.When = span(time.Since(x.done)) + " ago"
		}
		if x.failed {
			line.When += ", and failed since"
			p.Todo = append(p.Todo, "The last round of "+x.what+" failed. It is tried again; the log says why.")
		}
		p.Work = append(p.Work, line)
	}
	if s.peers != nil {
		p.Others = fmt.Sprint(s.peers.others.Load())
	}
	p.Backup = "This server makes none by itself (--backup-to)."
	if s.cfg.BackupTo != "" {
		at, err := s.lastBackup()
		switch {
		case err != nil:
			p.Backup = "The folder of the backups cannot be read."
		case at.IsZero():
			p.Backup = "None has been made yet."
		default:
			p.Backup = "The newest is of " + at.Format("2 January 2006, 15:04 UTC") + "."
		}
		if err != nil || now.Sub(at) > backupLate*s.cfg.BackupEvery {
			p.Todo = append(p.Todo, p.Backup+" Look for room and rights in the folder of --backup-to.")
		}
	}
	var page bytes.Buffer
	if err := statusTemplate.Execute(&page, p); err != nil {
		s.log.Error("The operator's page could not be made.", "error", err)
		http.Error(w, "The page could not be made; the log says why.", http.StatusInternalServerError)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; frame-ancestors 'none'")
	w.Write(page.Bytes())
}

func queueLine(q *care.Queue, what string, now time.Time, late time.Duration) statusLine {
	line := statusLine{What: what, Count: upTo(q.Length), Bad: q.Late(now) > late}
	if d := q.Late(now); d > 0 {
		line.When = span(d)
	}
	return line
}

func upTo(n int) string {
	if n >= care.BacklogMost {
		return fmt.Sprintf("%d or more", n)
	}
	return fmt.Sprint(n)
}

// span says a time as people do, in its largest unit.
func span(d time.Duration) string {
	for _, u := range []struct {
		of   time.Duration
		name string
	}{{24 * time.Hour, "day"}, {time.Hour, "hour"}, {time.Minute, "minute"}, {time.Second, "second"}} {
		switch n := int(d / u.of); {
		case n == 1:
			return "1 " + u.name
		case n > 1:
			return fmt.Sprint(n, " ", u.name, "s")
		}
	}
	return "less than a second"
}
