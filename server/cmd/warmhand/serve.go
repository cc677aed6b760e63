package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/netip"
	"os"
	"runtime/debug"
	"strconv"
	"syscall"
	"time"

	"warmhand/pwa"
	"warmhand/server"
)

type serveCmd struct {
	Data             string        `required:"" type:"path" placeholder:"DIR" help:"Folder for the database, the photos and the key. Made when missing."`
	Listen           string        `placeholder:"ADDR" help:"Address to listen on. Default: localhost:8080, with --tls-host :443."`
	TLSHost          []string      `name:"tls-host" placeholder:"NAME" help:"Serve TLS for this name of yours, such as snakes.example.org, with a certificate from Let's Encrypt, whose terms you accept by this. Needs ports 80 and 443."`
	ListenHTTP       string        `name:"listen-http" default:":80" placeholder:"ADDR" help:"With --tls-host: where those come who try without TLS, and the authority (${default}); - for nowhere."`
	ACME             string        `name:"acme" placeholder:"URL" help:"Directory of another certificate authority that speaks ACME."`
	ACMEMail         string        `name:"acme-mail" placeholder:"ADDRESS" help:"Where the certificate authority may write to you."`
	Database         string        `placeholder:"URL" help:"postgres:// address; without it the database is a file in the data folder."`
	Photos           string        `placeholder:"URL" help:"s3:// address, such as s3://bucket?region=eu-central-1; without it the photos are files in the data folder."`
	PublicURL        string        `name:"public-url" placeholder:"URL" help:"How people reach the server, such as https://snakes.example.org."`
	Metrics          string        `placeholder:"ADDR" help:"Answer Prometheus at /metrics of this address, such as localhost:9464, and show at / what waits and what to look at. Nobody else should reach it."`
	Traces           string        `placeholder:"URL" env:"OTEL_EXPORTER_OTLP_ENDPOINT" help:"Send traces to an OpenTelemetry collector, such as http://localhost:4318."`
	BackupTo         string        `name:"backup-to" type:"path" placeholder:"DIR" help:"Make backups there by itself, best on another disk."`
	BackupEvery      time.Duration `default:"24h" placeholder:"TIME" help:"How often (${default})."`
	BackupKeep       int           `default:"30" placeholder:"N" help:"How many are kept; older ones are deleted (${default})."`
	TrustedProxy     []string      `placeholder:"ADDR" help:"Address or network of a reverse proxy of yours, such as 127.0.0.1: it is believed about who asks."`
	CallsEach        int           `default:"1200" placeholder:"N" help:"How many changes one person or program may make in a minute, and read twice as much (${default}); -1 for no limit."`
	SMTP             string        `name:"smtp" placeholder:"URL" help:"Mail server for reminders: smtp://user@mail.example.org:587 with STARTTLS, smtps://user@mail.example.org with TLS from the start, or smtp://localhost?tls=none on this machine. Without it there are no reminders by mail."`
	SMTPPasswordFile string        `name:"smtp-password-file" type:"existingfile" placeholder:"FILE" help:"File with the mail server's password."`
	MailFrom         string        `placeholder:"ADDRESS" help:"Sender of reminders, such as snakes@example.org."`
}

func (serveCmd) Help() string {
	return "Stop it with Ctrl-C; requests under way are finished first.\n\nExample:\n\n  warmhand serve --data /var/lib/warmhand --listen localhost:8080 --public-url https://snakes.example.org"
}

func (c *serveCmd) Run(e *env) error {
	proxies, err := prefixes(c.TrustedProxy)
	if err != nil {
		return err
	}
	var password []byte
	if c.SMTPPasswordFile != "" {
		var err error
		if password, err = os.ReadFile(c.SMTPPasswordFile); err != nil {
			return fmt.Errorf("the mail server's password: %w", err)
		}
	}
	switch {
	case c.Listen != "":
	case len(c.TLSHost) > 0:
		c.Listen = ":443"
	default:
		c.Listen = "localhost:8080"
	}
	if c.ListenHTTP == "-" {
		c.ListenHTTP = ""
	}
	s, err := server.New(e, server.Config{DataDir: c.Data, Listen: c.Listen, TLSHosts: c.TLSHost, ListenHTTP: c.ListenHTTP, ACME: c.ACME, ACMEMail: c.ACMEMail, DatabaseURL: c.Database, PhotosURL: c.Photos, PublicURL: c.PublicURL,
		SMTP: c.SMTP, SMTPPassword: string(password), MailFrom: c.MailFrom, TrustedProxies: proxies, CallsEach: c.CallsEach, BackupTo: c.BackupTo, BackupEvery: c.BackupEvery, BackupKeep: c.BackupKeep, Metrics: c.Metrics, Traces: c.Traces, Static: webApp(), Version: version(), Log: slog.New(slog.NewTextHandler(e.err, nil))})
	if err != nil {
		return err
	}
	fmt.Fprintf(e.out, "Warmhand is at %s (listening on %s). Stop it with Ctrl-C.\n", s.Origin(), s.Addr())
	return s.Run(e)
}

