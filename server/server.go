// Package server is transport and composition: it opens what the program
// needs, plugs it together, and speaks gRPC, JSON, server-sent events and
// photo bytes on one port. It holds no rule of the domain and no SQL.
package server

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"buf.build/go/protovalidate"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health"

	"warmhand/internal/access"
	"warmhand/internal/care"
	"warmhand/internal/courier"
	"warmhand/internal/followup"
	"warmhand/internal/photo"
	"warmhand/internal/store"
)

// Config says where the data are and how the server is reached.
type Config struct {
	// DataDir holds the server's key and, without the two addresses, the
	// database and the photos. It is made when missing.
	DataDir string
	// DatabaseURL is a postgres:// URL, or "" for SQLite in DataDir.
	DatabaseURL string
	// PhotosURL is an s3:// URL (photo.OpenBucket), or "" for a folder in DataDir.
	PhotosURL string
	// Listen is the address to serve on, such as localhost:8080.
	Listen string
	// PublicURL is the origin under which people reach the server, without a
	// path; "" means http://localhost with the port of Listen.
	PublicURL string
	// TLSHosts are the names for which certificates are fetched from an authority by
	// ACME; Listen is then for TLS. ListenHTTP is the address that port 80 of those names
	// leads to, for challenges and to send people on; "" means none. ACME is the
	// authority's directory, "" that of Let's Encrypt; it may write to ACMEMail.
	TLSHosts       []string
	ListenHTTP     string
	ACME, ACMEMail string
	// TrustedProxies are the addresses of reverse proxies of ours. What one of
	// them says in X-Forwarded-For of who asks is believed, and of nobody else.
	TrustedProxies []netip.Prefix
	// Patience is how long a caller may take to send a request's headers, and
	// twice over a JSON body; 0 means ten seconds.
	Patience time.Duration
	// CallsEach is how many changes one person or program may make in a minute; they
	// may read twice as much. 0 means 1200, less than 0 that nobody counts.
	CallsEach int
	// Now is the program's only clock; nil means time.Now.
	Now func() time.Time
	// Log gets what an operator should know; nil means slog.Default().
	Log *slog.Logger
	// PassEvery is how often cases are looked at whose time has come; 0 means a
	// minute, less than 0 never.
	PassEvery time.Duration
	// BackupTo is the folder for backups on a schedule, one in each BackupEvery, of
	// which the newest BackupKeep stay; "" means none.
	BackupTo    string
	BackupEvery time.Duration
	BackupKeep  int
	// Static is the built web app; nil means that there is none.
	Static fs.FS
	// Metrics is the address on which Prometheus asks for numbers, such as
	// localhost:9464; "" means that there are none to ask for.
	Metrics string
	// Traces is an OTLP endpoint to send traces to, such as http://localhost:4318;
	// "" means nowhere.
	Traces string
	// SMTP is the mail server by which reminders go out (courier.NewMail), with its
	// password beside it; "" means that this server sends no mail. MailFrom is the
	// sender's address.
	SMTP, SMTPPassword, MailFrom string
	// LocalPush lets reminders go to push services on this machine, without TLS: for
	// tests and the demonstration.
	LocalPush bool
	// OneAddress: everybody comes from one address, as in a demonstration on one machine.
	// Tries of codes are bounded in all then, and not by address.
	OneAddress bool
	// Version is shown by GetMe and on /api; "" means "development".
	Version string

	beat        time.Duration        // in place of beatEvery, for tests
	uptime      func() time.Duration // of the machine; for tests that set Now
	connections int                  // at once, in place of connectionsMost, for tests
}

const (
	// shutdownTime is how long requests under way have to finish.
	shutdownTime = 10 * time.Second
	patience     = 10 * time.Second
	idleTime     = 2 * time.Minute
	// headerMax is room for two cookies many times over.
	headerMax = 32 << 10
	// callTime bounds every unary call and every JSON request.
	callTime = 20 * time.Second
)

