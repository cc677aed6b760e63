package server

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"sync"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/grpc-ecosystem/grpc-gateway/v2/utilities"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/reflection"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"warmhand/internal/care"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/internal/words"
)

// wireJSON is how messages are written as JSON, everywhere.
var wireJSON = protojson.MarshalOptions{EmitDefaultValues: true}

// newGRPC makes the gRPC server with all services behind one chain.
func (s *Server) newGRPC() {
	s.grpc = grpc.NewServer(grpc.UnaryInterceptor(s.unary), grpc.StreamInterceptor(s.streaming), grpc.MaxRecvMsgSize(bodyMax))
	s.onClose(func() error {
		s.grpc.Stop()
		return nil
	})
	s.inside = &inside{s.unary, map[string]insideMethod{}}
	for _, to := range []grpc.ServiceRegistrar{s.grpc, s.inside} {
		pb.RegisterAccessServiceServer(to, &accessService{s: s})
		pb.RegisterAnimalServiceServer(to, &animalService{s: s})
		pb.RegisterBreederServiceServer(to, &breederService{s: s})
		pb.RegisterCaseServiceServer(to, &caseService{s: s})
		pb.RegisterEntryServiceServer(to, &entryService{s: s})
		pb.RegisterHandoverServiceServer(to, &handoverService{s: s})
		pb.RegisterImportServiceServer(to, &importService{s: s})
		pb.RegisterInsightServiceServer(to, &insightService{s: s})
		pb.RegisterRightsServiceServer(to, &rightsService{s: s})
		pb.RegisterReminderServiceServer(to, &reminderService{s: s})
		pb.RegisterCardServiceServer(to, &cardService{s: s})
		pb.RegisterReferenceServiceServer(to, &referenceService{})
	}
	s.health = health.NewServer()
	healthpb.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
}

// newGateway turns JSON requests into calls of the same services, so that the
// chain runs for them too.
func (s *Server) newGateway() (http.Handler, error) {
	setQueryParser()
	none := func(string) (string, bool) { return "", false }
	mux := runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, &runtime.JSONPb{MarshalOptions: wireJSON}),
		runtime.WithIncomingHeaderMatcher(none), // what is needed comes from toGateway
		runtime.WithOutgoingHeaderMatcher(none),
		runtime.WithOutgoingTrailerMatcher(none),
		runtime.WithMetadata(s.toGateway),
		runtime.WithForwardResponseOption(func(ctx context.Context, w http.ResponseWriter, _ proto.Message) error {
			w.Header().Set("Cache-Control", "no-store")
			s.keepFromMetadata(ctx, w)
			return nil
		}),
		runtime.WithErrorHandler(func(ctx context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, err error) {
			s.keepFromMetadata(ctx, w)
			s.gatewayError(w, r, err)
		}),
		runtime.WithRoutingErrorHandler(func(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, code int) {
			s.routingError(w, r, code)
		}),
		runtime.WithDisablePathLengthFallback(),
		runtime.WithDisableHTTPMethodOverride(),
		runtime.WithUnescapingMode(runtime.UnescapingModeAllExceptReserved),
	)
	ctx := context.Background() // of no meaning with a client of ours
	if err := errors.Join(
		pb.RegisterAccessServiceHandlerClient(ctx, mux, pb.NewAccessServiceClient(s.inside)),
		pb.RegisterAnimalServiceHandlerClient(ctx, mux, pb.NewAnimalServiceClient(s.inside)),
		pb.RegisterBreederServiceHandlerClient(ctx, mux, pb.NewBreederServiceClient(s.inside)),
		pb.RegisterCaseServiceHandlerClient(ctx, mux, pb.NewCaseServiceClient(s.inside)),
		pb.RegisterEntryServiceHandlerClient(ctx, mux, pb.NewEntryServiceClient(s.inside)),
		pb.RegisterHandoverServiceHandlerClient(ctx, mux, pb.NewHandoverServiceClient(s.inside)),
		pb.RegisterImportServiceHandlerClient(ctx, mux, pb.NewImportServiceClient(s.inside)),
		pb.RegisterInsightServiceHandlerClient(ctx, mux, pb.NewInsightServiceClient(s.inside)),
		pb.RegisterReferenceServiceHandlerClient(ctx, mux, pb.NewReferenceServiceClient(s.inside)),
		pb.RegisterRightsServiceHandlerClient(ctx, mux, pb.NewRightsServiceClient(s.inside)),
		pb.RegisterReminderServiceHandlerClient(ctx, mux, pb.NewReminderServiceClient(s.inside)),
		pb.RegisterCardServiceHandlerClient(ctx, mux, pb.NewCardServiceClient(s.inside)),
	); err != nil {
		return nil, fmt.Errorf("the gateway's routes: %w", err)
	}
	return mux, nil
}

