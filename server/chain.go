package server

import (
	"context"
	"crypto/rand"
	"fmt"
	"net/http"
	"runtime/debug"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"warmhand/internal/access"
	"warmhand/internal/care"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/internal/words"
)

// call is one call on its way through the chain.
type call struct {
	method string
	id     string
	cred   credentials
	who    caller
	msg    proto.Message // nil for a stream, whose request comes later
	stream bool
	in     *words.Language // of its answer
}

func (s *Server) newCall(ctx context.Context, method string) *call {
	c := &call{method: method, cred: s.fromGRPC(ctx)}
	c.in = words.Match(c.cred.language)
	if c.id = c.cred.requestID; c.id == "" {
		c.id = rand.Text()
	}
	return c
}

// wants is the tag of the language that the call asks for; "" when it asks for none.
func (c *call) wants() string {
	if c.cred.language == "" {
		return ""
	}
	return c.in.Tag
}

type callKey struct{}

// callOf is the call that a handler answers.
func callOf(ctx context.Context) *call { return ctx.Value(callKey{}).(*call) }

// asked is the language that a request asks for outside the chain.
func asked(r *http.Request) *words.Language { return words.Match(r.Header.Get("Accept-Language")) }

// spoken is the language in which a call is answered.
func spoken(ctx context.Context) *words.Language {
	if c, ok := ctx.Value(callKey{}).(*call); ok {
		return c.in
	}
	return words.English
}

type step func(s *Server, ctx context.Context, c *call, next func(context.Context) error) error

// chain is what every call goes through, unary or stream, first to last.
var chain = []step{timeCall, traceCall, mapErrors, catchPanics, setDeadline, authenticate, authorise, countCall, confine, countTries, checkRequest}

// through runs the chain and then f.
func (s *Server) through(ctx context.Context, c *call, f func(context.Context) error) error {
	ctx = context.WithValue(ctx, callKey{}, c)
	next := f
	for i := len(chain) - 1; i >= 0; i-- {
		step, after := chain[i], next
		next = func(ctx context.Context) error { return step(s, ctx, c, after) }
	}
	return next(ctx)
}

func (s *Server) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (answer any, err error) {
	c := s.newCall(ctx, info.FullMethod)
	c.msg, _ = req.(proto.Message)
	err = s.through(ctx, c, func(ctx context.Context) (err error) {
		answer, err = handler(ctx, req)
		return err
	})
	s.tellCaller(ctx, c, func(md metadata.MD) error { return grpc.SetHeader(ctx, md) })
	if err != nil {
		return nil, err
	}
	s.noteLook(c.who.Actor, c.msg)
	return answer, nil
}

func (s *Server) streaming(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	c := s.newCall(ss.Context(), info.FullMethod)
	c.stream = true
	return s.through(ss.Context(), c, func(ctx context.Context) error {
		s.tellCaller(ctx, c, ss.SetHeader)
		end, err := s.streams.begin(c.who.Actor, c.cred.remote)
		if err != nil {
			return err
		}
		defer end()
		return handler(srv, &checkedStream{ss, ctx, s})
	})
}

// checkedStream checks the requests of a stream as they come.
type checkedStream struct {
	grpc.ServerStream
	ctx context.Context
	s   *Server
}

func (c *checkedStream) Context() context.Context { return c.ctx }

func (c *checkedStream) RecvMsg(m any) error {
	if err := c.ServerStream.RecvMsg(m); err != nil {
		return err
	}
	if msg, ok := m.(proto.Message); ok {
		return c.s.check(msg)
	}
	return nil
}

// tellCaller puts what the caller is to keep into the answer's metadata. Who
// hung up is told nothing.
func (s *Server) tellCaller(ctx context.Context, c *call, set func(metadata.MD) error) {
	md := metadata.Pairs(mdRequestID, c.id)
	for role, secret := range c.who.keep {
		switch {
		case !c.cred.viaGateway || c.cred.bearer != "":
			md.Set(mdSession, secret)
		case role == care.KeeperActor:
			md.Set(mdSetKeeper, secret)
		default:
			md.Set(mdSetBreeder, secret)
		}
	}
	if err := set(md); err != nil && ctx.Err() == nil {
		s.log.Warn("An answer's metadata could not be set.", "method", c.method, "error", err)
	}
}

// mapErrors makes a status of every error and logs what nobody expected.
func mapErrors(s *Server, ctx context.Context, c *call, next func(context.Context) error) error {
	err := next(ctx)
	if err == nil {
		return nil
	}
	st, unexpected := statusOf(err, c.id, c.in)
	if unexpected {
		s.log.Error("A call failed.", "method", c.method, "request", c.id, "error", err)
	}
	return st.Err()
}