// Server is the open program. New opens it, Run serves, Close closes it.
type Server struct {
	cfg          Config
	log          *slog.Logger
	now          func() time.Time
	clock        *clock
	origin       *url.URL
	store        *store.Store
	blobs        photo.Blobs
	waiting      *photo.Waiting // what has come in of pictures, and lists
	temp         string         // a folder for what is not to stay
	metrics      *metrics
	tracer       trace.Tracer
	numbers      net.Listener  // nil without Config.Metrics
	plain        net.Listener  // nil without Config.ListenHTTP
	certificates *certificates // nil without Config.TLSHosts
	measuring    chan struct{} // holds one while a photo is measured
	lists        *lists
	importDue    chan struct{} // wakes the worker on imports
	key          access.Key
	sessions     *access.Sessions
	passkeys     *access.Passkeys // nil where browsers allow none
	looks        looks
	streams      streams
	arriving     arriving
	crowd        *crowd
	pictures     sync.RWMutex // held while a picture is kept or discarded
	calls        *calls       // nil for no limits
	claims       *access.Limiter
	signIns      *access.Limiter
	prints       *access.Limiter
	checks       *access.Limiter // of signed records, by anybody
	mails        *access.Limiter // to addresses that nobody has confirmed
	push         *courier.Push
	mail         *courier.Mail // nil without Config.SMTP
	validate     protovalidate.Validator
	followup     *followup.Service
	peers        *peers // nil where no other server can be on the database
	health       *health.Server
	listener     net.Listener
	grpc         *grpc.Server
	inside       *inside // the gateway's way to what grpc serves
	http         *http.Server
	draining     chan struct{} // closed when streams have to end
	closers      []func() error
	drainOnce    sync.Once
	closeOnce    sync.Once
	closeErr     error
}

