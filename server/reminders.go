package server

import (
	"context"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"html/template"
	"net/http"
	"net/url"
	"strings"
	"time"

	"warmhand/internal/access"
	"warmhand/internal/care"
	"warmhand/internal/courier"
	"warmhand/internal/followup"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/internal/notify"
	"warmhand/internal/words"
)

// remindEvery is how often it is looked whether somebody is to be reminded: what is
// told at once comes within this time. Mostly it is one look at an index.
const remindEvery = 10 * time.Second

// couriers make what carries reminders.
func (s *Server) couriers() error {
	key, err := s.key.PushKey()
	if err != nil {
		return err
	}
	var options []courier.PushOption
	if s.cfg.LocalPush {
		options = append(options, courier.ToThisMachine())
	}
	if s.push, err = courier.NewPush(key, s.origin.String(), options...); err != nil {
		return err
	}
	s.onClose(func() error { s.push.Close(); return nil })
	if s.cfg.SMTP != "" {
		s.mail, err = courier.NewMail(s.cfg.SMTP, s.cfg.SMTPPassword, s.cfg.MailFrom)
	}
	return err
}

// Remind tells everybody what is due now.
func (s *Server) Remind(ctx context.Context) error {
	n, err := s.followup.Remind(ctx, s.now, s.carry)
	s.metrics.reminded.Add(float64(n))
	return err
}

// carry hands one notice over.
func (s *Server) carry(ctx context.Context, n *followup.Notice) care.Delivery {
	in, _ := words.ByTag(n.Language)
	m := notify.Message{In: in, Home: s.home(&n.Way)}
	urgent := false
	for _, t := range n.Told {
		urgent = urgent || t.CheckIn == nil
		wrote := care.ActorKind("")
		if t.Wrote && n.Way.BreederID != "" {
			wrote = care.KeeperActor
		} else if t.Wrote {
			wrote = care.BreederOwner
		}
		m.Told = append(m.Told, notify.Told{Animal: t.Animal, Case: t.Case, Wrote: wrote, CheckIn: t.CheckIn, Link: s.caseAddress(&n.Way, &t.Case)})
	}
	if n.Digest != nil {
		m.Logged = n.Digest.Logged
		for i := range n.Digest.News {
			x := &n.Digest.News[i]
			m.News = append(m.News, notify.News{Animal: x.Animal, Link: s.caseAddress(&n.Way, &x.Case), What: whatIsNew(x)})
		}
	}
	if n.Way.Kind == care.WayMail {
		l, err := m.ByMail(n.Way.Address, s.stopURL(n.Way.ID))
		return s.post(ctx, l, err)
	}
	text, tag, err := m.ForDevice()
	if err != nil {
		return care.Delivery{Outcome: care.NeverDelivers, Why: words.Say("It could not be written.")}
	}
	return s.push.Send(ctx, &n.Way, text, topicOf(tag), urgent, s.now())
}

func (s *Server) post(ctx context.Context, l notify.Letter, err error) care.Delivery {
	switch {
	case err != nil:
		return care.Delivery{Outcome: care.NeverDelivers, Why: words.Say("It could not be written.")}
	case s.mail == nil:
		return care.Delivery{Outcome: care.NeverDelivers, Why: words.Say("This server sends no mail.")}
	}
	return s.mail.Send(ctx, l, s.now())
}

// topicOf is a name for the push service, which is to learn nothing by it: at most 32
// characters of base64url (RFC 8030, 5.4).
func topicOf(tag string) string {
	sum := sha256.Sum256([]byte(tag))
	return base64.RawURLEncoding.EncodeToString(sum[:24])
}

func whatIsNew(n *followup.News) (what words.Text) {
	if n.GivesBack {
		what = words.Say("Its keeper wants to give it back.")
	}
	if n.Wrote {
		what = words.Join(what, words.Say("Its keeper wrote."))
	}
	if n.Changed {
		what = words.Join(what, n.Case.Headline)
	}
	return what
}

