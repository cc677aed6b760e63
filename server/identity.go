package server

import (
	"context"
	"net/http"
	"net/netip"
	"strings"
	"time"

	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/protobuf/reflect/protoreflect"

	"warmhand/internal/access"
	"warmhand/internal/care"
)

// Metadata that only the gateway may set. It is read from calls that come from
// inside the process and from no other, so that a client
// gains nothing by sending it.
const (
	mdBreeder  = "warmhand-cookie-breeder"
	mdKeeper   = "warmhand-cookie-keeper"
	mdRemote   = "warmhand-remote"
	mdBrowser  = "warmhand-browser" // the value of X-Warmhand
	mdAgent    = "warmhand-agent"
	mdLanguage = "accept-language" // as HTTP calls it, so that a program may say it by gRPC too
)

// Metadata of an answer: what the caller is to keep. The gateway turns the
// first two into cookies.
const (
	mdSetBreeder = "warmhand-set-breeder"
	mdSetKeeper  = "warmhand-set-keeper"
	mdSession    = "warmhand-session"
	mdRequestID  = "warmhand-request-id"
)

// credentials are what a request brings to say who sends it.
type credentials struct {
	bearer          string // an API token or a session, not from a cookie
	breeder, keeper string // the two cookies
	browser         string // X-Warmhand: "1", or the role a page acts in: "breeder", "keeper"
	agent           string
	language        string // as Accept-Language has it
	requestID       string // given by the HTTP side, "" for a call by gRPC
	remote          netip.Addr
	viaGateway      bool
}

// caller is who a request acts for, with the changes to what the caller keeps.
type caller struct {
	care.Actor
	secret string // what the actor was known by, "" for nobody
	cookie bool   // by a cookie
	// keep is what the answer tells the caller to keep: by the role, a new
	// secret, or "" to forget the one it has.
	keep map[care.ActorKind]string
}

func (c *caller) keeps(who care.Actor, secret string) {
	if c.keep == nil {
		c.keep = map[care.ActorKind]string{}
	}
	c.keep[roleOf(who)] = secret
}

// callerKey tells callers apart by whose sign-in or token they bring, for what each may
// have so much of.
func callerKey(who care.Actor) string {
	return string(who.Kind) + "/" + who.BreederID + "/" + who.ID()
}

// roleOf is KeeperActor for keepers and BreederOwner for a breeder's people:
// one cookie for each.
func roleOf(who care.Actor) care.ActorKind {
	if who.Kind == care.KeeperActor {
		return care.KeeperActor
	}
	return care.BreederOwner
}

// identify says who is calling. One phone may hold a breeder's and a keeper's
// sign-in at once; method and breederID, the owner of the resource named,
// decide between them.
func (s *Server) identify(ctx context.Context, cred credentials, method, breederID string) (c caller, err error) {
	now := s.now()
	if cred.bearer != "" {
		who, rotated, err := s.sessions.Authenticate(ctx, cred.bearer, now)
		if err != nil {
			return c, err
		}
		c.Actor, c.secret = who, cred.bearer
		if rotated != "" {
			c.secret = rotated
			c.keeps(who, rotated)
		}
		return c, nil
	}
	type signIn struct {
		who    care.Actor
		secret string
	}
	var breeder, keeper *signIn
	check := func(secret string, role care.ActorKind) (*signIn, error) {
		if secret == "" {
			return nil, nil
		}
		who, rotated, err := s.sessions.Authenticate(ctx, secret, now)
		if err == nil && roleOf(who) != role {
			err = &care.Error{Code: care.Unauthenticated}
		}
		if care.IsCode(err, care.Unauthenticated) {
			// An old cookie must not stand in the way of a new sign-in.
			c.keeps(care.Actor{Kind: role}, "")
			return nil, nil
		}
		if err != nil {
			return nil, err
		}
		if rotated != "" {
			secret = rotated
			c.keeps(who, rotated)
		}
		return &signIn{who, secret}, nil
	}
	if breeder, err = check(cred.breeder, care.BreederOwner); err != nil {
		return c, err
	}
	if keeper, err = check(cred.keeper, care.KeeperActor); err != nil {
		return c, err
	}
	chosen := breeder
	switch prefer := preferenceOf(method); {
	case breeder == nil, keeper != nil && prefer == keeperFirst:
		chosen = keeper
	case keeper == nil || prefer == breederFirst && cred.browser != "keeper":
	case cred.browser == "keeper", cred.browser != "breeder" && !breeder.who.OfBreeder(breederID):
		chosen = keeper
	}
	if chosen != nil {
		c.Actor, c.secret, c.cookie = chosen.who, chosen.secret, true
	}
	return c, nil
}

