package courier

import (
	"bytes"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net"
	"net/mail"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/notify"
	"warmhand/internal/words"
)

// office is a mail server that keeps what it gets.
type office struct {
	mu   sync.Mutex
	got  [][]byte
	from string
	to   []string
	rcpt error // what it says to an address
	data error // what it says to a letter
}

func (o *office) NewSession(*smtp.Conn) (smtp.Session, error) { return o, nil }
func (o *office) Reset()                                      {}
func (o *office) Logout() error                               { return nil }

func (o *office) Mail(from string, _ *smtp.MailOptions) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.from = from
	return nil
}

func (o *office) Rcpt(to string, _ *smtp.RcptOptions) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.to = append(o.to, to)
	return o.rcpt
}

func (o *office) Data(r io.Reader) error {
	b, err := io.ReadAll(r)
	o.mu.Lock()
	defer o.mu.Unlock()
	o.got = append(o.got, b)
	if err != nil {
		return err
	}
	return o.data
}

// opened starts a mail server on this machine.
func (o *office) opened(t *testing.T) (address string) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := smtp.NewServer(o)
	s.Domain, s.ReadTimeout, s.WriteTimeout = "localhost", 10*time.Second, 10*time.Second
	done := make(chan struct{})
	go func() { defer close(done); s.Serve(listener) }() //nolint:errcheck // it ends by being closed
	t.Cleanup(func() { s.Close(); <-done })
	return "smtp://" + listener.Addr().String() + "?tls=none"
}

func letter(t *testing.T, animal string) notify.Letter {
	t.Helper()
	m := notify.Message{In: words.English, Home: "https://snakes.example.org/k", Told: []notify.Told{{Animal: animal, Link: "https://snakes.example.org/k/loam/c1", CheckIn: &assess.CheckIn{Ask: assess.AskWord, Question: words.Say("How was the first night?")}}}}
	l, err := m.ByMail("robin@example.org", "https://snakes.example.org/mail/stop/w1.x")
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// A letter is received by a mail server and read back as MIME by the standard
// library, with an animal's name that tries to write headers and tags of its own.
func TestMailArrives(t *testing.T) {
	t.Parallel()
	o := &office{}
	m, err := NewMail(o.opened(t), "", "Snakes <snakes@example.org>")
	if err != nil {
		t.Fatal(err)
	}
	const animal = "Öl\r\nBcc: all@example.org\r\n\r\n<script>alert(1)</script>"
	if d := m.Send(t.Context(), letter(t, animal), now); d.Outcome != care.Delivered || !d.Why.Empty() {
		t.Fatalf("%+v", d)
	}
	if len(o.got) != 1 || o.from != "snakes@example.org" || len(o.to) != 1 || o.to[0] != "robin@example.org" {
		t.Fatalf("%d letters from %q to %q", len(o.got), o.from, o.to)
	}
	got, err := mail.ReadMessage(bytes.NewReader(o.got[0]))
	if err != nil {
		t.Fatal(err)
	}
	subject, err := new(mime.WordDecoder).DecodeHeader(got.Header.Get("Subject"))
	if err != nil || subject != "Öl Bcc: all@example.org <script>alert(1)</script>: How was the first night?" {
		t.Errorf("subject %q, %v", subject, err)
	}
	for name, want := range map[string]string{"Bcc": "", "To": "<robin@example.org>", "Auto-Submitted": "auto-generated",
		"List-Unsubscribe": "<https://snakes.example.org/mail/stop/w1.x>", "List-Unsubscribe-Post": "List-Unsubscribe=One-Click"} {
		if got.Header.Get(name) != want {
			t.Errorf("%s: %q", name, got.Header.Get(name))
		}
	}
	if at, err := got.Header.Date(); err != nil || !at.Equal(now) || got.Header.Get("Message-ID") == "" {
		t.Errorf("date %v, %v; id %q", at, err, got.Header.Get("Message-ID"))
	}
	kind, params, err := mime.ParseMediaType(got.Header.Get("Content-Type"))
	if err != nil || kind != "multipart/alternative" {
		t.Fatalf("%s, %v", kind, err)
	}
	parts := map[string]string{}
	for r := multipart.NewReader(got.Body, params["boundary"]); ; {
		p, err := r.NextRawPart()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		var body io.Reader = p
		if p.Header.Get("Content-Transfer-Encoding") == "quoted-printable" {
			body = quotedprintable.NewReader(p)
		}
		text, err := io.ReadAll(body)
		if err != nil {
			t.Fatal(err)
		}
		kind, _, err := mime.ParseMediaType(p.Header.Get("Content-Type"))
		if err != nil {
			t.Fatal(err)
		}
		parts[kind] = string(text)
	}
	for _, kind := range []string{"text/plain", "text/html"} {
		for _, want := range []string{"How was the first night?", "https://snakes.example.org/k/loam/c1/thread", "https://snakes.example.org/mail/stop/w1.x"} {
			if !strings.Contains(parts[kind], want) {
				t.Errorf("%s lacks %q: %s", kind, want, parts[kind])
			}
		}
	}
	if len(parts) != 2 || strings.Contains(parts["text/html"], "<script") {
		t.Errorf("%d parts: %s", len(parts), parts["text/html"])
	}
}

func TestMailAnswers(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		o    *office
		want care.DeliveryOutcome
	}{
		"no such person":      {&office{rcpt: &smtp.SMTPError{Code: 550, Message: "nobody"}}, care.NeverDelivers},
		"later, please":       {&office{rcpt: &smtp.SMTPError{Code: 450, Message: "grey"}}, care.NotDelivered},
		"no room":             {&office{data: &smtp.SMTPError{Code: 452, Message: "full"}}, care.NotDelivered},
		"not such a letter":   {&office{data: &smtp.SMTPError{Code: 554, Message: "no"}}, care.NeverDelivers},
		"all is well with it": {&office{}, care.Delivered},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			m, err := NewMail(c.o.opened(t), "", "snakes@example.org")
			if err != nil {
				t.Fatal(err)
			}
			if d := m.Send(t.Context(), letter(t, "Moss"), now); d.Outcome != c.want || d.Why.Empty() != (c.want == care.Delivered) {
				t.Errorf("%+v", d)
			}
		})
	}
	m, err := NewMail("smtp://127.0.0.1:1?tls=none", "", "snakes@example.org")
	if err != nil {
		t.Fatal(err)
	}
	if d := m.Send(t.Context(), letter(t, "Moss"), now); d.Outcome != care.NotDelivered {
		t.Errorf("nobody is there: %+v", d)
	}
	// With TLS wanted and not offered, nothing is said in the clear.
	o := &office{}
	m, err = NewMail(strings.TrimSuffix(o.opened(t), "?tls=none"), "", "snakes@example.org")
	if err != nil {
		t.Fatal(err)
	}
	if d := m.Send(t.Context(), letter(t, "Moss"), now); d.Outcome != care.NotDelivered || len(o.to) != 0 {
		t.Errorf("without TLS: %+v, %q", d, o.to)
	}
}