// New opens the database, the photos and the key, and begins to listen; it
// does not answer before Run. Everything it opened is closed again when it
// fails.
func New(ctx context.Context, cfg Config) (s *Server, err error) {
	claims := access.ClaimLimits
	if cfg.OneAddress {
		claims.Each = nil
	}
	s = &Server{cfg: cfg, log: cfg.Log, now: cfg.Now, draining: make(chan struct{}), importDue: make(chan struct{}, 1), measuring: make(chan struct{}, 1),
		calls: newCalls(cfg.CallsEach), claims: access.NewLimiter(claims), signIns: access.NewLimiter(access.SignInLimits),
		prints: access.NewLimiter(access.PrintLimits), checks: access.NewLimiter(access.CheckLimits),
		mails: access.NewLimiter(access.MailLimits)}
	if s.log == nil {
		s.log = slog.Default()
	}
	if s.now == nil {
		s.now, s.cfg.uptime = time.Now, uptime
	}
	s.clock = &clock{uptime: s.cfg.uptime}
	if s.cfg.PassEvery == 0 {
		s.cfg.PassEvery = time.Minute
	}
	if s.cfg.Patience == 0 {
		s.cfg.Patience = patience
	}
	if s.cfg.Version == "" {
		s.cfg.Version = "development"
	}
	s.metrics = newMetrics(s.cfg.Version)
	defer func() {
		if err != nil {
			err = errors.Join(err, s.Close())
			s = nil
		}
	}()

	if cfg.DataDir == "" {
		return s, errors.New("the data folder is not set: say where the data are to be kept")
	}
	if err := cfg.checkBackups(); err != nil {
		return s, err
	}
	if err := os.MkdirAll(cfg.DataDir, 0o700); err != nil {
		return s, fmt.Errorf("making the data folder: %w", err)
	}
	if cfg.DatabaseURL == "" {
		unlock, err := lockFolder(filepath.Join(cfg.DataDir, lockFile))
		if err != nil {
			return s, err
		}
		s.onClose(unlock)
	}
	folder, err := photo.OpenFolder(filepath.Join(cfg.DataDir, photosDir))
	if err != nil {
		return s, fmt.Errorf("opening the photos: %w", err)
	}
	s.blobs, s.temp = folder, folder.Temp()
	if cfg.PhotosURL != "" {
		bucket, err := photo.OpenBucket(ctx, cfg.PhotosURL)
		if err != nil {
			return s, err
		}
		s.onClose(bucket.Close)
		s.blobs = bucket
	}
	if s.waiting, err = s.blobs.Waiting(s.temp); err != nil {
		return s, err
	}
	s.lists = &lists{s.waiting, make(chan struct{}, listsRead)}
	if s.store, err = store.Open(ctx, store.Config{URL: cfg.DatabaseURL, Dir: cfg.DataDir}); err != nil {
		return s, err
	}
	s.onClose(s.store.Close)
	if s.key, err = loadKey(ctx, s.store, cfg.DataDir, s.now()); err != nil {
		return s, err
	}
	if unheld, err := s.store.Unheld(ctx); err != nil {
		return s, err
	} else if unheld {
		s.log.Warn("The database's own separation of breeders is off, because Warmhand signs in to it as a superuser. Give it a role of its own that owns the database.")
	}
	var sendTraces func() error
	if s.tracer, sendTraces, err = newTracer(ctx, s.cfg.Traces, s.cfg.Version); err != nil {
		return s, err
	}
	s.onClose(func() error {
		if err := sendTraces(); err != nil {
			s.log.Warn("The last traces were not sent.", "error", err)
		}
		return nil
	})
	traced := tracedStore{s.store, s.tracer}
	s.sessions = access.NewSessions(traced)
	s.followup = followup.New(traced, claimCodes{s.key}, signer{s})
	if s.store.Shared() {
		s.peers = newPeers(s)
	}
	if s.validate, err = protovalidate.New(); err != nil {
		return s, fmt.Errorf("the contract's rules: %w", err)
	}

	connections := s.newConnections()
	s.crowd = s.newCrowd(connections)
	if s.listener, err = connections.listen(cfg.Listen); err != nil {
		return s, fmt.Errorf("listening: %w", err)
	}
	s.onClose(s.listener.Close)
	if cfg.Metrics != "" {
		if s.numbers, err = net.Listen("tcp", cfg.Metrics); err != nil {
			return s, fmt.Errorf("listening for who asks for metrics: %w", err)
		}
		s.metrics.registry.MustRegister(backlogMetrics{s})
		s.onClose(s.numbers.Close)
	}
	if len(cfg.TLSHosts) > 0 {
		if s.certificates, err = newCertificates(cfg.TLSHosts, cfg.ACME, cfg.ACMEMail, cfg.ListenHTTP != "", keptCertificates{s.store, s.key, s.now}); err != nil {
			return s, err
		}
		if cfg.ListenHTTP != "" {
			if s.plain, err = connections.listen(cfg.ListenHTTP); err != nil {
				return s, fmt.Errorf("listening for challenges and for who comes without TLS: %w", err)
			}
			s.onClose(s.plain.Close)
		}
	}
	if s.origin, err = publicOrigin(cfg, s.listener.Addr()); err != nil {
		return s, err
	}
	if err := s.couriers(); err != nil {
		return s, err
	}
	if s.passkeys, err = access.NewPasskeys(s.origin.Hostname(), s.origin.String(), "Warmhand"); err != nil {
		s.passkeys = nil
		s.log.Warn("No passkeys here: people sign in with links and recovery codes.", "because", err)
	}

	s.newGRPC()
	handler, err := s.newHandler()
	if err != nil {
		return s, err
	}
	var protocols http.Protocols
	protocols.SetHTTP1(true)
	protocols.SetUnencryptedHTTP2(s.certificates == nil)
	protocols.SetHTTP2(s.certificates != nil)
	s.http = &http.Server{
		Handler: handler, Protocols: &protocols,
		// Writing has no limit of its own, because live streams go on for hours.
		ReadHeaderTimeout: s.cfg.Patience, IdleTimeout: idleTime, MaxHeaderBytes: headerMax,
		ErrorLog: s.httpLog(),
	}
	if s.certificates != nil {
		s.http.TLSConfig = s.certificates.forTLS()
	}
	return s, nil
}