func (s *Server) home(w *care.Way) string {
	if w.BreederID != "" {
		return s.Origin() + "/b"
	}
	return s.Origin() + "/k"
}

func (s *Server) caseAddress(w *care.Way, c *care.Case) string {
	if w.BreederID != "" {
		return s.Origin() + "/b/cases/" + c.ID
	}
	return s.Origin() + "/k/" + c.BreederID + "/" + c.ID
}

const (
	mailYes  = "confirm"
	mailStop = "stop"
)

func (s *Server) stopURL(wayID string) string {
	return s.Origin() + "/mail/stop/" + s.key.MailToken(mailStop, wayID)
}

type reminderService struct {
	pb.UnimplementedReminderServiceServer
	s *Server
}

// state is how the caller is reminded.
func (r *reminderService) state(ctx context.Context) (*pb.Reminders, error) {
	c := callOf(ctx)
	hours, ways, err := r.s.followup.Reminding(ctx, c.who.Actor, r.s.now())
	if err != nil {
		return nil, err
	}
	session, err := r.session(ctx)
	if err != nil {
		return nil, err
	}
	tag, err := r.s.followup.Language(ctx, c.who.Actor)
	if err != nil {
		return nil, err
	}
	out := &pb.Reminders{Language: tag, PushKey: r.s.push.PublicKey(), Mail: r.s.mail != nil,
		Hours: &pb.ReminderHours{Zone: hours.Zone, QuietFrom: int32(hours.QuietFrom), QuietUntil: int32(hours.QuietUntil), Morning: int32(hours.Morning), MessagesAtOnce: hours.MessagesSince != nil}}
	for i := range ways {
		w := &ways[i]
		way := &pb.ReminderWay{WayId: w.ID, Label: spoken(ctx).Form(w.Label), Unconfirmed: w.ConfirmedAt == nil, LastTime: maybeTime(w.LastAt), Trouble: spoken(ctx).Say(w.Trouble)}
		if w.Kind == care.WayMail {
			way.Address = w.Address
		} else {
			way.ThisDevice = w.SessionID == session
		}
		out.Ways = append(out.Ways, way)
	}
	return out, nil
}

// session is the public id of the sign-in that calls.
func (r *reminderService) session(ctx context.Context) (id string, err error) {
	err = r.s.store.Read(ctx, func(tx care.Tx) error {
		secret, err := tx.Secret(access.Hash(callOf(ctx).who.secret))
		id = secret.ID
		return err
	})
	return id, err
}

func (r *reminderService) GetReminders(ctx context.Context, _ *pb.GetRemindersRequest) (*pb.GetRemindersResponse, error) {
	out, err := r.state(ctx)
	return &pb.GetRemindersResponse{Reminders: out}, err
}

func (r *reminderService) SetReminderHours(ctx context.Context, req *pb.SetReminderHoursRequest) (*pb.SetReminderHoursResponse, error) {
	h := req.GetHours()
	c := callOf(ctx)
	err := r.s.followup.SetHours(ctx, c.who.Actor, r.s.now(), care.Hours{Zone: h.GetZone(), QuietFrom: int(h.GetQuietFrom()), QuietUntil: int(h.GetQuietUntil()), Morning: int(h.GetMorning())}, h.GetMessagesAtOnce(), c.wants())
	if err != nil {
		return nil, err
	}
	out, err := r.state(ctx)
	return &pb.SetReminderHoursResponse{Reminders: out}, err
}

