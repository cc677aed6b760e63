// Package courier hands messages to push services and mail servers. What is said and
// to whom is decided before; it only carries, and says what came of it.
package courier

import (
	"bytes"
	"context"
	"crypto/ecdh"
	"crypto/ecdsa"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptrace"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/go-jose/go-jose/v4"

	"warmhand/internal/care"
	"warmhand/internal/notify"
	"warmhand/internal/words"
)

const (
	// pushTime bounds one handing over, connecting included.
	pushTime = 15 * time.Second
	// tokenLife of a signed token; RFC 8292, 2 allows a day.
	tokenLife = 12 * time.Hour
	// PushLife is for how long a push service keeps a message for a device that is
	// off: a day later there is something else to say.
	PushLife   = 24 * time.Hour
	answerMost = 4 << 10 // bytes read of an answer
	waitMost   = 24 * time.Hour
)

// Push hands messages to the push services of browsers (RFC 8030).
type Push struct {
	key     *ecdsa.PrivateKey
	public  string
	subject string
	client  *http.Client
	local   bool
}

// PushOption changes a Push.
type PushOption func(*Push)

// ToThisMachine lets it reach services on the loopback interface, without TLS. It is
// for tests and demonstrations.
func ToThisMachine() PushOption { return func(p *Push) { p.local = true } }

// NewPush sends under this key. The subject is how the operator of a push service
// reaches who runs the server: an https or mailto address (RFC 8292, 2.1).
func NewPush(key *ecdsa.PrivateKey, subject string, options ...PushOption) (*Push, error) {
	public, err := key.PublicKey.Bytes()
	if err != nil {
		return nil, fmt.Errorf("the key for push services: %w", err)
	}
	p := &Push{key: key, public: base64.RawURLEncoding.EncodeToString(public), subject: subject}
	for _, o := range options {
		o(p)
	}
	dialer := net.Dialer{Timeout: 5 * time.Second, ControlContext: func(_ context.Context, _, address string, _ syscall.RawConn) error {
		return p.mayReach(address)
	}}
	p.client = &http.Client{
		Timeout: pushTime,
		Transport: &http.Transport{DialContext: dialer.DialContext, ForceAttemptHTTP2: true, TLSHandshakeTimeout: 5 * time.Second,
			MaxIdleConnsPerHost: 2, IdleConnTimeout: time.Minute, MaxResponseHeaderBytes: 16 << 10}, // no proxy: it would do the dialling
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
	return p, nil
}

// Close lets go of idle connections.
func (p *Push) Close() { p.client.CloseIdleConnections() }

// PublicKey is what a browser is to be told as applicationServerKey, base64url.
func (p *Push) PublicKey() string { return p.public }

// CheckEndpoint checks the address of a device: a URL that a browser made up is
// fetched by the server, so it has to be one of a public place.
func (p *Push) CheckEndpoint(endpoint string) error {
	u, err := url.Parse(endpoint)
	switch {
	case err != nil || u.Host == "" || u.User != nil || u.Fragment != "" || len(endpoint) > 2000:
		return care.BadField("endpoint", "This browser's address for messages is not the address of a push service. Another browser may do.")
	case p.local && u.Scheme == "http" && u.Hostname() == "127.0.0.1":
		return nil
	case u.Scheme != "https" || u.Port() != "" && u.Port() != "443":
		return care.BadField("endpoint", "This browser's address for messages is not an https address on the usual port. Another browser may do.")
	}
	return nil
}

// mayReach is asked with the numeric address, after the name was looked up and
// before a connection is made, so that no name can lead inside.
func (p *Push) mayReach(address string) error {
	to, err := netip.ParseAddrPort(address)
	if err != nil {
		return fmt.Errorf("the address %q cannot be read", address)
	}
	ip := to.Addr().Unmap()
	if p.local && ip.IsLoopback() {
		return nil
	}
	if !public(ip) || to.Port() != 443 {
		return errInside
	}
	return nil
}

var errInside = errors.New("the push service's address is not a public one")

// inside are networks that are nobody's public address, beyond those that netip
// names: IANA's registries of special-purpose addresses (RFC 6890).
var inside = func() (list []netip.Prefix) {
	for _, p := range []string{"0.0.0.0/8", "100.64.0.0/10", "192.0.0.0/24", "192.0.2.0/24", "192.88.99.0/24", "198.18.0.0/15", "198.51.100.0/24", "203.0.113.0/24", "240.0.0.0/4",
		"64:ff9b::/96", "64:ff9b:1::/48", "100::/64", "2001::/23", "2001:db8::/32", "2002::/16", "3fff::/20", "5f00::/16"} {
		list = append(list, netip.MustParsePrefix(p))
	}
	return list
}()

func public(ip netip.Addr) bool {
	if !ip.IsGlobalUnicast() || ip.IsPrivate() || ip.Zone() != "" {
		return false
	}
	for _, p := range inside {
		if p.Contains(ip) {
			return false
		}
	}
	return true
}

// Send encrypts a text for a device and hands it to its push service. Of messages
// with the same topic that a device has not got yet, the last replaces the others
// (RFC 8030, 5.4). urgent wakes a phone that saves its battery.
func (p *Push) Send(ctx context.Context, to *care.Way, text []byte, topic string, urgent bool, now time.Time) care.Delivery {
	never := care.Delivery{Outcome: care.NeverDelivers, Why: words.Say("This device cannot be written to. Turn reminders off and on again on that device.")}
	if err := p.CheckEndpoint(to.Address); err != nil {
		return never
	}
	fresh, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		return never
	}
	salt := make([]byte, 16)
	rand.Read(salt)
	body, err := notify.Seal(text, to.Key, to.Auth, fresh, salt)
	if err != nil {
		return never
	}
	token, err := p.token(to.Address, now)
	if err != nil {
		return never
	}
	// From the first byte of the request on it may have arrived.
	begun := false
	ctx = httptrace.WithClientTrace(ctx, &httptrace.ClientTrace{WroteHeaders: func() { begun = true }})
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, to.Address, bytes.NewReader(body))
	if err != nil {
		return never
	}
	req.GetBody = nil // so that nothing sends it a second time by itself
	urgency := "normal"
	if urgent {
		urgency = "high"
	}
	for name, value := range map[string]string{"Content-Type": "application/octet-stream", "Content-Encoding": "aes128gcm", "TTL": strconv.Itoa(int(PushLife / time.Second)),
		"Urgency": urgency, "Topic": topic, "Authorization": "vapid t=" + token + ", k=" + p.public} {
		if value != "" {
			req.Header.Set(name, value)
		}
	}
	res, err := p.client.Do(req)
	switch {
	case errors.Is(err, errInside):
		return care.Delivery{Outcome: care.NeverDelivers, Why: words.Say("The push service's address is not a public one.")}
	case err != nil && !begun:
		return care.Delivery{Outcome: care.NotDelivered, Why: words.Say("The push service could not be reached.")}
	case err != nil:
		return care.Delivery{Outcome: care.Unclear, Why: words.Say("The push service did not answer.")}
	}
	defer res.Body.Close()
	io.Copy(io.Discard, io.LimitReader(res.Body, answerMost)) //nolint:errcheck // only so that the connection can be used again
	return answered(res, now)
}

