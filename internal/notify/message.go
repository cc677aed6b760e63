package notify

import (
	"encoding/json"
	"fmt"
	"html/template"
	"slices"
	"strings"

	"warmhand/internal/assess"
	"warmhand/internal/care"
)

// Told is one thing of one animal to tell.
type Told struct {
	Animal string
	Case   care.Case
	Link   string // the address of the case in the app, without the form
	// Wrote is who wrote, a keeper or the owner standing for all of the breeder's
	// people. When it is "", CheckIn is what its keeper is asked; nil: that the case has
	// come to its standing, which is for the breeder.
	Wrote   care.ActorKind
	CheckIn *assess.CheckIn
}

// News is what is new in one case, for the breeder.
type News struct{ Animal, Link, What string }

// Message is all that one person is told at one time.
type Message struct {
	Told []Told
	// News and Logged, of how many other animals something was logged, are the
	// morning's.
	News   []News
	Logged int
	Home   string // the address of the app's first screen for this person
}

// onDevice is what a device gets, see pwa/src/sw/sw.ts. Whoever looks over a shoulder
// reads the animal's name and the one next thing, and nobody's name.
type onDevice struct {
	Title string `json:"title"`
	Body  string `json:"body"`
	URL   string `json:"url"`
	// Tag: of several with the same, the last stays on the screen.
	Tag string `json:"tag"`
	// Log lets an offer be logged on the notification itself.
	Log *logHere `json:"log,omitempty"`
}

type logHere struct {
	Case   string `json:"case"`
	Animal string `json:"animal"`
}

const (
	namesMost = 3   // of animals in a line
	newsMost  = 40  // of cases in a letter
	bodyMost  = 600 // bytes of text on a device, far below PushMost
)

// ForDevice is a message as Seal takes it, and the topic under which a later one of
// the same replaces it.
func (m *Message) ForDevice() (text []byte, tag string, err error) {
	d := onDevice{URL: m.Home}
	switch {
	case len(m.Told) == 1 && len(m.News) == 0 && m.Logged == 0:
		t := &m.Told[0]
		d.Tag, d.Title, d.Body, d.URL = t.Case.ID, t.title(), t.next(), t.address()
		if t.Wrote != "" {
			d.Tag = "wrote-" + t.Case.ID // a question stays beside it
		}
		if t.CheckIn != nil && t.CheckIn.Ask == assess.AskFood {
			d.Log = &logHere{"breeders/" + t.Case.BreederID + "/cases/" + t.Case.ID, "breeders/" + t.Case.BreederID + "/animals/" + t.Case.AnimalID}
		}
	case len(m.Told) > 0:
		d.Tag, d.Title = "told", m.subject()
		for i := range m.Told {
			d.Body += m.Told[i].line() + "\n"
		}
		if len(m.News) > 0 || m.Logged > 0 {
			d.Body += m.morning()
		}
	default:
		d.Tag, d.Title, d.Body = "morning", "This morning", m.morning()
	}
	d.Body = strings.TrimSpace(d.Body)
	if len(d.Body) > bodyMost {
		d.Body = strings.ToValidUTF8(d.Body[:bodyMost], "") + "…"
	}
	if r := []rune(d.Title); len(r) > 120 {
		d.Title = string(r[:120]) + "…"
	}
	text, err = json.Marshal(d)
	return text, d.Tag, err
}

// Test is what a device shows when somebody tries whether it works.
func Test(home string) ([]byte, error) {
	return json.Marshal(onDevice{Title: "Warmhand", Body: "This is a test. Reminders arrive on this device.", URL: home, Tag: "test"})
}

func (t *Told) title() string {
	switch {
	case t.Wrote == care.KeeperActor:
		return t.Animal + ": its keeper wrote"
	case t.Wrote != "":
		return t.Animal + ": your breeder wrote"
	case t.CheckIn != nil:
		return t.Animal
	}
	return t.Animal + ": " + t.standing()
}

func (t *Told) standing() string {
	if t.Case.Standing == care.Vet {
		return "for a vet"
	}
	return "step in"
}

func (t *Told) next() string {
	switch {
	case t.Wrote == care.KeeperActor:
		return "Open it to read and to answer."
	case t.Wrote != "":
		return "Open it to read."
	case t.CheckIn != nil:
		return t.CheckIn.Question.String()
	case t.Case.Standing == care.Vet:
		return "Open it now and tell its keeper what to do."
	}
	return "Open it to see why, and what to do."
}

func (t *Told) line() string {
	if t.CheckIn != nil {
		return t.Animal + ": " + t.CheckIn.Question.String()
	}
	return t.title()
}

func (t *Told) address() string {
	if t.Wrote != "" && t.Wrote != care.KeeperActor {
		return t.Link + "/" + forms[assess.AskWord]
	}
	if t.CheckIn != nil {
		return t.Link + "/" + forms[t.CheckIn.Ask]
	}
	return t.Link
}

// morning is the morning's news in one line.
func (m *Message) morning() string {
	var parts []string
	if len(m.News) > 0 {
		var list []string
		for i := range m.News {
			list = append(list, m.News[i].Animal)
		}
		parts = append(parts, newsOf(list)+".")
	}
	if m.Logged > 0 {
		parts = append(parts, fmt.Sprintf("Something was logged of %s.", animals(m.Logged)))
	}
	return strings.Join(parts, " ")
}

