package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"

	"warmhand/internal/care"
	"warmhand/server"
)

type exportCmd struct {
	Cases   []string `arg:"" optional:"" placeholder:"CASE" help:"Ids of cases. Default: all cases of the breeder."`
	Breeder string   `required:"" placeholder:"ID" help:"The breeder's id."`
	NoTexts bool     `help:"Leave out what people wrote: notes, messages, the animals' names."`
	where
}

func (exportCmd) Help() string {
	return "The cases go to standard output as a case file; internal/casefile/README.md says what is in it. Pictures are not. Works while the server runs, too.\n\nExample:\n\n  warmhand export --data /var/lib/warmhand --breeder 4kq7zt2m9xwa > cases.jsonl"
}

func (c *exportCmd) Run(e *env) error {
	return c.open(e, false, func(a *server.Admin) error {
		out := bufio.NewWriter(e.out)
		n, err := a.ExportCases(e, out, c.Breeder, c.Cases, !c.NoTexts)
		if err := errors.Join(err, out.Flush()); err != nil {
			return err
		}
		_, err = fmt.Fprintf(e.err, "Exported %d cases.\n", n)
		return err
	})
}

type importCmd struct {
	File    string `arg:"" placeholder:"FILE" help:"Case file; - is standard input."`
	Breeder string `required:"" placeholder:"ID" help:"The id of the breeder whose cases they become."`
	where
}

func (importCmd) Help() string {
	return "The whole file is checked first, and then all of it is added or nothing. The same file twice adds nothing. A keeper gets in again with a code from the breeder.\n\nExample:\n\n  warmhand import --data /var/lib/warmhand --breeder 4kq7zt2m9xwa cases.jsonl"
}

func (c *importCmd) Run(e *env) error {
	var in io.ReadCloser = os.Stdin
	name := "standard input"
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return err
		}
		in, name = f, c.File
	}
	defer in.Close()
	return c.open(e, false, func(a *server.Admin) error {
		sum, err := a.ImportCases(e, in, c.Breeder)
		var seen *care.Error
		if err != nil && !errors.As(err, &seen) {
			return fmt.Errorf("%s: %w", name, err)
		}
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(e.out, "Added %d cases, %d animals and %d entries; what was there already was left as it is.\n", sum.Cases, sum.Animals, sum.Entries)
		return err
	})
}
