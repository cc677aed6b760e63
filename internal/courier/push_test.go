package courier

import (
	"crypto/ecdh"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"

	"warmhand/internal/care"
	"warmhand/internal/reference"
)

var now = time.Date(2026, 11, 26, 8, 0, 0, 0, time.UTC)

func sender(t *testing.T, options ...PushOption) *Push {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	p, err := NewPush(key, "https://snakes.example.org", options...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.Close)
	return p
}

func device(t *testing.T, address string) (*care.Way, *ecdh.PrivateKey) {
	t.Helper()
	key, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	auth := make([]byte, 16)
	rand.Read(auth)
	return &care.Way{ID: "w1", Kind: care.WayPush, Address: address, Key: key.PublicKey().Bytes(), Auth: auth}, key
}

// What arrives at a push service is signed as RFC 8292 says, and read by another
// implementation of RFC 8291.
func TestPushArrives(t *testing.T) {
	t.Parallel()
	var head http.Header
	var body []byte
	service := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		head = r.Header
		body, _ = io.ReadAll(r.Body)
		w.WriteHeader(http.StatusCreated)
	}))
	defer service.Close()
	p := sender(t, ToThisMachine())
	to, key := device(t, service.URL+"/push/abc")
	if d := p.Send(t.Context(), to, []byte(`{"title":"Moss"}`), "topic1", true, now); d.Outcome != care.Delivered || !d.Why.Empty() {
		t.Fatalf("%+v", d)
	}
	for name, want := range map[string]string{"Content-Encoding": "aes128gcm", "Ttl": "86400", "Urgency": "high", "Topic": "topic1", "Content-Type": "application/octet-stream"} {
		if head.Get(name) != want {
			t.Errorf("%s: %q", name, head.Get(name))
		}
	}
	var token, public string
	if _, err := fmt.Sscanf(strings.ReplaceAll(head.Get("Authorization"), ",", ""), "vapid t=%s k=%s", &token, &public); err != nil || public != p.PublicKey() {
		t.Fatalf("Authorization %q: %v", head.Get("Authorization"), err)
	}
	point, err := base64.RawURLEncoding.DecodeString(public)
	if err != nil {
		t.Fatal(err)
	}
	signer, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), point)
	if err != nil {
		t.Fatal(err)
	}
	signed, err := jose.ParseSigned(token, []jose.SignatureAlgorithm{jose.ES256})
	if err != nil {
		t.Fatal(err)
	}
	text, err := signed.Verify(signer)
	var claims struct {
		Aud, Sub string
		Exp      int64
	}
	if err != nil || json.Unmarshal(text, &claims) != nil || claims.Aud != service.URL || claims.Sub != "https://snakes.example.org" || claims.Exp <= now.Unix() || claims.Exp > now.Add(24*time.Hour).Unix() {
		t.Errorf("%s, %v", text, err)
	}
	var answers struct{ Opened []string }
	reference.AskPython(t, map[string]any{"opened": []any{map[string]string{"private": fmt.Sprintf("%x", key.Bytes()), "auth": fmt.Sprintf("%x", to.Auth), "body": fmt.Sprintf("%x", body)}}}, &answers)
	if len(answers.Opened) != 1 || answers.Opened[0] != `{"title":"Moss"}` {
		t.Errorf("read as %q", answers.Opened)
	}
}

func TestPushAnswers(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		code  int
		after string
		want  care.DeliveryOutcome
		wait  time.Duration
	}{
		{201, "", care.Delivered, 0},
		{202, "", care.Delivered, 0},
		{404, "", care.AddressGone, 0},
		{410, "", care.AddressGone, 0},
		{429, "120", care.NotDelivered, 2 * time.Minute},
		{503, now.Add(time.Hour).Format(http.TimeFormat), care.NotDelivered, time.Hour},
		{503, now.Add(-time.Hour).Format(http.TimeFormat), care.NotDelivered, 0},
		{500, "99999999", care.NotDelivered, 24 * time.Hour},
		{500, "soon", care.NotDelivered, 0},
		{400, "", care.NeverDelivers, 0},
		{403, "", care.NeverDelivers, 0},
		{413, "", care.NeverDelivers, 0},
		{307, "", care.NeverDelivers, 0},
	} {
		t.Run(fmt.Sprint(c.code, c.after), func(t *testing.T) {
			t.Parallel()
			var asked atomic.Int32
			service := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				asked.Add(1)
				if c.after != "" {
					w.Header().Set("Retry-After", c.after)
				}
				w.Header().Set("Location", "/elsewhere")
				w.WriteHeader(c.code)
			}))
			defer service.Close()
			to, _ := device(t, service.URL)
			d := sender(t, ToThisMachine()).Send(t.Context(), to, nil, "", false, now)
			if d.Outcome != c.want || d.Wait != c.wait || d.Why.Empty() != (c.want == care.Delivered) || asked.Load() != 1 {
				t.Errorf("%+v after %d requests", d, asked.Load())
			}
		})
	}
}