func (s *Server) onClose(f func() error) { s.closers = append(s.closers, f) }

// publicOrigin reads PublicURL, or makes the one that reaches this machine.
func publicOrigin(cfg Config, listening net.Addr) (*url.URL, error) {
	public := cfg.PublicURL
	if public == "" {
		_, port, err := net.SplitHostPort(listening.String())
		if err != nil {
			return nil, fmt.Errorf("the address listened on: %w", err)
		}
		public = "http://localhost:" + port
		if len(cfg.TLSHosts) > 0 {
			public = strings.TrimSuffix("https://"+cfg.TLSHosts[0]+":"+port, ":443")
		}
	}
	u, err := url.Parse(strings.TrimSuffix(public, "/"))
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" || u.Path != "" || u.RawQuery != "" || u.Fragment != "" || u.User != nil {
		shown := fmt.Sprintf(" %q", public)
		if u == nil || u.User != nil {
			shown = "" // a password may be in it
		}
		return nil, fmt.Errorf("the public URL%s is not an origin such as https://snakes.example.org", shown)
	}
	if len(cfg.TLSHosts) > 0 && u.Scheme != "https" {
		return nil, fmt.Errorf("the public URL %q does not begin with https://, and this server answers with TLS", public)
	}
	return u, nil
}

// Run serves until ctx ends, then lets what is under way finish and closes the
// server. What has not finished after ten seconds is cut off.
func (s *Server) Run(ctx context.Context) error {
	work, stopWork := context.WithCancel(context.WithoutCancel(ctx))
	defer stopWork()
	failed := make(chan error, 3)
	var running, working sync.WaitGroup
	talk, stopTalking := context.WithCancel(context.WithoutCancel(ctx))
	defer stopTalking()
	if s.peers != nil {
		s.worked(ctx, tellingPeers, time.Now(), s.peers.tell(ctx, false)) // before anything is changed here
		running.Go(func() { s.peers.run(talk, s.worked) })
	}
	running.Go(func() {
		if s.certificates != nil {
			failed <- s.http.ServeTLS(s.listener, "", "")
			return
		}
		failed <- s.http.Serve(s.listener)
	})
	if s.plain != nil {
		h := s.toHTTPS() // before the first certificate is asked for
		running.Go(func() { failed <- s.serveHTTP(work, s.plain, h) })
	}
	working.Go(func() { s.background(work) })
	if s.numbers != nil {
		running.Go(func() { failed <- s.serveMetrics(work, s.numbers) })
	}

	var err error
	select {
	case <-ctx.Done():
	case err = <-failed:
	}
	s.health.Shutdown()
	s.drain()
	stopWork()
	deadline, cancel := context.WithTimeout(context.WithoutCancel(ctx), shutdownTime)
	defer cancel()
	if shutErr := s.http.Shutdown(deadline); shutErr != nil {
		s.log.Warn("Some requests did not finish in time and were cut off.", "after", shutdownTime)
		s.http.Close()
	}
	s.grpc.Stop()
	working.Wait()
	stopTalking() // only now is nothing changed here any more
	running.Wait()
	if err := s.keepLooks(deadline); err != nil {
		s.log.Error("The last looks at cases were not written down.", "error", err)
	}
	if errors.Is(err, http.ErrServerClosed) || errors.Is(err, grpc.ErrServerStopped) {
		err = nil
	}
	return errors.Join(err, s.Close())
}

// drain ends the live streams, which would otherwise go on for hours.
func (s *Server) drain() { s.drainOnce.Do(func() { close(s.draining) }) }