func catchPanics(_ *Server, ctx context.Context, c *call, next func(context.Context) error) (err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("panic: %v\n%s", v, debug.Stack())
		}
	}()
	return next(ctx)
}

func setDeadline(_ *Server, ctx context.Context, c *call, next func(context.Context) error) error {
	if c.stream {
		return next(ctx)
	}
	ctx, cancel := context.WithTimeout(ctx, callTime)
	defer cancel()
	return next(ctx)
}

func authenticate(s *Server, ctx context.Context, c *call, next func(context.Context) error) (err error) {
	breederID := ""
	if c.msg != nil {
		breederID = breederOf(c.msg.ProtoReflect())
	}
	if c.who, err = s.identify(ctx, c.cred, c.method, breederID); err != nil {
		return err
	}
	return next(ctx)
}

func authorise(_ *Server, ctx context.Context, c *call, next func(context.Context) error) error {
	if err := policy.Check(c.method, c.who.Actor); err != nil {
		return err
	}
	return next(ctx)
}

// confine has the call touch only whose rows it has a reason to.
func confine(_ *Server, ctx context.Context, c *call, next func(context.Context) error) error {
	breederID := ""
	if c.msg != nil {
		breederID = breederOf(c.msg.ProtoReflect())
	}
	return next(care.WithReach(ctx, reachOf(c.method, c.who.Actor, breederID)))
}

// countCall limits what one account does.
func countCall(s *Server, ctx context.Context, c *call, next func(context.Context) error) error {
	if err := s.count(c.method, c.who.Actor); err != nil {
		return err
	}
	return next(ctx)
}

// countTries limits the methods by which secrets could be guessed.
func countTries(s *Server, ctx context.Context, c *call, next func(context.Context) error) error {
	var limit *access.Limiter
	switch c.method {
	case pb.HandoverService_LookUpClaim_FullMethodName, pb.HandoverService_ClaimHandover_FullMethodName, pb.CardService_ClaimCard_FullMethodName, pb.AccessService_UseKeeperCode_FullMethodName:
		limit = s.claims
	case pb.AccessService_RedeemSignInLink_FullMethodName, pb.AccessService_UseRecoveryCode_FullMethodName,
		pb.AccessService_BeginPasskeySignIn_FullMethodName, pb.AccessService_FinishPasskeySignIn_FullMethodName:
		limit = s.signIns
	default:
		return next(ctx)
	}
	if err := limit.Try(access.AddressKey(c.cred.remote), s.now()); err != nil {
		return err
	}
	return next(ctx)
}

func checkRequest(s *Server, ctx context.Context, c *call, next func(context.Context) error) error {
	if c.msg != nil {
		if err := s.check(c.msg); err != nil {
			return err
		}
	}
	return next(ctx)
}

// check holds a request against the contract's rules.
func (s *Server) check(msg proto.Message) error {
	if err := s.validate.Validate(msg); err != nil {
		return ruleBroken(err, maskOf(msg.ProtoReflect()))
	}
	return nil
}

// maskOf is the update mask of a request, nil when there is none.
func maskOf(msg protoreflect.Message) []string {
	f := msg.Descriptor().Fields().ByName("update_mask")
	if f == nil || !msg.Has(f) {
		return nil
	}
	mask := msg.Get(f).Message()
	list := mask.Get(mask.Descriptor().Fields().ByName("paths")).List()
	paths := make([]string, list.Len())
	for i := range paths {
		paths[i] = snakeCase(list.Get(i).String())
	}
	return paths
}

// stillIn looks again at the sign-in that a stream began with, which may have
// ended or be for fewer breeders' cases by now.
func (s *Server) stillIn(ctx context.Context, who *caller) error {
	actor, _, err := s.sessions.Authenticate(ctx, who.secret, s.now())
	if care.IsCode(err, care.Unauthenticated) {
		return errSignedOut
	}
	if err == nil {
		who.Actor = actor
	}
	return nil // a database that does not answer signs nobody out
}

// Why a stream ends early.
var (
	errServerStops = &care.Error{Code: care.Unavailable, Reason: care.ReasonNotSaved, Text: words.Say("The server is restarting. Connect again in a moment.")}
	errSignedOut   = &care.Error{Code: care.Unauthenticated, Reason: care.ReasonSignInNeeded, Text: words.Say("This sign-in has ended. Please sign in again.")}
)

// heartbeat is how often a live stream shows that it is alive, and how soon an
// ended sign-in ends it.
const heartbeat = 15 * time.Second