// What may have arrived is told from what has not.
func TestPushCutOff(t *testing.T) {
	t.Parallel()
	service := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		io.Copy(io.Discard, r.Body) //nolint:errcheck // it hangs up next
		c, _, err := http.NewResponseController(w).Hijack()
		if err != nil {
			t.Error(err)
			return
		}
		c.Close()
	}))
	to, _ := device(t, service.URL)
	p := sender(t, ToThisMachine())
	if d := p.Send(t.Context(), to, nil, "", false, now); d.Outcome != care.Unclear {
		t.Errorf("hung up after it had all: %+v", d)
	}
	service.Close()
	p = sender(t, ToThisMachine()) // the other may hold a connection that it does not know to be dead
	if d := p.Send(t.Context(), to, nil, "", false, now); d.Outcome != care.NotDelivered {
		t.Errorf("nobody is there: %+v", d)
	}
}

// A device's address is chosen by whoever turns reminders on: it must lead nowhere
// inside.
func TestPushReachesNothingInside(t *testing.T) {
	t.Parallel()
	p := sender(t)
	for _, address := range []string{"", "http://push.example.org/x", "https://push.example.org:8443/x", "https://a:b@push.example.org/", "https://push.example.org/#x", "ftp://push.example.org", "file:///etc/passwd", "https://", "https:push", "http://127.0.0.1/", "https://" + strings.Repeat("x", 2000)} {
		if p.CheckEndpoint(address) == nil {
			t.Errorf("%q is taken", address)
		}
	}
	if err := p.CheckEndpoint("https://push.example.org/send/abc?d=1"); err != nil {
		t.Error(err)
	}
	for _, ip := range []string{"127.0.0.1", "10.1.2.3", "172.16.0.1", "192.168.1.1", "169.254.169.254", "100.64.0.1", "0.0.0.0", "255.255.255.255", "224.0.0.1", "198.18.0.1", "192.0.2.1", "240.0.0.1",
		"::1", "::", "fe80::1", "fc00::1", "fd12::1", "ff02::1", "2001:db8::1", "64:ff9b::7f00:1", "2002:7f00:1::", "::ffff:127.0.0.1", "::ffff:10.0.0.1"} {
		if err := p.mayReach(netip.AddrPortFrom(netip.MustParseAddr(ip), 443).String()); err == nil {
			t.Errorf("%s may be reached", ip)
		}
	}
	for _, ip := range []string{"9.9.9.9", "2620:fe::fe"} {
		if err := p.mayReach(netip.AddrPortFrom(netip.MustParseAddr(ip), 443).String()); err != nil {
			t.Errorf("%s: %v", ip, err)
		}
		if err := p.mayReach(netip.AddrPortFrom(netip.MustParseAddr(ip), 22).String()); err == nil {
			t.Errorf("%s may be reached on another port", ip)
		}
	}
	// A name that leads inside, asked for with a real service behind it: nothing arrives.
	service := httptest.NewTLSServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("it was reached") }))
	defer service.Close()
	p.client.Transport.(*http.Transport).TLSClientConfig = &tls.Config{RootCAs: service.Client().Transport.(*http.Transport).TLSClientConfig.RootCAs}
	u, err := url.Parse(service.URL)
	if err != nil {
		t.Fatal(err)
	}
	for _, host := range []string{"localhost", "127.0.0.1", "[::1]"} {
		to, _ := device(t, "https://"+host+"/x")
		if d := p.Send(t.Context(), to, nil, "", false, now); d.Outcome != care.NeverDelivers && d.Outcome != care.NotDelivered {
			t.Errorf("%s: %+v", host, d)
		}
	}
	if _, err := p.client.Get("https://localhost:" + u.Port()); err == nil || !strings.Contains(err.Error(), errInside.Error()) {
		t.Errorf("dialling inside: %v", err)
	}
	if c, err := net.Dial("tcp", u.Host); err != nil {
		t.Errorf("the service was there: %v", err)
	} else {
		c.Close()
	}
}