// A connection that is cut after the whole letter was sent leaves it open whether the
// letter went.
func TestMailCutOff(t *testing.T) {
	t.Parallel()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer listener.Close()
	go func() {
		c, err := listener.Accept()
		if err != nil {
			return
		}
		defer c.Close()
		io.WriteString(c, "220 here\r\n") //nolint:errcheck // the test sees that it failed
		var all []byte
		for buffer := make([]byte, 4096); ; {
			n, err := c.Read(buffer)
			if err != nil {
				return
			}
			all = append(all, buffer[:n]...)
			switch text := string(all); {
			case strings.HasSuffix(text, "\r\n.\r\n"):
				return // without a word
			case strings.HasPrefix(text, "DATA"):
				io.WriteString(c, "354 go on\r\n") //nolint:errcheck // as above
				all = all[:0]
			case strings.Contains(text, "\r\n") && !strings.Contains(text, "Subject:") && (strings.HasPrefix(text, "EHLO") || strings.HasPrefix(text, "MAIL") || strings.HasPrefix(text, "RCPT") || strings.HasPrefix(text, "NOOP")):
				io.WriteString(c, "250 ok\r\n") //nolint:errcheck // as above
				all = all[:0]
			}
		}
	}()
	m, err := NewMail("smtp://"+listener.Addr().String()+"?tls=none", "", "snakes@example.org")
	if err != nil {
		t.Fatal(err)
	}
	if d := m.Send(t.Context(), letter(t, "Moss"), now); d.Outcome != care.Unclear {
		t.Errorf("%+v", d)
	}
}

func TestMailServersAreRead(t *testing.T) {
	t.Parallel()
	for _, bad := range []string{"", "mail.example.org", "http://mail.example.org", "smtp://", "smtp://mail.example.org?tls=none", "smtps://localhost?tls=none", "smtp://mail.example.org?tls=some", "smtp://mail.example.org:99999", "smtp://mail.example.org/x"} {
		if _, err := NewMail(bad, "", "snakes@example.org"); err == nil {
			t.Errorf("%q is taken", bad)
		}
	}
	for _, from := range []string{"", "snakes", "snakes@example.org\r\nBcc: x@example.org"} {
		if _, err := NewMail("smtps://u@mail.example.org", "secret", from); err == nil {
			t.Errorf("sender %q is taken", from)
		}
	}
	if _, err := NewMail("smtps://u@mail.example.org", "secret\n", "Snakes <snakes@example.org>"); err != nil {
		t.Error(err)
	}
}
