package courier

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"strconv"
	"strings"
	"time"

	gomail "github.com/wneessen/go-mail"

	"warmhand/internal/care"
	"warmhand/internal/notify"
	"warmhand/internal/words"
)

// mailTime bounds one handing over, connecting included.
const mailTime = 20 * time.Second

// Mail hands messages to one mail server (RFC 5321).
type Mail struct {
	host    string
	from    string
	options []gomail.Option
}

// NewMail reads where mail goes: smtp://user@host:587 with STARTTLS, smtps://user@host
// with TLS from the start, and smtp://localhost:25?tls=none for a mail server on this
// very machine. The password may be in the URL or come beside it. from is the sender's
// address, bare or with a name.
func NewMail(server, password, from string) (*Mail, error) {
	u, err := url.Parse(server)
	if err != nil || u.Hostname() == "" || u.Scheme != "smtp" && u.Scheme != "smtps" || u.Path != "" || u.Fragment != "" {
		return nil, errors.New("the mail server is not an address such as smtp://user@mail.example.org:587 or smtps://user@mail.example.org")
	}
	m := &Mail{host: u.Hostname(), from: from}
	if err := gomail.NewMsg().From(from); err != nil {
		return nil, fmt.Errorf("the sender of mail %q is not an address such as snakes@example.org", from)
	}
	port := 587
	tlsMode := u.Query().Get("tls")
	m.options = []gomail.Option{gomail.WithTimeout(mailTime), gomail.WithTLSConfig(&tls.Config{ServerName: m.host, MinVersion: tls.VersionTLS12})}
	switch {
	case u.Scheme == "smtps" && tlsMode == "":
		port = 465
		m.options = append(m.options, gomail.WithSSL())
	case u.Scheme == "smtp" && tlsMode == "":
		m.options = append(m.options, gomail.WithTLSPolicy(gomail.TLSMandatory))
	case u.Scheme == "smtp" && tlsMode == "none":
		if ip := net.ParseIP(m.host); m.host != "localhost" && (ip == nil || !ip.IsLoopback()) {
			return nil, errors.New("mail without TLS is for a mail server on this machine only: leave tls=none out")
		}
		port = 25
		m.options = append(m.options, gomail.WithTLSPolicy(gomail.NoTLS))
	default:
		return nil, fmt.Errorf("tls=%s is not known; without it there is TLS", tlsMode)
	}
	if u.Port() != "" {
		if port, err = strconv.Atoi(u.Port()); err != nil || port < 1 || port > 65535 {
			return nil, fmt.Errorf("the mail server's port %q is none", u.Port())
		}
	}
	m.options = append(m.options, gomail.WithPort(port))
	if user := u.User.Username(); user != "" {
		if p, ok := u.User.Password(); ok {
			password = p
		}
		m.options = append(m.options, gomail.WithSMTPAuth(gomail.SMTPAuthAutoDiscover), gomail.WithUsername(user), gomail.WithPassword(strings.TrimRight(password, "\r\n")))
	}
	return m, nil
}

// Send hands one letter over. Links in it that stop what comes are one click (RFC 8058).
func (m *Mail) Send(ctx context.Context, l notify.Letter, now time.Time) care.Delivery {
	msg, err := m.compose(l, now)
	if err != nil {
		return care.Delivery{Outcome: care.NeverDelivers, Why: words.Say("This address cannot be written to.")}
	}
	client, err := gomail.NewClient(m.host, m.options...)
	if err != nil {
		return care.Delivery{Outcome: care.NotDelivered, Why: words.Say("The mail server is not set up rightly.")}
	}
	ctx, cancel := context.WithTimeout(ctx, mailTime)
	defer cancel()
	return mailed(msg, client.DialAndSendWithContext(ctx, msg))
}

func (m *Mail) compose(l notify.Letter, now time.Time) (*gomail.Msg, error) {
	msg := gomail.NewMsg(gomail.WithNoDefaultUserAgent())
	if err := errors.Join(msg.From(m.from), msg.To(l.To)); err != nil {
		return nil, err
	}
	msg.Subject(oneLine(l.Subject))
	msg.SetDateWithValue(now)
	msg.SetMessageID()
	// RFC 3834, 5: no answering machine answers it.
	msg.SetGenHeader("Auto-Submitted", "auto-generated")
	if l.Stop != "" {
		msg.SetGenHeader(gomail.HeaderListUnsubscribe, "<"+l.Stop+">")
		msg.SetGenHeader(gomail.HeaderListUnsubscribePost, "List-Unsubscribe=One-Click")
	}
	msg.SetBodyString(gomail.TypeTextPlain, l.Text)
	msg.AddAlternativeString(gomail.TypeTextHTML, l.HTML)
	_, err := msg.WriteTo(io.Discard) // so that what cannot be written is known before anybody is called
	return msg, err
}

// oneLine keeps a name with line breaks in it from making headers of its own.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// mailed says what came of it: RFC 5321, 4.2.1 and 4.5.3.2.6.
func mailed(msg *gomail.Msg, err error) care.Delivery {
	var failed *gomail.SendError
	switch {
	case err == nil || msg.IsDelivered():
		return care.Delivery{} // the server has it, however the connection ended
	case !errors.As(err, &failed):
		return care.Delivery{Outcome: care.NotDelivered, Why: words.Say("The mail server could not be reached.")}
	case failed.Reason == gomail.ErrSMTPDataClose && failed.ErrorCode() == 0:
		return care.Delivery{Outcome: care.Unclear, Why: words.Say("The mail server did not answer.")}
	case failed.ErrorCode() >= 500:
		return care.Delivery{Outcome: care.NeverDelivers, Why: words.Say("The mail server does not take mail to this address ({code}).", failed.ErrorCode())}
	}
	return care.Delivery{Outcome: care.NotDelivered, Why: words.Say("The mail server did not take it just now.")}
}
