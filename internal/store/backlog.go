package store

import (
	"time"

	"warmhand/internal/care"
)

// troublesMost are told; there are few kinds.
const troublesMost = 10

// failedSends is the name of what is no queue.
const failedSends = "failed"

var (
	// SQLite wants the condition of a partial index word for word.
	listQueues = newQuery("measure the backlog", `
		SELECT '`+care.QueueCases+`', count(*), min(at) FROM (SELECT due_at AS at FROM cases WHERE open = 1 AND due_at <= ?1 ORDER BY due_at LIMIT ?2) AS q
		UNION ALL SELECT '`+care.QueuePeople+`', count(*), min(at) FROM (SELECT look_at AS at FROM reminder_hours WHERE look_at <= ?1 ORDER BY look_at LIMIT ?2) AS q
		UNION ALL SELECT '`+care.QueueSends+`', count(*), min(at) FROM (SELECT at FROM reminders WHERE state <> 'sent' AND state IN ('claimed', 'waiting') LIMIT ?2) AS q
		UNION ALL SELECT '`+care.QueueImports+`', count(*), min(at) FROM (SELECT created_at AS at FROM imports WHERE state IN ('running', 'undoing') ORDER BY created_at LIMIT ?2) AS q
		UNION ALL SELECT '`+care.QueueAccounts+`', count(*), min(at) FROM (SELECT erase_at AS at FROM breeders WHERE erase_at IS NOT NULL AND erase_at <= ?1 ORDER BY erase_at LIMIT ?2) AS q
		UNION ALL SELECT '`+failedSends+`', count(*), min(at) FROM (SELECT at FROM reminders WHERE state <> 'sent' AND state = 'failed' AND at > ?3 LIMIT ?2) AS q`)
	listTroubles = newQuery("list troubles", `SELECT trouble, count(*) FROM ways WHERE trouble <> '' GROUP BY trouble ORDER BY count(*) DESC, trouble LIMIT ?1`)
)

func (t *tx) Backlog(now time.Time) (b care.Backlog, err error) {
	type row struct {
		care.Queue
		since *time.Time
	}
	rows, err := list(t, listQueues, func(r *row) []any { return []any{&r.Name, &r.Length, maybeInstant{&r.since}} },
		now.UnixMilli(), care.BacklogMost, now.Add(-24*time.Hour).UnixMilli())
	if err != nil {
		return b, err
	}
	for _, r := range rows {
		if r.Name == failedSends {
			b.FailedSends = r.Length
			continue
		}
		if r.since != nil {
			r.Since = *r.since
		}
		b.Queues = append(b.Queues, r.Queue)
	}
	b.Troubles, err = list(t, listTroubles, func(x *care.Trouble) []any { return []any{said{&x.Text}, &x.Ways} }, troublesMost)
	return b, err
}
