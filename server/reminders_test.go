package server_test

import (
	"crypto/ecdh"
	"crypto/rand"
	"encoding/base64"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"warmhand/server"
	"warmhand/server/servertest"
)

// devicePoint is a point of the curve for a device that nobody has: its generator
// (SEC 2, 2.4.2), uncompressed.
const devicePoint = "BGsX0fLhLEJH-Lzm5WOkQPJ3A32BLeszoPShOUXYmMKWT-NC4v4af5uO5-tKfA-eFivOM1drMV7Oy7ZAaDe_UfU"

// subscription is what a browser makes for a push service at this address.
func subscription(t *testing.T, endpoint string) map[string]any {
	t.Helper()
	key, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	auth := make([]byte, 16)
	rand.Read(auth)
	return map[string]any{"endpoint": endpoint, "p256dh": base64.RawURLEncoding.EncodeToString(key.PublicKey().Bytes()), "auth": base64.RawURLEncoding.EncodeToString(auth), "zone": "Europe/Vienna"}
}

// A keeper turns reminders on, is reminded once, and no more after signing out.
func TestPushOnTheWire(t *testing.T) {
	t.Parallel()
	var arrived atomic.Int32
	service := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		arrived.Add(1)
		w.WriteHeader(http.StatusCreated)
	}))
	defer service.Close()
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.LocalPush = true }})
	page := f.NewBreeder("loam")
	animal := page.NewAnimal()
	caseID, code := page.HandOver(animal)
	keeper := f.Page()
	keeper.Claim(code).OK()

	before := keeper.Call("GET", "/v1/me/reminders", nil).OK()
	if key, err := base64.RawURLEncoding.DecodeString(before.Text("reminders", "pushKey")); err != nil || len(key) != 65 || before.Get("reminders", "mail") != false {
		t.Errorf("%v %s", err, before.Body)
	}
	for name, body := range map[string]map[string]any{
		"endpoint": subscription(t, "http://192.168.1.1/push"),
		"p256dh":   {"endpoint": "https://push.example.org/x", "p256dh": "AAAA", "auth": "AAAA"},
		"zone":     {"endpoint": service.URL, "p256dh": subscription(t, "")["p256dh"], "auth": subscription(t, "")["auth"], "zone": "Nowhere/Town"},
	} {
		if got := keeper.Call("POST", "/v1/me/reminders:addDevice", body); got.Status != http.StatusBadRequest || !strings.Contains(string(got.Body), name) {
			t.Errorf("%s: %d %s", name, got.Status, got.Body)
		}
	}
	body := subscription(t, service.URL+"/push/1")
	first := keeper.Call("POST", "/v1/me/reminders:addDevice", body).OK()
	again := keeper.Call("POST", "/v1/me/reminders:addDevice", body).OK()
	ways, _ := again.Get("reminders", "ways").([]any)
	if len(ways) != 1 || first.Text("reminders", "hours", "zone") != "Europe/Vienna" {
		t.Fatalf("%s", again.Body)
	}
	way := ways[0].(map[string]any)
	if way["thisDevice"] != true || strings.Contains(string(again.Body), service.URL) {
		t.Errorf("%s", again.Body)
	}
	keeper.Call("POST", "/v1/me/reminders:test", map[string]any{"wayId": way["wayId"]}).OK()
	if arrived.Load() != 1 {
		t.Errorf("%d tests arrived", arrived.Load())
	}
	if got := keeper.Call("POST", "/v1/me/reminders:test", map[string]any{"wayId": way["wayId"]}); got.Status != http.StatusTooManyRequests {
		t.Errorf("a second test at once: %d %s", got.Status, got.Body)
	}
	for who, p := range map[string]*servertest.Client{"the breeder": page, "nobody": f.Page()} {
		for _, path := range []string{":test", ":removeWay"} {
			if got := p.Call("POST", "/v1/me/reminders"+path, map[string]any{"wayId": way["wayId"]}); got.Status != http.StatusNotFound && got.Status != http.StatusUnauthorized {
				t.Errorf("%s %s: %d %s", who, path, got.Status, got.Body)
			}
		}
	}

	f.Clock.Advance(25 * time.Hour)
	for range 3 {
		if err := f.Server.Remind(t.Context()); err != nil {
			t.Error(err)
		}
	}
	if arrived.Load() != 2 {
		t.Errorf("%d messages, want the test and one reminder", arrived.Load())
	}
	page.Call("POST", "/v1/breeders/loam/animals/"+animal+"/entries?entryId="+f.ID("entry"),
		map[string]any{"case": "breeders/loam/cases/" + caseID, "happenTime": f.Clock.Now(), "message": map[string]any{"text": "How is it?"}}).OK()
	f.Clock.Advance(time.Minute)
	for range 2 {
		if err := f.Server.Remind(t.Context()); err != nil || arrived.Load() != 3 {
			t.Errorf("%d messages after the breeder wrote, %v", arrived.Load(), err)
		}
	}
	keeper.Call("POST", "/v1/me/reminders:setHours", map[string]any{"hours": map[string]any{"zone": "Pacific/Auckland", "quietFrom": 1260, "quietUntil": 480, "morning": 420}}).OK()
	hours := map[string]any{"zone": "Europe/Vienna", "quietFrom": 1260, "quietUntil": 480, "morning": 420, "messagesAtOnce": true}
	if got := page.Call("POST", "/v1/me/reminders:setHours", map[string]any{"hours": hours}).OK(); got.Get("reminders", "hours", "messagesAtOnce") != true {
		t.Errorf("%s", got.Body)
	}
	keeper.Call("POST", "/v1/access:signOut", map[string]any{}).OK()
	if n := f.Mentions(service.URL); len(n) != 0 {
		t.Errorf("after signing out the device is in %v", n)
	}
	f.Clock.Advance(5 * 24 * time.Hour)
	if err := f.Server.Remind(t.Context()); err != nil || arrived.Load() != 3 {
		t.Errorf("%d messages after signing out, %v", arrived.Load(), err)
	}
}