func (r *reminderService) AddPushDevice(ctx context.Context, req *pb.AddPushDeviceRequest) (*pb.AddPushDeviceResponse, error) {
	if err := r.s.push.CheckEndpoint(req.GetEndpoint()); err != nil {
		return nil, err
	}
	key, err1 := base64.RawURLEncoding.DecodeString(strings.TrimRight(req.GetP256Dh(), "="))
	auth, err2 := base64.RawURLEncoding.DecodeString(strings.TrimRight(req.GetAuth(), "="))
	if err1 != nil || err2 != nil || notify.CheckDevice(key, auth) != nil {
		return nil, care.BadField("p256dh", "This browser's key for messages cannot be read. Reload the page and try again.")
	}
	session, err := r.session(ctx)
	if err != nil {
		return nil, err
	}
	c := callOf(ctx)
	w := care.Way{Kind: care.WayPush, Address: req.GetEndpoint(), Key: key, Auth: auth, SessionID: session, Label: deviceLabel(c.cred.agent)}
	if _, err := r.s.followup.AddWay(ctx, c.who.Actor, r.s.now(), w, req.GetZone(), c.wants()); err != nil {
		return nil, err
	}
	out, err := r.state(ctx)
	return &pb.AddPushDeviceResponse{Reminders: out}, err
}

func (r *reminderService) SetReminderMail(ctx context.Context, req *pb.SetReminderMailRequest) (*pb.SetReminderMailResponse, error) {
	c := callOf(ctx)
	if r.s.mail == nil {
		return nil, &care.Error{Code: care.Precondition, Reason: care.ReasonNoMail, Text: words.Say("This server sends no mail. Reminders on a device do not need it.")}
	}
	// A mail goes to whatever address is typed, so few do.
	if err := r.s.mails.Try(callerKey(c.who.Actor), r.s.now()); err != nil {
		return nil, err
	}
	w, err := r.s.followup.AddWay(ctx, c.who.Actor, r.s.now(), care.Way{Kind: care.WayMail, Address: req.GetAddress()}, req.GetZone(), c.wants())
	if err != nil {
		return nil, err
	}
	if w.ConfirmedAt == nil {
		l, err := notify.Confirm(w.Address, r.s.Origin()+"/mail/confirm/"+r.s.key.MailToken(mailYes, w.ID), r.s.Origin(), c.in)
		if d := r.s.post(ctx, l, err); d.Outcome != care.Delivered && d.Outcome != care.Unclear {
			return nil, &care.Error{Code: care.Unavailable, Reason: care.ReasonNotSaved, Text: words.Join(d.Why, words.Say("Try again later, or choose another address."))}
		}
	}
	out, err := r.state(ctx)
	return &pb.SetReminderMailResponse{Reminders: out}, err
}

func (r *reminderService) RemoveReminderWay(ctx context.Context, req *pb.RemoveReminderWayRequest) (*pb.RemoveReminderWayResponse, error) {
	if err := r.s.followup.RemoveWay(ctx, callOf(ctx).who.Actor, req.GetWayId()); err != nil {
		return nil, err
	}
	out, err := r.state(ctx)
	return &pb.RemoveReminderWayResponse{Reminders: out}, err
}

func (r *reminderService) TestReminder(ctx context.Context, req *pb.TestReminderRequest) (*pb.TestReminderResponse, error) {
	// It shows how reminders will come: in the person's language, whatever this screen speaks.
	tag, err := r.s.followup.Language(ctx, callOf(ctx).who.Actor)
	if err != nil {
		return nil, err
	}
	in, known := words.ByTag(tag)
	if !known {
		in = spoken(ctx)
	}
	_, err = r.s.followup.TryWay(ctx, callOf(ctx).who.Actor, r.s.now(), req.GetWayId(), func(ctx context.Context, w *care.Way) care.Delivery {
		if w.Kind == care.WayMail {
			l, err := notify.TestLetter(w.Address, r.s.home(w), r.s.stopURL(w.ID), in)
			return r.s.post(ctx, l, err)
		}
		text, err := notify.Test(r.s.home(w), in)
		if err != nil {
			return care.Delivery{Outcome: care.NeverDelivers, Why: words.Say("It could not be written.")}
		}
		return r.s.push.Send(ctx, w, text, topicOf("test"), true, r.s.now())
	})
	if err != nil {
		return nil, err
	}
	out, err := r.state(ctx)
	return &pb.TestReminderResponse{Reminders: out}, err
}