// newsOf names the first few of the animals.
func newsOf(list []string) string {
	if more := len(list) - namesMost; more > 0 {
		list = append(list[:namesMost:namesMost], fmt.Sprintf("%d more", more))
	}
	return "News of " + and(list)
}

func and(list []string) string {
	if len(list) < 2 {
		return strings.Join(list, "")
	}
	return strings.Join(list[:len(list)-1], ", ") + " and " + list[len(list)-1]
}

func animals(n int) string {
	if n == 1 {
		return "1 animal"
	}
	return fmt.Sprintf("%d animals", n)
}

func (m *Message) subject() string {
	switch {
	case len(m.Told) == 1:
		return m.Told[0].line()
	case len(m.Told) > 1:
		questions, needs := true, true
		var list []string
		for i := range m.Told {
			t := &m.Told[i]
			questions = questions && t.CheckIn != nil
			needs = needs && t.CheckIn == nil && t.Wrote == ""
			if !slices.Contains(list, t.Animal) {
				list = append(list, t.Animal)
			}
		}
		switch {
		case questions:
			return fmt.Sprintf("%d short questions", len(m.Told))
		case needs:
			return fmt.Sprintf("%d animals need you", len(m.Told))
		}
		return newsOf(list)
	}
	return "This morning: " + animals(len(m.News)+m.Logged)
}

// ByMail is a message as a letter. stop is the private address that ends mail to this
// address.
func (m *Message) ByMail(to, stop string) (Letter, error) {
	l := letter{Home: m.Home, Stop: stop}
	for i := range m.Told {
		t := &m.Told[i]
		text := t.next()
		if t.CheckIn == nil && t.Wrote == "" && !t.Case.Headline.Empty() {
			text = t.Case.Headline.String() + " " + text
		}
		l.Lines = append(l.Lines, line{t.title(), text, t.address()})
		if t.CheckIn != nil {
			l.Hello = "It takes under a minute."
		}
	}
	for _, n := range m.News[:min(len(m.News), newsMost)] {
		l.Lines = append(l.Lines, line{n.Animal, n.What, n.Link})
	}
	if more := len(m.News) - newsMost; more > 0 {
		l.After = fmt.Sprintf("And news of %s more. ", animals(more))
	}
	if m.Logged > 0 {
		l.After += fmt.Sprintf("Something was logged of %s besides.", animals(m.Logged))
	}
	l.Why = "You get this because reminders by mail are turned on for this address."
	return l.write(to, m.subject())
}

// Confirm is the letter by which an address's owner says yes.
func Confirm(to, link, home string) (Letter, error) {
	l := letter{Hello: "Somebody, most likely you, wants reminders about snakes to come to this address. Open this page and say yes there, within two days:",
		Lines: []line{{"Reminders by mail", "Say yes", link}}, Home: home,
		Why: "If it was not you, do nothing: without your yes nothing more comes."}
	return l.write(to, "Reminders to this address: please say yes")
}

// TestLetter is what comes when somebody tries whether mail works.
func TestLetter(to, home, stop string) (Letter, error) {
	l := letter{Hello: "This is a test. Reminders arrive at this address.", Home: home, Stop: stop, Why: "You get this because reminders by mail are turned on for this address."}
	return l.write(to, "A test: reminders arrive here")
}

type line struct{ Title, Text, Link string }

type letter struct {
	Hello, After, Home, Stop, Why string
	Lines                         []line
}

var letterPage = template.Must(template.New("letter").Parse(`<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Warmhand</title></head>
<body style="margin:0;padding:16px;font:16px/1.5 sans-serif;color:#2b2620;background:#faf6ef">
{{with .Hello}}<p>{{.}}</p>
{{end}}{{range .Lines}}<p><strong>{{.Title}}</strong><br>{{.Text}}<br><a href="{{.Link}}" style="color:#7a3d12">Open it</a></p>
{{end}}{{with .After}}<p>{{.}}</p>
{{end}}<p style="font-size:14px;color:#5c5348">{{.Why}}{{with .Stop}} <a href="{{.}}" style="color:#7a3d12">Stop them here</a>.{{end}}<br><a href="{{.Home}}" style="color:#7a3d12">{{.Home}}</a></p>
</body></html>
`))

func (l *letter) write(to, subject string) (Letter, error) {
	var page, text strings.Builder
	if err := letterPage.Execute(&page, l); err != nil {
		return Letter{}, fmt.Errorf("a letter: %w", err)
	}
	if l.Hello != "" {
		text.WriteString(l.Hello + "\n\n")
	}
	for _, x := range l.Lines {
		fmt.Fprintf(&text, "%s\n%s\n%s\n\n", x.Title, x.Text, x.Link)
	}
	if l.After != "" {
		text.WriteString(l.After + "\n\n")
	}
	text.WriteString("-- \n" + l.Why + "\n")
	if l.Stop != "" {
		text.WriteString("Stop them here: " + l.Stop + "\n")
	}
	text.WriteString(l.Home + "\n")
	return Letter{To: to, Subject: subject, Text: text.String(), HTML: page.String(), Stop: l.Stop}, nil
}
