package server

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"path"
	"time"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracehttp"
	"go.opentelemetry.io/otel/sdk/resource"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/trace"
	"go.opentelemetry.io/otel/trace/noop"
	grpccodes "google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"warmhand/internal/care"
)

// Traces say where the time of a call went: the call, and each of its
// transactions. Like metrics they name methods, codes and kinds of work, and
// nobody. A caller's own trace is not gone on with: what strangers send decides
// neither what is kept nor whose it is.

// traceWait bounds what sending the last traces may take when the server stops.
const traceWait = 3 * time.Second

// newTracer sends to an OTLP endpoint, such as http://localhost:4318; "" sends
// nothing. stop sends what waits.
func newTracer(ctx context.Context, endpoint, version string) (tracer trace.Tracer, stop func() error, err error) {
	if endpoint == "" {
		return noop.NewTracerProvider().Tracer(""), func() error { return nil }, nil
	}
	if u, err := url.Parse(endpoint); err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" { // the library logs it, password and all, and goes elsewhere
		return nil, nil, errors.New("the address for traces is not one such as http://localhost:4318")
	}
	exporter, err := otlptracehttp.New(ctx, otlptracehttp.WithEndpointURL(endpoint+"/v1/traces"))
	if err != nil {
		return nil, nil, fmt.Errorf("sending traces: %w", err)
	}
	provider := sdktrace.NewTracerProvider(sdktrace.WithBatcher(exporter),
		sdktrace.WithResource(resource.NewSchemaless(attribute.String("service.name", "warmhand"), attribute.String("service.version", version))))
	return provider.Tracer("warmhand"), func() error {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), traceWait)
		defer cancel()
		return provider.Shutdown(ctx)
	}, nil
}

// traceCall is around a call, as the caller sees it.
func traceCall(s *Server, ctx context.Context, c *call, next func(context.Context) error) error {
	ctx, span := s.tracer.Start(ctx, path.Base(path.Dir(c.method))+"/"+path.Base(c.method), trace.WithSpanKind(trace.SpanKindServer))
	defer span.End()
	err := next(ctx)
	code := status.Code(err)
	span.SetAttributes(attribute.String("rpc.system", "grpc"), attribute.Int("rpc.grpc.status_code", int(code)), attribute.Bool("warmhand.http", c.cred.viaGateway))
	switch code {
	case grpccodes.Unknown, grpccodes.Internal, grpccodes.Unavailable, grpccodes.DataLoss, grpccodes.DeadlineExceeded:
		span.SetStatus(codes.Error, code.String()) // never its text, which may quote
	}
	return err
}

// tracedStore has a span for each transaction.
type tracedStore struct {
	care.Store
	tracer trace.Tracer
}

func (t tracedStore) Read(ctx context.Context, f func(care.Tx) error) error {
	return t.span(ctx, "read", t.Store.Read, f)
}

func (t tracedStore) Write(ctx context.Context, f func(care.Tx) error) error {
	return t.span(ctx, "write", t.Store.Write, f)
}

func (t tracedStore) Swap(ctx context.Context, f func(care.Tx) error) error {
	return t.span(ctx, "swap", t.Store.Swap, f)
}

func (t tracedStore) span(ctx context.Context, name string, in func(context.Context, func(care.Tx) error) error, f func(care.Tx) error) error {
	ctx, span := t.tracer.Start(ctx, "store "+name)
	defer span.End()
	if !span.IsRecording() {
		return in(ctx, f)
	}
	runs, began := 0, time.Now()
	err := in(ctx, func(tx care.Tx) error {
		if runs++; runs == 1 {
			span.SetAttributes(attribute.Int64("warmhand.waited_us", time.Since(began).Microseconds())) // for the writer or a connection
		}
		return f(tx)
	})
	span.SetAttributes(attribute.Int("warmhand.runs", runs))
	var answer *care.Error
	if err != nil && (!errors.As(err, &answer) || answer.Code == care.Unavailable) {
		span.SetStatus(codes.Error, "failed")
	}
	return err
}
