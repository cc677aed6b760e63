package main

import (
	"errors"
	"fmt"
	"strings"

	"warmhand/internal/care"
	"warmhand/server"
)

// where names the data a verb works on.
type where struct {
	Data     string `required:"" type:"path" placeholder:"DIR" help:"The data folder."`
	Database string `placeholder:"URL" help:"postgres:// address, if the server was given one."`
	Photos   string `placeholder:"URL" help:"s3:// address, if the server was given one."`
}

func (w *where) open(e *env, create bool, f func(*server.Admin) error) error {
	a, err := server.OpenAdmin(e, server.Data{Dir: w.Data, DatabaseURL: w.Database, PhotosURL: w.Photos}, create)
	if err != nil {
		return err
	}
	return errors.Join(f(a), a.Close())
}

type origin struct {
	PublicURL string `name:"public-url" default:"http://localhost:8080" placeholder:"URL" help:"Where the server is reached, for the link (${default})."`
}

func (o origin) show(e *env, secret string) error {
	_, err := fmt.Fprintf(e.out, "Open this within 15 minutes, on the device to sign in. It works once, while the server runs:\n  %s/in#%s\n", strings.TrimSuffix(o.PublicURL, "/"), secret)
	return err
}

type breederCmd struct {
	Name       string `arg:"" help:"Name that keepers see."`
	Contact    string `help:"How a keeper reaches the breeder besides the messages."`
	TimeZone   string `name:"time-zone" default:"UTC" help:"Time zone, such as Europe/Vienna (${default})."`
	Hemisphere string `default:"north" enum:"north,south" help:"north or south: decides when the cool season is (${default})."`
	where
	origin
}

func (breederCmd) Help() string {
	return "Works while the server runs, too.\n\nExample:\n\n  warmhand breeder \"Our Snakes\" --data /var/lib/warmhand --time-zone Europe/Vienna"
}

func (c *breederCmd) Run(e *env) error {
	return c.open(e, true, func(a *server.Admin) error {
		id, secret, err := a.AddBreeder(e, care.Breeder{Name: c.Name, Contact: c.Contact, TimeZone: c.TimeZone, Hemi: care.Hemisphere(c.Hemisphere)})
		if err != nil {
			return err
		}
		fmt.Fprintf(e.out, "The breeder's id is %s.\n", id)
		return c.show(e, secret)
	})
}

type linkCmd struct {
	Breeder string `arg:"" help:"The breeder's id."`
	where
	origin
}

func (linkCmd) Help() string {
	return "Example:\n\n  warmhand link 4kq7zt2m9xwa --data /var/lib/warmhand"
}

func (c *linkCmd) Run(e *env) error {
	return c.open(e, false, func(a *server.Admin) error {
		secret, err := a.SignInSecret(e, c.Breeder)
		if err != nil {
			return err
		}
		return c.show(e, secret)
	})
}

type tokenCmd struct {
	Breeder  string `required:"" placeholder:"ID" help:"The breeder's id."`
	Label    string `required:"" help:"What the token is for."`
	ReadOnly bool   `help:"The token may only read."`
	Days     int    `default:"365" help:"How long it lasts, up to 730 (${default})."`
	where
}

func (tokenCmd) Help() string {
	return "Example:\n\n  warmhand token --data /var/lib/warmhand --breeder 4kq7zt2m9xwa --label \"spreadsheet\" --read-only"
}

func (c *tokenCmd) Run(e *env) error {
	return c.open(e, false, func(a *server.Admin) error {
		plain, err := a.Token(e, c.Breeder, c.Label, c.ReadOnly, c.Days)
		if err != nil {
			return err
		}
		fmt.Fprintln(e.err, "This is the token. It is shown this once; send it as: Authorization: Bearer TOKEN")
		_, err = fmt.Fprintln(e.out, plain)
		return err
	})
}

type backupCmd struct {
	Dest      string `arg:"" type:"path" help:"New folder for the backup."`
	BlobsOnly bool   `help:"Photos and key only: for PostgreSQL, whose database pg_dump copies."`
	where
}

func (backupCmd) Help() string {
	return "The backup holds the server's key: keep it as safe as the data.\n\nExample:\n\n  warmhand backup --data /var/lib/warmhand /mnt/backup/2026-11-25"
}