// fromHTTP reads the credentials of a request.
func (s *Server) fromHTTP(r *http.Request) credentials {
	cred := credentials{bearer: bearerOf(r.Header.Get("Authorization")), browser: r.Header.Get("X-Warmhand"),
		agent: r.UserAgent(), language: r.Header.Get("Accept-Language"), remote: s.remoteOf(r.RemoteAddr, r.Header.Values("X-Forwarded-For")), viaGateway: true}
	if c, err := r.Cookie(s.cookieName(care.BreederOwner)); err == nil {
		cred.breeder = c.Value
	}
	if c, err := r.Cookie(s.cookieName(care.KeeperActor)); err == nil {
		cred.keeper = c.Value
	}
	return cred
}

// toGateway is what the gateway hands on of a request.
func (s *Server) toGateway(_ context.Context, r *http.Request) metadata.MD {
	cred := s.fromHTTP(r)
	md := metadata.MD{mdRemote: {cred.remote.String()}, mdRequestID: {requestIDOf(r.Context())}}
	for key, value := range map[string]string{mdBreeder: cred.breeder, mdKeeper: cred.keeper, mdBrowser: cred.browser, mdAgent: printable(cred.agent), mdLanguage: printable(cred.language)} {
		if value != "" && value == printable(value) {
			md.Set(key, value)
		}
	}
	return md
}

// fromGRPC reads the credentials of a call.
func (s *Server) fromGRPC(ctx context.Context) credentials {
	md, _ := metadata.FromIncomingContext(ctx)
	first := func(key string) string {
		if v := md.Get(key); len(v) > 0 {
			return v[0]
		}
		return ""
	}
	cred := credentials{bearer: bearerOf(first("authorization")), agent: first("user-agent"), language: first(mdLanguage)}
	p, ok := peer.FromContext(ctx)
	if !ok {
		return cred
	}
	if p.Addr != (insideAddr{}) {
		cred.remote = s.remoteOf(p.Addr.String(), md.Get("x-forwarded-for"))
		return cred
	}
	cred.viaGateway = true
	cred.breeder, cred.keeper, cred.browser, cred.agent = first(mdBreeder), first(mdKeeper), first(mdBrowser), first(mdAgent)
	cred.remote, cred.requestID = addrOf(first(mdRemote)), first(mdRequestID)
	return cred
}

func bearerOf(header string) string {
	scheme, secret, ok := strings.Cut(header, " ")
	if !ok || !strings.EqualFold(scheme, "Bearer") {
		return ""
	}
	return strings.TrimSpace(secret)
}

// printable keeps what metadata may hold, at most 200 characters.
func printable(text string) string {
	text = strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return -1
		}
		return r
	}, text)
	return text[:min(len(text), 200)]
}

// cookieName is that of a role's cookie. A browser takes a name with __Host-
// from this very host and with Secure only (RFC 6265bis, section 4.1.3).
func (s *Server) cookieName(role care.ActorKind) string {
	name := "warmhand_b"
	if role == care.KeeperActor {
		name = "warmhand_k"
	}
	if s.origin.Scheme == "https" {
		name = "__Host-" + name
	}
	return name
}

// setCookie tells the browser to keep a session, or with "" to forget it.
func (s *Server) setCookie(w http.ResponseWriter, role care.ActorKind, secret string) {
	c := &http.Cookie{Name: s.cookieName(role), Value: secret, Path: "/", HttpOnly: true,
		SameSite: http.SameSiteLaxMode, Secure: s.origin.Scheme == "https",
		MaxAge: int(access.Life(care.Actor{Kind: role}) / time.Second)}
	if secret == "" {
		c.MaxAge = -1
	}
	http.SetCookie(w, c)
}

// breederOf is the breeder whose resource a request names, or "".
func breederOf(msg protoreflect.Message) string {
	fields := msg.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		switch {
		case f.Kind() == protoreflect.StringKind && !f.IsList() && (f.Name() == "name" || f.Name() == "parent"):
			if parts := strings.Split(msg.Get(f).String(), "/"); len(parts) > 1 && parts[0] == "breeders" {
				return parts[1]
			}
		}
	}
	for i := range fields.Len() {
		f := fields.Get(i)
		if (f.Name() == "animal" || f.Name() == "breeder") && f.Kind() == protoreflect.MessageKind && msg.Has(f) {
			if id := breederOf(msg.Get(f).Message()); id != "" {
				return id
			}
		}
	}
	return ""
}
