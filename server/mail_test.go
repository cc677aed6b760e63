package server_test

import (
	"archive/zip"
	"bytes"
	"io"
	"mime"
	"mime/multipart"
	"net"
	"net/http"
	"net/mail"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"warmhand/server"
	"warmhand/server/servertest"
)

// postbox is a mail server that hands on what it gets.
type postbox struct{ letters chan []byte }

func (p postbox) NewSession(*smtp.Conn) (smtp.Session, error) { return p, nil }
func (postbox) Reset()                                        {}
func (postbox) Logout() error                                 { return nil }
func (postbox) Mail(string, *smtp.MailOptions) error          { return nil }
func (postbox) Rcpt(string, *smtp.RcptOptions) error          { return nil }

func (p postbox) Data(r io.Reader) error {
	b, err := io.ReadAll(r)
	p.letters <- b
	return err
}

var links = regexp.MustCompile(`https?://[^\s"<>]+/mail/(confirm|stop)/[A-Za-z0-9._-]+`)

// Mail comes to nobody who did not say yes to it, and stops by one request without a
// sign-in.
func TestMailOnTheWire(t *testing.T) {
	t.Parallel()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	box := postbox{make(chan []byte, 10)}
	office := smtp.NewServer(box)
	go office.Serve(listener)            //nolint:errcheck // it ends by being closed
	t.Cleanup(func() { office.Close() }) //nolint:errcheck // the test is over
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) {
		c.SMTP, c.MailFrom = "smtp://"+listener.Addr().String()+"?tls=none", "snakes@example.org"
	}})
	page := f.NewBreeder("loam")
	_, code := page.HandOver(page.NewAnimal())
	keeper := f.Page()
	keeper.Claim(code).OK()

	// letter is the next one, with the link of this purpose in its plain text.
	letter := func(purpose string) (head mail.Header, path string) {
		t.Helper()
		select {
		case b := <-box.letters:
			m, err := mail.ReadMessage(bytes.NewReader(b))
			if err != nil {
				t.Fatal(err)
			}
			_, boundary, _ := strings.Cut(m.Header.Get("Content-Type"), "boundary=")
			part, err := multipart.NewReader(m.Body, strings.Trim(boundary, `"`)).NextPart()
			if err != nil {
				t.Fatal(err)
			}
			text, err := io.ReadAll(part)
			if err != nil {
				t.Fatal(err)
			}
			for _, found := range links.FindAllString(string(text), -1) {
				if u, err := url.Parse(found); err == nil && strings.HasPrefix(u.Path, "/mail/"+purpose+"/") {
					return m.Header, u.Path
				}
			}
			t.Fatalf("no link to %s in %s", purpose, text)
		case <-time.After(20 * time.Second):
			t.Fatal("no letter came")
		}
		return nil, ""
	}
	if got := keeper.Call("POST", "/v1/me/reminders:setMail", map[string]any{"address": "robin@example.org\nBcc: x@example.org", "zone": "UTC"}); got.Status != http.StatusBadRequest {
		t.Errorf("%d %s", got.Status, got.Body)
	}
	got := keeper.Call("POST", "/v1/me/reminders:setMail", map[string]any{"address": "robin@example.org", "zone": "UTC"}).OK()
	way := got.Get("reminders", "ways").([]any)[0].(map[string]any)
	if way["unconfirmed"] != true || way["address"] != "robin@example.org" {
		t.Errorf("%s", got.Body)
	}
	_, yes := letter("confirm")
	if got := keeper.Call("POST", "/v1/me/reminders:test", map[string]any{"wayId": way["wayId"]}); got.Status != http.StatusBadRequest {
		t.Errorf("a test to an address that nobody said yes to: %d %s", got.Status, got.Body)
	}

	// A program that looks at the mail opens the link: nothing happens.
	stranger := f.Program("")
	for _, method := range []string{"GET", "POST"} {
		for _, wrong := range []string{"/mail/confirm/x.y", strings.Replace(yes, "confirm", "stop", 1), yes + "A", "/mail/other" + yes[len("/mail/confirm"):]} {
			if got := stranger.Call(method, wrong, nil); got.Status != http.StatusNotFound || strings.Contains(string(got.Body), "robin@") || !strings.Contains(string(got.Body), "This link is not whole") {
				t.Errorf("%s %s: %d %s", method, wrong, got.Status, got.Body)
			}
		}
	}
	if got := stranger.Call("GET", yes, nil).OK(); !strings.Contains(string(got.Body), "Yes, send them here") || !strings.Contains(got.Header.Get("Cache-Control"), "no-store") {
		t.Errorf("%v %s", got.Header, got.Body)
	}
	unconfirmed := func() any {
		return keeper.Call("GET", "/v1/me/reminders", nil).OK().Get("reminders", "ways").([]any)[0].(map[string]any)["unconfirmed"]
	}
	if unconfirmed() != true {
		t.Error("looking at the page has said yes")
	}
	// In the browser of somebody who is signed in the form brings a cookie, and no header.
	if got := keeper.Call("POST", yes, nil, "X-Warmhand", "", "Content-Type", "application/x-www-form-urlencoded").OK(); !strings.Contains(string(got.Body), "Thank you") || unconfirmed() != false {
		t.Errorf("%s", got.Body)
	}

	keeper.Call("POST", "/v1/me:setLanguage", map[string]any{"language": "de"}).OK() // from now on
	f.Clock.Advance(25 * time.Hour)
	for range 2 {
		if err := f.Server.Remind(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	head, stop := letter("stop")
	subject, err := new(mime.WordDecoder).DecodeHeader(head.Get("Subject"))
	if err != nil || !strings.Contains(subject, "Wie war die erste Nacht?") {
		t.Errorf("the subject is %q, %v", subject, err)
	}
	if head.Get("List-Unsubscribe") != "<"+f.Server.Origin()+stop+">" || head.Get("List-Unsubscribe-Post") != "List-Unsubscribe=One-Click" {
		t.Errorf("%v", head)
	}
	if n := len(box.letters); n != 0 {
		t.Errorf("%d letters more", n)
	}
	if got := stranger.Call("GET", stop, nil, "Accept-Language", "de").OK(); !strings.Contains(string(got.Body), "Abbestellen") || !strings.Contains(string(got.Body), `<html lang="de">`) {
		t.Errorf("%s", got.Body)
	}
	archive := keeper.Call("GET", "/v1/keepers/me/export.zip", nil).OK().Body
	z, err := zip.NewReader(bytes.NewReader(archive), int64(len(archive)))
	if err != nil {
		t.Fatal(err)
	}
	file, err := z.Open("read-me.html")
	if err != nil {
		t.Fatal(err)
	}
	if text, err := io.ReadAll(file); err != nil || !strings.Contains(string(text), "kommt in dieser Sprache: Deutsch.") || !strings.Contains(string(text), "robin@example.org") || !strings.Contains(string(text), "Nicht zwischen 21:00 und 08:00 nach der Uhr in UTC") {
		t.Errorf("what a keeper takes along: %v %s", err, text)
	}
	// RFC 8058, 3.1: the one click of a mail program.
	for range 2 {
		stranger.Call("POST", stop, []byte("List-Unsubscribe=One-Click"), "Content-Type", "application/x-www-form-urlencoded", "Origin", "https://mail.example.org").OK()
	}
	if ways := keeper.Call("GET", "/v1/me/reminders", nil).OK().Get("reminders", "ways"); ways != nil && len(ways.([]any)) != 0 {
		t.Errorf("still there: %v", ways)
	}
	if n := f.Mentions("robin@example.org"); len(n) != 0 {
		t.Errorf("the address is still in %v", n)
	}

	// An address costs a few letters at most, whoever types it.
	refused := false
	for range 8 {
		got := keeper.Call("POST", "/v1/me/reminders:setMail", map[string]any{"address": "stranger@example.org", "zone": "UTC"})
		refused = refused || got.Status == http.StatusTooManyRequests
	}
	if !refused || len(box.letters) > 3 {
		t.Errorf("%d letters to a stranger", len(box.letters))
	}
	keeper.Call("POST", "/v1/keepers/me:leave", map[string]any{"confirm": "leave"}).OK()
	if n := f.Mentions("stranger@example.org"); len(n) != 0 {
		t.Errorf("after leaving the address is in %v", n)
	}
}
