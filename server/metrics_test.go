package server_test

import (
	"strings"
	"testing"

	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"warmhand/server"
	"warmhand/server/servertest"
)

// Metrics are read back by Prometheus' own reader, and name methods and routes
// and nobody.
func TestMetrics(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.Metrics = "127.0.0.1:0" }})
	breeder := f.NewBreeder("b1")
	animal := breeder.NewAnimal()
	breeder.Weigh("b1", animal, 412)
	breeder.Call("GET", "/v1/breeders/b1/animals/absent", nil)
	f.Page().Call("GET", "/somewhere/"+animal, nil)
	f.Page().Call("GET", "/livez", nil).OK()

	reader := expfmt.NewTextParser(model.LegacyValidation)
	families, err := reader.TextToMetricFamilies(strings.NewReader(f.ForOperators("/metrics")))
	if err != nil {
		t.Fatal(err)
	}
	count := func(family string, labels ...string) (n uint64) {
		for _, m := range families[family].GetMetric() {
			all := ""
			for _, l := range m.GetLabel() {
				all += l.GetName() + "=" + l.GetValue() + ";"
				if strings.Contains(l.GetValue(), animal) {
					t.Errorf("%s names an animal: %s", family, l)
				}
			}
			wanted := true
			for _, l := range labels {
				wanted = wanted && strings.Contains(all, l+";")
			}
			if wanted {
				n += m.GetHistogram().GetSampleCount()
			}
		}
		return n
	}
	for _, c := range []struct {
		family string
		labels []string
		want   uint64
	}{
		{"warmhand_call_duration_seconds", []string{"method=warmhand.v1.AnimalService/CreateAnimal", "code=OK"}, 1},
		{"warmhand_call_duration_seconds", []string{"method=warmhand.v1.EntryService/CreateEntry", "code=OK"}, 1},
		{"warmhand_call_duration_seconds", []string{"method=warmhand.v1.AnimalService/GetAnimal", "code=NotFound"}, 1},
		{"warmhand_http_request_duration_seconds", []string{"route=/v1/", "code=404"}, 1},
		{"warmhand_http_request_duration_seconds", []string{"route=GET /livez", "code=200"}, 1},
		{"warmhand_http_request_duration_seconds", []string{"route=/"}, 1},
	} {
		if got := count(c.family, c.labels...); got != c.want {
			t.Errorf("%s%v: %d, want %d", c.family, c.labels, got, c.want)
		}
	}
	if families["go_goroutines"] == nil || families["warmhand_build_info"] == nil {
		t.Error("the program's own numbers are missing")
	}
	if got := f.Page().Call("GET", "/metrics", nil); got.Status == 200 && strings.Contains(string(got.Body), "go_goroutines") {
		t.Error("metrics are on the public port")
	}
}