// keepFromMetadata hands on what the caller is to keep: as cookies, or to a
// caller without cookies as a header.
func (s *Server) keepFromMetadata(ctx context.Context, w http.ResponseWriter) {
	md, ok := runtime.ServerMetadataFromContext(ctx)
	if !ok {
		return
	}
	for key, role := range map[string]care.ActorKind{mdSetBreeder: care.BreederOwner, mdSetKeeper: care.KeeperActor} {
		if v := md.HeaderMD.Get(key); len(v) > 0 {
			s.setCookie(w, role, v[0])
		}
	}
	if v := md.HeaderMD.Get(mdSession); len(v) > 0 {
		w.Header().Set("Warmhand-Session", v[0])
	}
}

func (s *Server) gatewayError(w http.ResponseWriter, r *http.Request, err error) {
	st := status.Convert(err)
	if len(st.Details()) > 0 {
		s.writeStatus(w, st) // it went through the chain
		return
	}
	if bad := fromGateway(st); bad != nil {
		s.writeError(w, r, bad)
		return
	}
	switch st.Code() {
	case codes.Unavailable:
		err = errServerStops
	case codes.DeadlineExceeded:
		err = context.DeadlineExceeded
	case codes.Canceled:
		err = context.Canceled
	}
	s.writeError(w, r, err)
}

func (s *Server) routingError(w http.ResponseWriter, r *http.Request, code int) {
	switch code {
	case http.StatusMethodNotAllowed:
		s.writeStatus(w, withDetails(codes.Unimplemented, asked(r).Say(words.Say("{method} is not possible here. Look at /api for what is.", r.Method)), notFoundInfo()))
	case http.StatusNotFound:
		s.writeStatus(w, withDetails(codes.NotFound, asked(r).Say(words.Say("There is nothing at this address. Look at /api for what there is.")), notFoundInfo()))
	default:
		s.writeError(w, r, care.BadField("path", "The address is not well formed. Look at /api for what there is."))
	}
}

// strictQuery refuses what the contract does not know, as the JSON reader
// does: a misspelt filter must not silently show everything.
type strictQuery struct{ runtime.DefaultQueryParser }

// setQueryParser sets it once: to the library it is one of the process.
var setQueryParser = sync.OnceFunc(func() { runtime.NewServeMux(runtime.SetQueryParameterParser(strictQuery{})) })

func (q strictQuery) Parse(msg proto.Message, values url.Values, filter *utilities.DoubleArray) error {
	fields := msg.ProtoReflect().Descriptor().Fields()
	for key := range values {
		first, _, _ := strings.Cut(key, ".")
		if fields.ByTextName(first) == nil && fields.ByJSONName(first) == nil {
			return fmt.Errorf("unknown field %q", key)
		}
	}
	if err := q.DefaultQueryParser.Parse(msg, values, filter); err != nil {
		return fmt.Errorf("parameter: %w", err)
	}
	return nil
}

// requestIDs travel from the HTTP side to the chain with the other metadata.
type requestIDKey struct{}

func requestIDOf(ctx context.Context) string {
	id, _ := ctx.Value(requestIDKey{}).(string)
	return id
}
