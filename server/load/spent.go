package main

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"
)

// spent is what servers and a PostgreSQL database have done so far.
type spent struct {
	servers, database time.Duration // of processors; 0 where it cannot be known
	committed, undone int64         // transactions of the database
}

func (s spent) since(before spent) spent {
	return spent{s.servers - before.servers, s.database - before.database, s.committed - before.committed, s.undone - before.undone}
}

// line is what a request took of the processors, of servers and of the database, and how
// many transactions there were to it, and of a hundred how many that were undone.
func (s *spent) line(requests float64) string {
	ms := func(d time.Duration) float64 { return 1000 * d.Seconds() / requests }
	if s.committed == 0 {
		return fmt.Sprintf("%.2f", ms(s.servers))
	}
	return fmt.Sprintf("%.2f + %.2f", ms(s.servers), ms(s.database))
}

func (s *spent) transactions(requests float64) string {
	if s.committed == 0 {
		return "–"
	}
	return fmt.Sprintf("%.2f / %.2f", float64(s.committed)/requests, float64(s.undone)/requests)
}

// count looks at what was done so far.
func (o *options) count(ctx context.Context, p *place, servers []*process) (s spent, err error) {
	for _, srv := range servers {
		s.servers += processorTimeOf(srv.cmd.Process.Pid)
	}
	if p.url == "" {
		return s, nil
	}
	db, err := p.open()
	if err != nil {
		return s, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	time.Sleep(1500 * time.Millisecond) // by then all have told what they did
	if err := db.QueryRowContext(ctx, `SELECT xact_commit, xact_rollback FROM pg_stat_database WHERE datname = current_database()`).Scan(&s.committed, &s.undone); err != nil {
		return s, err
	}
	rows, err := db.QueryContext(ctx, `SELECT pid FROM pg_stat_activity WHERE pid <> pg_backend_pid()`)
	if err != nil {
		return s, err
	}
	return s, eachRow(rows, func() error {
		var pid int
		err := rows.Scan(&pid)
		s.database += processorTimeOf(pid)
		return err
	})
}

func eachRow(rows *sql.Rows, f func() error) error {
	defer rows.Close()
	for rows.Next() {
		if err := f(); err != nil {
			return err
		}
	}
	return rows.Err()
}

// processorTimeOf is what a process of this machine has used so far, 0 where there is
// none to be seen.
func processorTimeOf(pid int) time.Duration {
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return 0
	}
	_, after, _ := strings.Cut(string(stat), ") ") // the program's name may hold anything but that
	fields := strings.Fields(after)
	if len(fields) < 13 {
		return 0
	}
	var ticks int64
	for _, field := range fields[11:13] { // utime and stime, in hundredths of a second
		n, err := strconv.ParseInt(field, 10, 64)
		if err != nil {
			return 0
		}
		ticks += n
	}
	return time.Duration(ticks) * 10 * time.Millisecond
}
