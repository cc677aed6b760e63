// Command warmhand follows up sold snakes: it serves breeders and keepers, and
// looks after the data. This package reads flags and signals only.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/alecthomas/kong"
	"google.golang.org/grpc/grpclog"

	"warmhand/internal/care"
)

type program struct {
	Serve   serveCmd   `cmd:"" help:"Serve breeders and keepers."`
	Ready   readyCmd   `cmd:"" help:"Ask a running server whether requests may come to it."`
	Demo    demoCmd    `cmd:"" help:"Fill an empty folder with an invented breeder, and serve it."`
	Breeder breederCmd `cmd:"" help:"Make a breeder's account and a link to sign in."`
	Link    linkCmd    `cmd:"" help:"Make a new one-time link for a breeder, such as after a lost passkey."`
	Token   tokenCmd   `cmd:"" help:"Make an API token for a breeder's own programs."`
	Backup  backupCmd  `cmd:"" help:"Copy all data into a new folder, also while the server runs."`
	Move    moveCmd    `cmd:"" help:"Copy the data to another place: PostgreSQL, a bucket, another folder, or back."`
	Restore restoreCmd `cmd:"" help:"Make a data folder from a backup."`
	Key     keyCmd     `cmd:"" help:"Go on with another server.key after the one before was lost."`
	Check   checkCmd   `cmd:"" help:"Read all data and report what is damaged or missing."`
	Export  exportCmd  `cmd:"" help:"Write a breeder's cases as a case file."`
	Import  importCmd  `cmd:"" help:"Add the cases of a case file to a breeder's book."`
	Replay  replayCmd  `cmd:"" help:"Say how the cases of case files would have been assessed, day by day."`
	Measure measureCmd `cmd:"" help:"Measure openings in photos by a card that lies beside them."`
	Version versionCmd `cmd:"" help:"Show the version."`
}

// env is what a verb may use of the world.
type env struct {
	context.Context
	out, err io.Writer
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	// What gRPC and its gateway write by themselves goes past our log, which names nobody,
	// and has callers' addresses in it. Who looks for a fault asks for it.
	if os.Getenv("GRPC_GO_LOG_SEVERITY_LEVEL") == "" {
		grpclog.SetLoggerV2(grpclog.NewLoggerV2(io.Discard, io.Discard, io.Discard))
	}
	var p program
	parser := kong.Must(&p, kong.Name("warmhand"),
		kong.Description("Follows up sold snakes: who is in trouble, and why. Each verb has its own --help with an example."),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}))
	k, err := parser.Parse(os.Args[1:])
	if err != nil {
		fmt.Fprintf(os.Stderr, "warmhand: %v. See warmhand --help.\n", err)
		os.Exit(2)
	}
	if err := k.Run(&env{ctx, os.Stdout, os.Stderr}); err != nil {
		var seen *care.Error
		if errors.As(err, &seen) {
			err = seen
		}
		fmt.Fprintf(os.Stderr, "warmhand: %s\n", strings.ReplaceAll(err.Error(), "\n", "; "))
		os.Exit(1)
	}
}