type readyCmd struct {
	Address string        `default:"localhost:8080" placeholder:"ADDR" help:"Where the server listens, or its https:// address (${default})."`
	Timeout time.Duration `default:"5s" placeholder:"TIME" help:"How long it may take (${default})."`
}

func (readyCmd) Help() string {
	return "Ends with 0 when the server answers and reaches its database, else with 1 and the reason: for a container's health check, or a script that waits.\n\nExample:\n\n  warmhand ready --address localhost:8080"
}

func (c *readyCmd) Run(e *env) error {
	ctx, cancel := context.WithTimeout(e, c.Timeout)
	defer cancel()
	if err := server.Ready(ctx, c.Address); err != nil {
		return err
	}
	_, err := fmt.Fprintln(e.out, "ready")
	return err
}

// prefixes reads addresses and networks.
func prefixes(list []string) (all []netip.Prefix, err error) {
	for _, text := range list {
		p, err := netip.ParsePrefix(text)
		if a, addrErr := netip.ParseAddr(text); addrErr == nil {
			p, err = netip.PrefixFrom(a, a.BitLen()), nil
		}
		if err != nil {
			return nil, fmt.Errorf("--trusted-proxy %s is no address: write one such as 127.0.0.1, or a network such as 10.0.0.0/8", text)
		}
		all = append(all, p)
	}
	return all, nil
}

// webApp is the built web app, or nil when the program was compiled without.
func webApp() fs.FS {
	files := pwa.Files()
	if _, err := fs.Stat(files, "index.html"); err != nil {
		return nil
	}
	return files
}

type demoCmd struct {
	Data      string `type:"path" placeholder:"DIR" help:"Empty folder to fill. Default: a fresh temporary one."`
	Listen    string `placeholder:"ADDR" help:"Address to listen on. Default: localhost:8080, or the next free port."`
	Addresses string `type:"path" placeholder:"FILE" help:"Also write the addresses to this file, as JSON."`
	LocalPush bool   `hidden:"" help:"Push services on this machine may be reached, for tests."`
}

func (demoCmd) Help() string {
	return "Everything in it is invented: the breeder, the keepers and the snakes.\n\nExample:\n\n  warmhand demo"
}

func (c *demoCmd) Run(e *env) error {
	if c.Data == "" {
		dir, err := os.MkdirTemp("", "warmhand-demo-")
		if err != nil {
			return err
		}
		c.Data = dir
	}
	s, err := c.open(e)
	if err != nil {
		return err
	}
	d, err := s.FillDemo(e)
	if err != nil {
		return errors.Join(err, s.Close())
	}
	if c.Addresses != "" {
		text, err := json.MarshalIndent(d, "", "  ")
		if err == nil {
			err = os.WriteFile(c.Addresses, append(text, '\n'), 0o600)
		}
		if err != nil {
			return errors.Join(fmt.Errorf("writing the addresses: %w", err), s.Close())
		}
	}
	fmt.Fprintf(e.out, "The Warmhand demonstration is at %s. Everything in it is invented. Data: %s\n\n", s.Origin(), c.Data)
	fmt.Fprintf(e.out, "The breeder's triage list (signs you in; works once, for a day):\n  %s\n\nKeepers, each in a browser window of their own, such as a private one:\n", d.Breeder[0])
	for _, k := range d.Keepers {
		fmt.Fprintf(e.out, "  %-6s %-8s %s\n         %s\n", k.Keeper, k.Animal, k.Story, k.Links[0])
	}
	fmt.Fprintf(e.out, "\nA card that nobody has claimed yet, for %s. Code %s:\n  %s\n\nStop with Ctrl-C.\n", d.Claim.Animal, d.Claim.Code, d.Claim.Link)
	return s.Run(e)
}

// open takes the next free port when none was asked for.
func (c *demoCmd) open(e *env) (*server.Server, error) {
	cfg := server.Config{DataDir: c.Data, Listen: c.Listen, LocalPush: c.LocalPush, OneAddress: true, CallsEach: -1, Static: webApp(), Version: version(),
		Log: slog.New(slog.NewTextHandler(e.err, &slog.HandlerOptions{Level: slog.LevelWarn}))}
	if c.Listen != "" {
		return server.New(e, cfg)
	}
	for port := 8080; ; port++ {
		cfg.Listen = net.JoinHostPort("localhost", strconv.Itoa(port))
		s, err := server.New(e, cfg)
		if err == nil || port == 8099 || !errors.Is(err, syscall.EADDRINUSE) {
			return s, err
		}
	}
}

type versionCmd struct{}

func (versionCmd) Help() string { return "Example:\n\n  warmhand version" }

func (versionCmd) Run(e *env) error {
	_, err := fmt.Fprintln(e.out, version())
	return err
}

// version is the module's version, or the commit it was built from.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "development"
	}
	if v := info.Main.Version; v != "" && v != "(devel)" {
		return v
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && len(s.Value) >= 12 {
			return "development-" + s.Value[:12]
		}
	}
	return "development"
}