// answered reads what a push service said: RFC 8030, 5 and 8.4; RFC 8291, 4.
func answered(res *http.Response, now time.Time) care.Delivery {
	switch code := res.StatusCode; {
	case code == http.StatusOK || code == http.StatusCreated || code == http.StatusAccepted || code == http.StatusNoContent:
		return care.Delivery{}
	case code == http.StatusNotFound || code == http.StatusGone:
		return care.Delivery{Outcome: care.AddressGone, Why: words.Say("The device has taken its permission back.")}
	case code == http.StatusTooManyRequests || code == http.StatusRequestTimeout || code >= 500:
		return care.Delivery{Outcome: care.NotDelivered, Wait: retryAfter(res.Header.Get("Retry-After"), now), Why: words.Say("The push service is busy ({code}).", code)}
	default: // 400, 401, 403, 413, a redirect
		return care.Delivery{Outcome: care.NeverDelivers, Why: words.Say("The push service refused it ({code}). Turn reminders off and on again on that device.", code)}
	}
}

// retryAfter reads seconds or a date (RFC 9110, 10.2.3), at most a day.
func retryAfter(text string, now time.Time) time.Duration {
	wait := time.Duration(0)
	if n, err := strconv.ParseUint(strings.TrimSpace(text), 10, 31); err == nil {
		wait = time.Duration(n) * time.Second
	} else if at, err := http.ParseTime(text); err == nil {
		wait = at.Sub(now)
	}
	return min(max(wait, 0), waitMost)
}

// token says to one push service who sends (RFC 8292, 2).
func (p *Push) token(endpoint string, now time.Time) (string, error) {
	u, err := url.Parse(endpoint)
	if err != nil {
		return "", err
	}
	claims, err := json.Marshal(map[string]any{"aud": u.Scheme + "://" + u.Host, "exp": now.Add(tokenLife).Unix(), "sub": p.subject})
	if err != nil {
		return "", err
	}
	signer, err := jose.NewSigner(jose.SigningKey{Algorithm: jose.ES256, Key: p.key}, (&jose.SignerOptions{}).WithType("JWT"))
	if err != nil {
		return "", fmt.Errorf("signing for a push service: %w", err)
	}
	signed, err := signer.Sign(claims)
	if err != nil {
		return "", fmt.Errorf("signing for a push service: %w", err)
	}
	return signed.CompactSerialize()
}