func (c *backupCmd) Run(e *env) error {
	return c.open(e, false, func(a *server.Admin) error {
		m, err := a.Backup(e, c.Dest, c.BlobsOnly)
		if err != nil {
			return err
		}
		if len(m.Missing) > 0 {
			fmt.Fprintf(e.err, "Warning: %d picture files that the database names were missing or damaged before this backup; see warmhand check.\n", len(m.Missing))
		}
		_, err = fmt.Fprintf(e.out, "The backup in %s is whole: %d breeders, %d animals, %d entries, %d photos.\n", c.Dest, m.Counts.Breeders, m.Counts.Animals, m.Counts.Entries, m.Photos)
		return err
	})
}

type restoreCmd struct {
	Src  string `arg:"" type:"existingdir" help:"The backup's folder."`
	Data string `required:"" type:"path" placeholder:"DIR" help:"Empty or new data folder."`
}

func (restoreCmd) Help() string {
	return "Example:\n\n  warmhand restore /mnt/backup/2026-11-25 --data /var/lib/warmhand-new"
}

func (c *restoreCmd) Run(e *env) error {
	m, err := server.Restore(e, c.Src, c.Data)
	if err != nil {
		return err
	}
	for _, missing := range m.Missing {
		fmt.Fprintf(e.err, "Missing since before the backup: %s\n", missing)
	}
	_, err = fmt.Fprintf(e.out, "Restored %d files of %s into %s.\n", len(m.Files), m.MadeAt.Format("2 January 2006 15:04 MST"), c.Data)
	return err
}

type moveCmd struct {
	where
	ToData     string `required:"" type:"path" placeholder:"DIR" help:"The other data folder, or the same one."`
	ToDatabase string `placeholder:"URL" help:"postgres:// address of an empty database; without it a file in the other folder."`
	ToPhotos   string `placeholder:"URL" help:"s3:// address; without it files in the other folder."`
}

func (moveCmd) Help() string {
	return "Stop the server first. A move that was cut off goes on when it is run again; in the end both sides are compared. Nothing is deleted.\n\nExample:\n\n  warmhand move --data /var/lib/warmhand --to-data /var/lib/warmhand --to-database postgres://localhost/warmhand --to-photos \"s3://snakes?region=eu-central-1\""
}

func (c *moveCmd) Run(e *env) error {
	m, err := server.Move(e, server.Data{Dir: c.Data, DatabaseURL: c.Database, PhotosURL: c.Photos}, server.Data{Dir: c.ToData, DatabaseURL: c.ToDatabase, PhotosURL: c.ToPhotos},
		func(how string) { fmt.Fprintln(e.err, how) })
	if err != nil {
		return err
	}
	for _, t := range m.Tables {
		fmt.Fprintf(e.out, "%-16s %9d rows, the same on both sides (SHA-256 %s)\n", t.Table, t.Rows, t.Digest[:16])
	}
	_, err = fmt.Fprintf(e.out, "%-16s %9d files, the same on both sides\n", "photos", m.Photos)
	return err
}

type keyCmd struct{ where }

func (keyCmd) Help() string {
	return "Only for a key that is in no backup. Stop all servers first. Cards that nobody has claimed yet then open nothing any more and have to be issued again, reminders have to be set up again on each device, and breeders sign with new keys; nothing else is lost.\n\nExample:\n\n  warmhand key --data /var/lib/warmhand"
}

func (c *keyCmd) Run(e *env) error {
	return c.open(e, false, func(a *server.Admin) error {
		changed, err := a.ChangeKey(e)
		if err != nil {
			return err
		}
		said := "This folder's server.key is the database's key already. Nothing was changed."
		if changed {
			said = "This folder's server.key is the database's key from now on. Make a backup, and give each server on the database a copy of the file."
		}
		_, err = fmt.Fprintln(e.out, said)
		return err
	})
}

type checkCmd struct{ where }

func (checkCmd) Help() string { return "Example:\n\n  warmhand check --data /var/lib/warmhand" }

func (c *checkCmd) Run(e *env) error {
	return c.open(e, false, func(a *server.Admin) error {
		n, err := a.Check(e)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(e.out, "All is well: %d breeders, %d animals, %d entries, %d open cases.\n", n.Breeders, n.Animals, n.Entries, n.OpenCases)
		return err
	})
}
