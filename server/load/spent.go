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
		s.servers += statOf(srv.cmd.Process.Pid).used
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
	rows, err := db.QueryContext(ctx, `SELECT pid FROM pg_stat_activity`)
	if err != nil {
		return s, err
	}
	parent := 0
	err = eachRow(rows, func() error {
		var pid int
		err := rows.Scan(&pid)
		of := statOf(pid)
		s.database += of.used
		parent = of.parent
		return err
	})
	s.database += statOf(parent).ofChildren // that have ended
	return s, err
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

// stat is what is known of a process of this machine; of none, nothing.
type stat struct {
	parent           int
	used, ofChildren time.Duration // of processors; of its children that have ended
}

// statOf looks at a process; see proc(5).
func statOf(pid int) (s stat) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return s
	}
	_, after, _ := strings.Cut(string(text), ") ") // the program's name may hold anything but that
	fields := strings.Fields(after)
	if len(fields) < 15 {
		return s
	}
	number := func(i int) int64 {
		n, err := strconv.ParseInt(fields[i], 10, 64)
		if err != nil {
			return 0
		}
		return n
	}
	const tick = 10 * time.Millisecond
	s.parent = int(number(1))
	s.used = time.Duration(number(11)+number(12)) * tick
	s.ofChildren = time.Duration(number(13)+number(14)) * tick
	return s
}