// deviceLabel tells a person's devices apart by what their browsers say of themselves.
func deviceLabel(agent string) string {
	for _, d := range []struct {
		says  string
		label words.Text
	}{{"iPad", words.Say("An iPad")}, {"iPhone", words.Say("An iPhone")}, {"Android", words.Say("An Android device")}, {"Windows", words.Say("A Windows computer")},
		{"Macintosh", words.Say("A Mac")}, {"CrOS", words.Say("A Chromebook")}, {"Linux", words.Say("A Linux computer")}} {
		if strings.Contains(agent, d.says) {
			return d.label.Form
		}
	}
	return words.Say("A device").Form
}

//go:embed mailpage.html
var mailPageText string

//go:embed mail.css
var mailStyle []byte

var mailPage = template.Must(template.New("mail").Parse(mailPageText))

// mailLink is a page behind a link in a mail, which asks before anything is done:
// programs that look at mail open links, too. By POST it is done; that is also the one
// click of RFC 8058, which sends a form and no cookie.
func (s *Server) mailLink(w http.ResponseWriter, r *http.Request) {
	purpose := r.PathValue("what")
	r = r.WithContext(care.WithReach(r.Context(), reachOf(r.Pattern, care.Actor{}, "")))
	err := s.answerMail(w, r, purpose)
	if err != nil {
		hidden := *r // what fails may be logged with its address
		hidden.URL = &url.URL{Path: "/mail/" + purpose + "/…"}
		s.writeError(w, &hidden, err)
	}
}

func (s *Server) answerMail(w http.ResponseWriter, r *http.Request, purpose string) error {
	if err := policy.Check(r.Pattern, care.Actor{}); err != nil {
		return err
	}
	page := struct {
		In                            *words.Language
		Address                       string
		Title, Ask, Button, Done, App words.Text
	}{In: asked(r), Title: words.Say("Reminders by mail"), App: words.Say("To the app")}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "private, no-store")
	h.Set("X-Robots-Tag", "noindex")
	id, ok := s.key.OpenMailToken(purpose, r.PathValue("token"))
	if !ok || purpose != mailYes && purpose != mailStop {
		w.WriteHeader(http.StatusNotFound)
		page.Done = words.Say("This link is not whole, or it is not of this app. Copy all of it from the mail, or see to reminders in the settings of the app.")
		return mailPage.Execute(w, page)
	}
	way, err := s.followup.MailOf(r.Context(), id)
	if err != nil && !care.IsCode(err, care.NotFound) {
		return err
	}
	page.Address = way.Address
	now := s.now()
	gone := err != nil || way.ConfirmedAt == nil && !now.Before(way.CreatedAt.Add(care.MailWait))
	switch post := r.Method == http.MethodPost; {
	case purpose == mailYes && gone:
		page.Done = words.Say("This link is not valid any more. Ask for a new one in the settings of the app.")
	case purpose == mailYes && way.ConfirmedAt != nil:
		page.Done = words.Say("Reminders come to this address.")
	case purpose == mailYes && post:
		if _, err := s.followup.ConfirmMail(r.Context(), now, id); err != nil {
			return err
		}
		page.Done = words.Say("Thank you. Reminders come to this address from now on.")
	case purpose == mailYes:
		page.Ask, page.Button = words.Say("Shall reminders come to this address?"), words.Say("Yes, send them here")
	case gone:
		page.Done = words.Say("No reminders come to this address.")
	case post:
		if err := s.followup.StopMail(r.Context(), id); err != nil {
			return err
		}
		page.Done = words.Say("No more reminders come to this address. They can be turned on again in the app.")
	default:
		page.Ask, page.Button = words.Say("Shall reminders to this address stop?"), words.Say("Stop them")
	}
	return mailPage.Execute(w, page)
}
