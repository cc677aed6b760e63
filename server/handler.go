package server

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"runtime/debug"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"

	"warmhand/internal/care"
	"warmhand/internal/gen"
	"warmhand/internal/words"
)

// bodyMax is the largest JSON request.
const bodyMax = 1 << 20

// grpcHead is what stands before a message by gRPC: whether it is packed, and how long it is.
const grpcHead = 5

// csp lets the page run what comes from here and nothing else. Without
// 'wasm-unsafe-eval' the code reader never answers.
const csp = "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; img-src 'self' blob: data:; " +
	"connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; frame-ancestors 'none'; form-action 'self'; object-src 'none'"

// newHandler is everything on the port.
func (s *Server) newHandler() (http.Handler, error) {
	gateway, err := s.newGateway()
	if err != nil {
		return nil, err
	}
	static, err := newStatic(s.cfg.Static)
	if err != nil {
		return nil, err
	}
	page, err := newAPIPage(gen.OpenAPI, s.cfg.Version)
	if err != nil {
		return nil, err
	}
	mux := http.NewServeMux()
	mux.Handle("/v1/", s.jsonBody(gateway))
	mux.HandleFunc(routeBreederLive, s.breederLive)
	mux.HandleFunc(routeKeeperLive, s.keeperLive)
	mux.HandleFunc(routePhotoPut, s.putPhoto)
	mux.HandleFunc(routePhotoPatch, s.putPhoto)
	mux.HandleFunc(routePhotoHead, s.headPhoto)
	mux.HandleFunc(routePhotoGet, s.getPhoto)
	mux.Handle(routeCards, s.jsonBody(http.HandlerFunc(s.printCards)))
	mux.HandleFunc(routeLabels, s.printLabels)
	mux.HandleFunc(routeRecord, s.printRecord)
	mux.HandleFunc(routeGuide, s.printGuide)
	mux.HandleFunc(routeSigned, s.signedRecord)
	mux.HandleFunc(routeKeys, s.publicKeys)
	mux.HandleFunc(routeRevoked, s.revoked)
	mux.Handle(routeLetterLink, s.jsonBody(http.HandlerFunc(s.openLetter)))
	mux.Handle(routeLetter, s.jsonBody(http.HandlerFunc(s.printLetter)))
	mux.HandleFunc(routeCaseFile, s.caseFile)
	mux.HandleFunc(routeCaseFiles, s.caseFiles)
	mux.HandleFunc(routeListPut, s.putList)
	mux.HandleFunc(routeEverything, s.exportBreeder)
	mux.HandleFunc(routeTakeaway, s.exportKeeper)
	mux.HandleFunc(routeStock, s.exportStock)
	mux.HandleFunc(routeCalendar, s.calendar)
	mux.HandleFunc(routeMailLink, s.mailLink)
	mux.HandleFunc(routeMailAnswer, s.mailLink)
	mux.HandleFunc("GET /mail.css", style(mailStyle))
	mux.HandleFunc("GET /openapi.json", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		w.Header().Set("Cache-Control", "no-cache")
		w.Write(gen.OpenAPI)
	})
	mux.Handle("GET /api", page)
	mux.HandleFunc("GET /api.css", style(apiStyle))
	mux.HandleFunc("GET /healthz", s.healthz)
	mux.HandleFunc("GET /livez", livez)
	mux.Handle("/", static)

	timed := s.metrics.timed(mux)
	return http.HandlerFunc(func(plain http.ResponseWriter, r *http.Request) {
		w, done := s.patient(plain, r)
		defer done()
		if r.ContentLength != 0 {
			// Also where nobody reads it, for then net/http waits for it; files have longer, once
			// it is known who sends them. No method takes a stream of requests for long.
			w.rc.SetReadDeadline(time.Now().Add(2 * s.cfg.Patience)) //nolint:errcheck // a connection without deadlines has none
		}
		guest, full := s.crowd.enter(r)
		if full == nil {
			defer guest.leave()
		}
		if r.ProtoMajor == 2 && strings.HasPrefix(r.Header.Get("Content-Type"), "application/grpc") {
			if full != nil {
				s.refuseGRPC(w, r, full)
				return
			}
			// grpc reads on while a call is worked on, and keeps all of it.
			r.Body = http.MaxBytesReader(w, &heldBody{r.Body, guest}, grpcHead+bodyMax)
			s.grpc.ServeHTTP(w, r)
			return
		}
		id := rand.Text()
		h := w.Header()
		h.Set("X-Request-Id", id)
		h.Set("Content-Security-Policy", csp)
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Permissions-Policy", "camera=(self)")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		if s.origin.Scheme == "https" {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		defer func() {
			if v := recover(); v != nil {
				if v == http.ErrAbortHandler {
					panic(v)
				}
				s.writeError(w, r, fmt.Errorf("panic: %v\n%s", v, debug.Stack()))
			}
		}()
		if full != nil {
			s.metrics.timed(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { s.writeError(w, r, full) })).ServeHTTP(w, r)
			return
		}
		if err := s.fromOurPages(r); err != nil {
			s.writeError(w, r, err)
			return
		}
		ctx := context.WithValue(context.WithValue(r.Context(), requestIDKey{}, id), guestKey{}, guest)
		timed.ServeHTTP(w, r.WithContext(ctx))
	}), nil
}