// Close closes what New opened, the last first. It is for a server that was
// not run; Run closes by itself, and closing again does nothing.
func (s *Server) Close() error {
	s.closeOnce.Do(func() {
		s.drain()
		for i := len(s.closers) - 1; i >= 0; i-- {
			if err := s.closers[i](); err != nil && !errors.Is(err, net.ErrClosed) {
				s.closeErr = errors.Join(s.closeErr, err)
			}
		}
	})
	return s.closeErr
}

// Addr is the address that is listened on.
func (s *Server) Addr() net.Addr { return s.listener.Addr() }

// MetricsAddr is where Prometheus may ask; nil without Config.Metrics.
func (s *Server) MetricsAddr() net.Addr {
	if s.numbers == nil {
		return nil
	}
	return s.numbers.Addr()
}

// Origin is how people reach the server, such as https://snakes.example.org.
func (s *Server) Origin() string { return s.origin.String() }

// Store is the open database, with everybody's rows in reach.
func (s *Server) Store() care.Store { return s.store.Everything() }

// FollowUp is the use cases over the store.
func (s *Server) FollowUp() *followup.Service { return s.followup }

// Sessions is the sign-ins of browsers.
func (s *Server) Sessions() *access.Sessions { return s.sessions }

// ClaimURL is the link that a handover's QR code holds. The code is in the
// fragment, which a browser sends to nobody.
func (s *Server) ClaimURL(code string) string {
	if code == "" {
		return ""
	}
	return s.origin.String() + "/c#" + strings.ReplaceAll(code, "-", "")
}

// AnimalURL is the link that the code on a tub's label holds.
func (s *Server) AnimalURL(id string) string { return s.origin.String() + "/b/animals/" + id }

// SignInURL is the link that redeems a sign-in secret.
func (s *Server) SignInURL(secret string) string { return s.origin.String() + "/in#" + secret }

// claimCodes makes claim codes with this server's key.
type claimCodes struct{ key access.Key }

func (c claimCodes) New() (plain, hash string, err error) {
	plain = access.NewClaimCode()
	return plain, c.key.HashClaimCode(plain), nil
}

func (c claimCodes) Hash(typed string) (string, error) {
	code, err := c.Plain(typed)
	if err != nil {
		return "", err
	}
	return c.key.HashClaimCode(code), nil
}

func (c claimCodes) CardKey(breederID string) []byte { return c.key.CardKey(breederID) }

func (c claimCodes) Mark(breederID, plain string) string {
	return access.CardMark(c.key.CardKey(breederID), plain)
}

// Plain is a typed code in its groups.
func (claimCodes) Plain(typed string) (string, error) {
	code, err := access.ParseClaimCode(typed)
	if err != nil {
		var bad *care.Error
		if errors.As(err, &bad) {
			for i := range bad.Fields {
				bad.Fields[i].Field = "claim_code" // its name in the contract
			}
		}
		return "", err
	}
	return code, nil
}

// remoteOf is the network address of who sent a request. Each proxy adds whom
// it heard, so the last address that is no proxy of ours is the caller's, and
// what stands before it anybody may have written.
func (s *Server) remoteOf(peer string, forwarded []string) netip.Addr {
	from := addrOf(peer)
	hops := strings.Split(strings.Join(forwarded, ","), ",")
	for i := len(hops) - 1; i >= 0 && s.isProxy(from); i-- {
		hop := addrOf(strings.TrimSpace(hops[i]))
		if !hop.IsValid() {
			break
		}
		from = hop
	}
	return from
}

func (s *Server) isProxy(a netip.Addr) bool {
	return slices.ContainsFunc(s.cfg.TrustedProxies, func(p netip.Prefix) bool { return p.Contains(a) })
}

// addrOf reads an address with or without a port; the zero Addr when it is
// neither.
func addrOf(text string) netip.Addr {
	if ap, err := netip.ParseAddrPort(text); err == nil {
		return ap.Addr().Unmap()
	}
	a, err := netip.ParseAddr(text)
	if err != nil {
		return netip.Addr{}
	}
	return a.Unmap()
}
