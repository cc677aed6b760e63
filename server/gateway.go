package server

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/grpc-ecosystem/grpc-gateway/v2/utilities"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/reflection"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	"warmhand/internal/care"
	pb "warmhand/internal/gen/warmhand/v1"
)

// wireJSON is how messages are written as JSON, everywhere.
var wireJSON = protojson.MarshalOptions{EmitDefaultValues: true}

// newGRPC makes the gRPC server with all services behind one chain.
func (s *Server) newGRPC() {
	s.inner = bufconn.Listen(1 << 20)
	s.grpc = grpc.NewServer(grpc.UnaryInterceptor(s.unary), grpc.StreamInterceptor(s.streaming), grpc.MaxRecvMsgSize(bodyMax))
	s.onClose(func() error {
		s.grpc.Stop()
		return s.inner.Close()
	})
	pb.RegisterAccessServiceServer(s.grpc, &accessService{s: s})
	pb.RegisterAnimalServiceServer(s.grpc, &animalService{s: s})
	pb.RegisterBreederServiceServer(s.grpc, &breederService{s: s})
	pb.RegisterCaseServiceServer(s.grpc, &caseService{s: s})
	pb.RegisterEntryServiceServer(s.grpc, &entryService{s: s})
	pb.RegisterHandoverServiceServer(s.grpc, &handoverService{s: s})
	pb.RegisterImportServiceServer(s.grpc, &importService{s: s})
	pb.RegisterInsightServiceServer(s.grpc, &insightService{s: s})
	pb.RegisterRightsServiceServer(s.grpc, &rightsService{s: s})
	pb.RegisterCardServiceServer(s.grpc, &cardService{s: s})
	pb.RegisterReferenceServiceServer(s.grpc, &referenceService{})
	s.health = health.NewServer()
	healthpb.RegisterHealthServer(s.grpc, s.health)
	reflection.Register(s.grpc)
}

// newGateway turns JSON requests into calls on the gRPC server, over a
// connection inside the process so that the chain runs for them too.
func (s *Server) newGateway() (http.Handler, error) {
	conn, err := grpc.NewClient("passthrough:///inner",
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return s.inner.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		return nil, fmt.Errorf("the gateway's connection: %w", err)
	}
	s.onClose(conn.Close)
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
	for _, register := range []func(context.Context, *runtime.ServeMux, *grpc.ClientConn) error{
		pb.RegisterAccessServiceHandler, pb.RegisterAnimalServiceHandler, pb.RegisterBreederServiceHandler,
		pb.RegisterCaseServiceHandler, pb.RegisterEntryServiceHandler, pb.RegisterHandoverServiceHandler,
		pb.RegisterImportServiceHandler, pb.RegisterInsightServiceHandler, pb.RegisterReferenceServiceHandler,
		pb.RegisterRightsServiceHandler,
		pb.RegisterCardServiceHandler,
	} {
		// The registrations close the connection when this context ends, and
		// Close does that already.
		if err := register(context.Background(), mux, conn); err != nil {
			return nil, fmt.Errorf("the gateway's routes: %w", err)
		}
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
		s.writeStatus(w, withDetails(codes.Unimplemented, fmt.Sprintf("%s is not possible here. Look at /api for what is.", r.Method), notFoundInfo()))
	case http.StatusNotFound:
		s.writeStatus(w, withDetails(codes.NotFound, "There is nothing at this address. Look at /api for what there is.", notFoundInfo()))
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