// fromOurPages refuses requests that another site made a browser send: what
// changes something and rides on a cookie has to carry a header that no form
// can set, and an Origin that is ours.
func (s *Server) fromOurPages(r *http.Request) error {
	switch r.Method {
	case http.MethodGet, http.MethodHead, http.MethodOptions:
		return nil
	}
	if strings.HasPrefix(r.URL.Path, "/mail/") {
		return nil // the link itself is the key, no cookie is looked at, and mail programs send it (RFC 8058)
	}
	denied := func(text words.Text) error {
		return &care.Error{Code: care.Denied, Reason: care.ReasonNotYours, Text: text}
	}
	if origin := r.Header.Get("Origin"); origin != "" && origin != s.origin.String() {
		u, err := url.Parse(origin)
		if err != nil || u.Host == "" || u.Host != r.Host {
			return denied(words.Say("This request comes from another site. Open Warmhand itself and do it there."))
		}
	}
	cred := s.fromHTTP(r)
	if cred.bearer == "" && (cred.breeder != "" || cred.keeper != "") && cred.browser == "" {
		return denied(words.Say("A request that is signed in by a cookie needs the header X-Warmhand: 1."))
	}
	return nil
}

// jsonBody reads the body of a JSON request and refuses what is too large or
// no JSON, so that what follows has whole, well-formed requests only.
func (s *Server) jsonBody(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Body == nil || r.Body == http.NoBody {
			next.ServeHTTP(w, r)
			return
		}
		body, err := io.ReadAll(http.MaxBytesReader(w, &heldBody{r.Body, guestOf(r)}, bodyMax))
		var large *http.MaxBytesError
		var full *care.Error
		switch {
		case errors.As(err, &full):
			s.writeError(w, r, full)
			return
		case errors.As(err, &large):
			s.writeError(w, r, &care.Error{Code: care.Invalid, Reason: care.ReasonTooLarge, Text: words.Say("The request is larger than 1 MiB. Send less at once."),
				Fields: []care.FieldError{{Field: "body", Text: words.Say("Larger than 1 MiB.")}}})
			return
		case err != nil:
			s.writeError(w, r, care.BadField("body", "The request did not arrive whole. Send it again."))
			return
		}
		if len(body) > 0 {
			if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
				s.writeError(w, r, care.BadField("Content-Type", "Send the request as application/json."))
				return
			}
			if err := syntax(body); err != nil {
				s.writeError(w, r, err)
				return
			}
		}
		r.Body = io.NopCloser(bytes.NewReader(body))
		next.ServeHTTP(w, r)
	})
}

func syntax(body []byte) error {
	var any json.RawMessage
	err := json.Unmarshal(body, &any)
	var bad *json.SyntaxError
	if errors.As(err, &bad) {
		return care.BadField("body", "The request is not JSON: it breaks off being that at byte {place}. Check what was sent.", int(bad.Offset))
	}
	if err != nil {
		return care.BadField("body", "The request is not JSON. Check what was sent.")
	}
	return nil
}

// livez says that the program runs, whatever the database does.
func livez(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	io.WriteString(w, "ok\n")
}

const healthy = "ok\n"

// healthz says whether requests should come here.
func (s *Server) healthz(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	select {
	case <-s.draining:
		w.WriteHeader(http.StatusServiceUnavailable)
		io.WriteString(w, "The server stops.\n")
		return
	default:
	}
	ctx, cancel := context.WithTimeout(r.Context(), 2*time.Second)
	defer cancel()
	err := s.store.Read(ctx, func(tx care.Tx) error {
		// By key, so that it takes as long in a large database as in an empty one.
		if _, err := tx.Breeder("-"); err != nil && !care.IsCode(err, care.NotFound) {
			return err
		}
		return nil
	})
	if err != nil {
		s.log.Error("The health check could not read the database.", "error", err)
		w.WriteHeader(http.StatusServiceUnavailable)
		io.WriteString(w, "The database does not answer.\n")
		return
	}
	io.WriteString(w, healthy)
}

// Ready asks a server whether requests should come to it, at an address such as
// localhost:8080 or its URL. The error is its own answer, or says that there was none.
func Ready(ctx context.Context, address string) error {
	if !strings.Contains(address, "://") {
		address = "http://" + address
	}
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, strings.TrimSuffix(address, "/")+"/healthz", nil)
	if err != nil {
		return errors.New("the address to ask at is not one such as localhost:8080") // a password may be in it
	}
	ask := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	defer ask.CloseIdleConnections()
	res, err := ask.Do(req)
	if err != nil {
		return fmt.Errorf("no server answers: %w", err)
	}
	defer res.Body.Close()
	said, err := io.ReadAll(io.LimitReader(res.Body, 1000))
	if err != nil {
		return fmt.Errorf("the server's answer broke off: %w", err)
	}
	if res.StatusCode != http.StatusOK || string(said) != healthy {
		return fmt.Errorf("the answer is %s: %s", res.Status, strings.TrimSpace(string(said)))
	}
	return nil
}

func notFoundInfo() *errdetails.ErrorInfo {
	return &errdetails.ErrorInfo{Reason: string(care.ReasonNotFound), Domain: errorDomain}
}
