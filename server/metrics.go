package server

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"net"
	"net/http"
	"path"
	"slices"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"google.golang.org/grpc/status"
)

// metrics are numbers for whoever runs the server. No label has anything of a
// person in it, and each has few values: methods, routes, codes, kinds of work.
type metrics struct {
	registry *prometheus.Registry
	calls    *prometheus.HistogramVec // by method and code
	requests *prometheus.HistogramVec // by route and code
	work     *prometheus.HistogramVec // by kind and result
	worked   *prometheus.GaugeVec     // by kind
	assessed prometheus.Counter
	reminded prometheus.Counter
	live     prometheus.Gauge
	peers    prometheus.Gauge

	connections prometheus.Gauge
	refused     *prometheus.CounterVec // connections, by why

	mu   sync.Mutex
	last map[string]round // by kind of work
}

func newMetrics(version string) *metrics {
	seconds := []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10, 20}
	m := &metrics{
		registry: prometheus.NewRegistry(), last: map[string]round{},
		calls: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "warmhand_call_duration_seconds", Buckets: seconds,
			Help: "Calls of the API, by gRPC and as JSON, and how long each took; a stream counts when it ends."}, []string{"method", "code"}),
		requests: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "warmhand_http_request_duration_seconds", Buckets: seconds,
			Help: "HTTP requests until their headers were sent, JSON calls among them."}, []string{"route", "code"}),
		work: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "warmhand_work_duration_seconds", Buckets: append(seconds, 60, 300),
			Help: "What the server does by itself: each round of it."}, []string{"work", "result"}),
		worked: prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "warmhand_work_last_success_timestamp_seconds",
			Help: "When a kind of work last went through."}, []string{"work"}),
		assessed: prometheus.NewCounter(prometheus.CounterOpts{Name: "warmhand_pass_cases_total",
			Help: "Cases that the pass has looked at because time went by."}),
		reminded: prometheus.NewCounter(prometheus.CounterOpts{Name: "warmhand_reminders_sent_total",
			Help: "Messages that push services and the mail server have taken."}),
		live:        prometheus.NewGauge(prometheus.GaugeOpts{Name: "warmhand_live_screens", Help: "Screens that follow live now."}),
		peers:       prometheus.NewGauge(prometheus.GaugeOpts{Name: "warmhand_other_servers", Help: "Other servers on the same database that this one hears."}),
		connections: prometheus.NewGauge(prometheus.GaugeOpts{Name: "warmhand_connections", Help: "Connections that are open now, on the ports for people."}),
		refused: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "warmhand_connections_refused_total",
			Help: "Connections that were closed at once, because too many were open of their address, or in all."}, []string{"full"}),
	}
	build := prometheus.NewGaugeVec(prometheus.GaugeOpts{Name: "warmhand_build_info", Help: "1, with the program's version."}, []string{"version"})
	build.WithLabelValues(version).Set(1)
	for _, why := range []string{fullOfAddress, fullOfAll} {
		m.refused.WithLabelValues(why) // told from the beginning, as 0
	}
	m.registry.MustRegister(m.connections, m.refused, m.calls, m.requests, m.work, m.worked, m.assessed, m.reminded, m.live, m.peers, build,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// timeCall is the first of the chain: it sees what the caller gets.
func timeCall(s *Server, ctx context.Context, c *call, next func(context.Context) error) error {
	begun := time.Now()
	err := next(ctx)
	s.metrics.calls.WithLabelValues(path.Base(path.Dir(c.method))+"/"+path.Base(c.method), status.Code(err).String()).Observe(time.Since(begun).Seconds())
	return err
}

// round is what is known of a kind of the server's own work.
type round struct {
	what   string
	done   time.Time // when it last went through; zero for never
	failed bool      // the last time
}

// lately is all kinds of work, by name.
func (m *metrics) lately() (all []round) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, what := range slices.Sorted(maps.Keys(m.last)) {
		all = append(all, m.last[what])
	}
	return all
}

// done notes a round of the server's own work.
func (m *metrics) done(work string, begun time.Time, err error) {
	result := "done"
	if err != nil {
		result = "failed"
	} else {
		m.worked.WithLabelValues(work).SetToCurrentTime()
	}
	m.work.WithLabelValues(work, result).Observe(time.Since(begun).Seconds())
	m.mu.Lock()
	defer m.mu.Unlock()
	r := round{work, m.last[work].done, err != nil}
	if err == nil {
		r.done = time.Now()
	}
	m.last[work] = r
}

// timed measures requests by the route of the mux that answered them.
func (m *metrics) timed(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		begun := time.Now()
		seen := &codeWriter{ResponseWriter: w, told: func(code int) {
			route := r.Pattern // set by the mux; a stranger's path is no label
			if route == "" {
				route = "none"
			}
			m.requests.WithLabelValues(route, fmt.Sprint(code)).Observe(time.Since(begun).Seconds())
		}}
		next.ServeHTTP(seen, r)
		seen.tell(http.StatusOK)
	})
}

// codeWriter tells once which code an answer has.
type codeWriter struct {
	http.ResponseWriter
	told func(code int)
}

func (w *codeWriter) tell(code int) {
	if w.told != nil {
		w.told(code)
		w.told = nil
	}
}

func (w *codeWriter) WriteHeader(code int) {
	if code >= 200 { // others announce an answer
		w.tell(code)
	}
	w.ResponseWriter.WriteHeader(code)
}

func (w *codeWriter) Write(p []byte) (int, error) {
	w.tell(http.StatusOK)
	return w.ResponseWriter.Write(p)
}

// Unwrap lets http.ResponseController reach what streams need.
func (w *codeWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// serveMetrics answers on a port of its own, which is nobody's but the
// operator's, until ctx ends.
func (s *Server) serveMetrics(ctx context.Context, l net.Listener) error {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(s.metrics.registry, promhttp.HandlerOpts{Registry: s.metrics.registry}))
	mux.HandleFunc("GET /{$}", s.status)
	mux.HandleFunc("GET /status.css", style(statusStyle))
	srv := &http.Server{Handler: mux, ReadHeaderTimeout: s.cfg.Patience, IdleTimeout: idleTime}
	stop := context.AfterFunc(ctx, func() { srv.Close() })
	defer stop()
	if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}
