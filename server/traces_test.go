package server_test

import (
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"

	collector "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	tracepb "go.opentelemetry.io/proto/otlp/trace/v1"
	"google.golang.org/protobuf/proto"

	"warmhand/server"
	"warmhand/server/servertest"
)

// A collector gets a span for each call and for each of its transactions, and
// nothing of a person.
func TestTraces(t *testing.T) {
	t.Parallel()
	var mu sync.Mutex
	var spans []*tracepb.Span
	all := ""
	at := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		var in collector.ExportTraceServiceRequest
		if err == nil {
			err = proto.Unmarshal(body, &in)
		}
		if err != nil || r.URL.Path != "/v1/traces" {
			t.Errorf("%s: %v", r.URL.Path, err)
		}
		mu.Lock()
		defer mu.Unlock()
		all += in.String()
		for _, rs := range in.ResourceSpans {
			for _, ss := range rs.ScopeSpans {
				spans = append(spans, ss.Spans...)
			}
		}
		w.Header().Set("Content-Type", "application/x-protobuf")
	}))
	defer at.Close()
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.Traces = at.URL }})
	breeder, keeper := f.NewBreeder("b1"), f.Page()
	victim := settle(t, f, breeder, keeper, private)
	breeder.Call("GET", "/v1/breeders/b1/animals?query="+private, nil).OK()
	breeder.Call("GET", "/v1/breeders/b1/animals/absent", nil, "Traceparent", "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01")
	if err := f.Stop(); err != nil { // which sends what waits
		t.Fatal(err)
	}

	mu.Lock()
	defer mu.Unlock()
	calls := map[string]*tracepb.Span{}
	named := map[string]int{}
	for _, s := range spans {
		named[s.Name]++
		if len(s.ParentSpanId) == 0 {
			calls[string(s.SpanId)] = s
		}
		if strings.HasPrefix(s.Name, "warmhand.v1.") && len(s.ParentSpanId) > 0 {
			t.Errorf("%s goes on with a stranger's trace", s.Name)
		}
	}
	within := map[string]int{}
	for _, s := range spans {
		if parent := calls[string(s.ParentSpanId)]; parent != nil {
			within[parent.Name+" "+s.Name]++
		}
	}
	for _, want := range []string{"warmhand.v1.EntryService/CreateEntry store write", "warmhand.v1.AnimalService/ListAnimals store read", "warmhand.v1.AnimalService/GetAnimal store read"} {
		if within[want] == 0 {
			t.Errorf("no span %s among %v", want, within)
		}
	}
	for _, s := range spans {
		if s.Name == "warmhand.v1.AnimalService/GetAnimal" && s.Status.GetCode() == tracepb.Status_STATUS_CODE_ERROR {
			t.Error("what is not there counts as a failure")
		}
	}
	for _, word := range []string{private, "Kim", victim["case"], victim["animal"], victim["entry"], "b1-owner", "absent", breeder.Cookies()["warmhand_b"], keeper.Cookies()["warmhand_k"]} {
		if strings.Contains(all, word) {
			t.Errorf("%q is in the traces", word)
		}
	}
	if named["store read"] == 0 {
		t.Errorf("spans: %v", named)
	}
}

// A collector that does not answer holds nobody up.
func TestTracesWithoutCollector(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
		c.Traces, c.Log = "http://127.0.0.1:1", slog.New(slog.DiscardHandler)
	}})
	f.NewBreeder("b1").Call("GET", "/v1/breeders/b1", nil).OK()
	if err := f.Stop(); err != nil {
		t.Error(err)
	}
}
