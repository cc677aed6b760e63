package server_test

import (
	"net/http"
	"testing"

	"warmhand/server/servertest"
)

// Thresholds are read, tried and set over the wire; what is left out goes back
// to the service's own, and what is wrong is named.
func TestThresholdsOnTheWire(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	page, other := f.NewBreeder("loam"), f.NewBreeder("fern")
	_, code := page.HandOver(page.NewAnimal())
	if code == "" {
		t.Fatal("no code")
	}
	const path, name = "/v1/breeders/loam/thresholds", "breeders/loam/thresholds"
	type answer struct {
		Thresholds struct {
			Name, Etag string
			Own        map[string]float64
		}
		Movable []struct {
			Code, Label, Unit, Sure, Source string
			DefaultValue, Least, Most       float64
		}
		Fixed []string
	}
	var was, set answer
	page.Call("GET", path, nil).OK().Into(&was)
	if was.Thresholds.Name != name || len(was.Thresholds.Own) != 0 || len(was.Movable) != 5 || len(was.Fixed) == 0 || was.Movable[0].Source == "" {
		t.Errorf("%+v", was)
	}
	page.Call("PATCH", path, map[string]any{"name": name, "own": map[string]any{"act_from": .6, "silence_gaps": 2}, "etag": was.Thresholds.Etag}).OK().Into(&set)
	if set.Thresholds.Own["act_from"] != .6 || set.Thresholds.Own["silence_gaps"] != 2 || set.Thresholds.Etag == was.Thresholds.Etag {
		t.Errorf("%+v", set)
	}
	if got := page.Call("PATCH", path, map[string]any{"name": name, "etag": was.Thresholds.Etag}); got.Status != http.StatusConflict && got.Status != http.StatusPreconditionFailed {
		t.Errorf("an old etag: %d %s", got.Status, got.Body)
	}
	tried := page.Call("POST", path+":try", map[string]any{"thresholds": map[string]any{"name": name, "own": map[string]any{"act_from": .3}}}).OK()
	var sum struct {
		Total, LookedAt   int
		Caution           string
		Present, Proposed map[string]any
	}
	tried.Into(&sum)
	if sum.Total != 1 || sum.LookedAt != 1 || sum.Caution == "" || sum.Present == nil || sum.Proposed == nil {
		t.Errorf("%s", tried.Body)
	}
	var again answer
	page.Call("GET", path, nil).OK().Into(&again)
	if again.Thresholds.Own["act_from"] != .6 {
		t.Errorf("trying has set them: %+v", again.Thresholds)
	}
	for what, body := range map[string]map[string]any{
		"thresholds.own":           {"name": name, "own": map[string]any{"colour": 1}},
		"thresholds.own.lost_from": {"name": name, "own": map[string]any{"lost_from": .9}},
		"thresholds.own.act_from":  {"name": name, "own": map[string]any{"watch_from": .5, "act_from": .4}},
		"thresholds.etag":          {"name": name, "etag": "x"},
	} {
		got := page.Call("PATCH", path, body)
		_, fields, _ := got.Problem()
		if got.Status != http.StatusBadRequest || len(fields) != 1 || fields[0] != what {
			t.Errorf("%s: %d %s", what, got.Status, got.Body)
		}
	}
	for _, got := range []*servertest.Answer{
		other.Call("GET", path, nil),
		other.Call("POST", path+":try", map[string]any{"thresholds": map[string]any{"name": name}}),
		other.Call("PATCH", path, map[string]any{"name": name}),
	} {
		if got.Status != http.StatusNotFound {
			t.Errorf("another breeder: %d %s", got.Status, got.Body)
		}
	}
	var one, none answer
	page.Call("PATCH", path, map[string]any{"name": name, "own": map[string]any{"silence_gaps": 2}}).OK().Into(&one)
	page.Call("PATCH", path, map[string]any{"name": name}).OK().Into(&none)
	if len(one.Thresholds.Own) != 1 || one.Thresholds.Own["silence_gaps"] != 2 || len(none.Thresholds.Own) != 0 {
		t.Errorf("one is reset: %+v, all are: %+v", one.Thresholds, none.Thresholds)
	}
}

// The plan of check-ins is read and set over the wire, and shown with a case.
func TestCheckInPlanOnTheWire(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	page, other := f.NewBreeder("loam"), f.NewBreeder("fern")
	const path, name = "/v1/breeders/loam/checkInPlan", "breeders/loam/checkInPlan"
	type answer struct {
		CheckInPlan struct {
			Name, Etag string
			Own        map[string]int
			Words      map[string]string
		}
		Movable []struct {
			Code, Label, About       string
			DefaultDays, Least, Most int
		}
	}
	var was, set, again answer
	page.Call("GET", path, nil).OK().Into(&was)
	if was.CheckInPlan.Name != name || len(was.CheckInPlan.Own) != 0 || len(was.Movable) != 6 || was.Movable[0].DefaultDays == 0 {
		t.Errorf("%+v", was)
	}
	page.Call("PATCH", path, map[string]any{"name": name, "own": map[string]any{"first_night": -1, "settling_in": 4, "month_end": 30}, "words": map[string]any{"settling_in": " All well? ", "month_end": ""}, "etag": was.CheckInPlan.Etag}).OK().Into(&set)
	page.Call("GET", path, nil).OK().Into(&again)
	if own := again.CheckInPlan.Own; len(own) != 2 || own["first_night"] != -1 || own["settling_in"] != 4 || again.CheckInPlan.Etag != set.CheckInPlan.Etag {
		t.Errorf("%+v", again)
	}
	if words := again.CheckInPlan.Words; len(words) != 1 || words["settling_in"] != "All well?" {
		t.Errorf("own words: %v", words)
	}
	for what, body := range map[string]map[string]any{
		"check_in_plan.own":             {"name": name, "own": map[string]any{"colour": 1}},
		"check_in_plan.own.settling_in": {"name": name, "own": map[string]any{"settling_in": 50}},
		"check_in_plan.words":           {"name": name, "words": map[string]any{"colour": "red?"}},
		"check_in_plan.words.rhythm":    {"name": name, "words": map[string]any{"rhythm": "one\ntwo"}},
		"check_in_plan.etag":            {"name": name, "etag": "x"},
	} {
		got := page.Call("PATCH", path, body)
		_, fields, _ := got.Problem()
		if got.Status != http.StatusBadRequest || len(fields) != 1 || fields[0] != what {
			t.Errorf("%s: %d %s", what, got.Status, got.Body)
		}
	}
	for _, got := range []*servertest.Answer{other.Call("GET", path, nil), other.Call("PATCH", path, map[string]any{"name": name})} {
		if got.Status != http.StatusNotFound {
			t.Errorf("another breeder: %d %s", got.Status, got.Body)
		}
	}
}
