package notify

import (
	"encoding/json"
	"fmt"
	"html/template"
	"slices"
	"strings"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Told is one thing of one animal to tell.
type Told struct {
	Animal string // its name; "" when it has none
	Case   care.Case
	Link   string // the address of the case in the app, without the form
	// Wrote is who wrote, a keeper or the owner standing for all of the breeder's
	// people. When it is "", CheckIn is what its keeper is asked; nil: that the case has
	// come to its standing, which is for the breeder.
	Wrote   care.ActorKind
	CheckIn *assess.CheckIn
}

// News is what is new in one case, for the breeder.
type News struct {
	Animal, Link string
	What         words.Text
}

// Message is all that one person is told at one time.
type Message struct {
	In   *words.Language // the person's
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
	// Lang is the tag of the language of title and body.
	Lang string `json:"lang"`
	// Log lets an offer be logged on the notification itself.
	Log *logHere `json:"log,omitempty"`
}

type logHere struct {
	Case   string `json:"case"`
	Animal string `json:"animal"`
}

const (
	newsMost = 40  // of cases in a letter
	bodyMost = 600 // bytes of text on a device, far below PushMost
)

// ForDevice is a message as Seal takes it, and the topic under which a later one of
// the same replaces it.
func (m *Message) ForDevice() (text []byte, tag string, err error) {
	d := onDevice{URL: m.Home, Lang: m.In.Tag}
	switch {
	case len(m.Told) == 1 && len(m.News) == 0 && m.Logged == 0:
		t := &m.Told[0]
		d.Tag, d.Title, d.Body, d.URL = t.Case.ID, m.In.Say(t.title()), m.In.Say(t.next()), t.address()
		if t.Wrote != "" {
			d.Tag = "wrote-" + t.Case.ID // a question stays beside it
		}
		if t.CheckIn != nil && t.CheckIn.Ask == assess.AskFood {
			d.Log = &logHere{"breeders/" + t.Case.BreederID + "/cases/" + t.Case.ID, "breeders/" + t.Case.BreederID + "/animals/" + t.Case.AnimalID}
		}
	case len(m.Told) > 0:
		d.Tag, d.Title = "told", m.In.Say(m.subject())
		for i := range m.Told {
			d.Body += m.In.Say(m.Told[i].line()) + "\n"
		}
		d.Body += m.In.Say(m.morning())
	default:
		d.Tag, d.Title, d.Body = "morning", m.In.Say(words.Say("This morning")), m.In.Say(m.morning())
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
func Test(home string, in *words.Language) ([]byte, error) {
	return json.Marshal(onDevice{Title: "Warmhand", Body: in.Say(words.Say("This is a test. Reminders arrive on this device.")), URL: home, Tag: "test", Lang: in.Tag})
}

func (t *Told) title() words.Text {
	animal := called(t.Animal)
	switch {
	case t.Wrote == care.KeeperActor:
		return words.Say("{animal}: its keeper wrote", animal)
	case t.Wrote != "":
		return words.Say("{animal}: your breeder wrote", animal)
	case t.CheckIn != nil:
		return animal
	case t.Case.Standing == care.Vet:
		return words.Say("{animal}: for a vet", animal)
	}
	return words.Say("{animal}: step in", animal)
}

func (t *Told) next() words.Text {
	switch {
	case t.Wrote == care.KeeperActor:
		return words.Say("Open it to read and to answer.")
	case t.Wrote != "":
		return words.Say("Open it to read.")
	case t.CheckIn != nil:
		return t.CheckIn.Question
	case t.Case.Standing == care.Vet:
		return words.Say("Open it now and tell its keeper what to do.")
	}
	return words.Say("Open it to see why, and what to do.")
}

func (t *Told) line() words.Text {
	if t.CheckIn != nil {
		return words.Say("{animal}: {question}", called(t.Animal), t.CheckIn.Question)
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
func (m *Message) morning() (all words.Text) {
	if len(m.News) > 0 {
		var list []string
		for i := range m.News {
			list = append(list, m.News[i].Animal)
		}
		all = words.Say("{news}.", newsOf(list))
	}
	if m.Logged > 0 {
		all = words.Join(all, words.Count("Something was logged of {n} animal.", "Something was logged of {n} animals.", m.Logged))
	}
	return all
}

// newsOf names the first few of the animals.
func newsOf(list []string) words.Text {
	var names [3]words.Text
	for i := range min(len(list), len(names)) {
		names[i] = called(list[i])
	}
	switch len(list) {
	case 1:
		return words.Say("News of {1}", names[0])
	case 2:
		return words.Say("News of {1} and {2}", names[0], names[1])
	case 3:
		return words.Say("News of {1}, {2} and {3}", names[0], names[1], names[2])
	}
	return words.Say("News of {1}, {2}, {3} and {n} more", names[0], names[1], names[2], len(list)-len(names))
}

func (m *Message) subject() words.Text {
	switch n := len(m.Told); {
	case n == 1:
		return m.Told[0].line()
	case n > 1:
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
			return words.Say("{n} short questions", n)
		case needs:
			return words.Say("{n} animals need you", n)
		}
		return newsOf(list)
	}
	return words.Count("This morning: {n} animal", "This morning: {n} animals", len(m.News)+m.Logged)
}

// ByMail is a message as a letter. stop is the private address that ends mail to this
// address.
func (m *Message) ByMail(to, stop string) (Letter, error) {
	l := letter{In: m.In, Home: m.Home, Stop: stop, Why: whyMail}
	for i := range m.Told {
		t := &m.Told[i]
		text := t.next()
		if t.CheckIn == nil && t.Wrote == "" {
			text = words.Join(t.Case.Headline, text)
		}
		l.Lines = append(l.Lines, line{t.title(), text, t.address()})
		if t.CheckIn != nil {
			l.Hello = words.Say("It takes under a minute.")
		}
	}
	for _, n := range m.News[:min(len(m.News), newsMost)] {
		l.Lines = append(l.Lines, line{called(n.Animal), n.What, n.Link})
	}
	if more := len(m.News) - newsMost; more > 0 {
		l.After = words.Count("And news of {n} animal more.", "And news of {n} animals more.", more)
	}
	if m.Logged > 0 {
		l.After = words.Join(l.After, words.Count("Something was logged of {n} animal besides.", "Something was logged of {n} animals besides.", m.Logged))
	}
	return l.write(to, m.subject())
}

// Confirm is the letter by which an address's owner says yes.
func Confirm(to, link, home string, in *words.Language) (Letter, error) {
	l := letter{In: in, Hello: words.Say("Somebody, most likely you, wants reminders about snakes to come to this address. Open this page and say yes there, within two days:"),
		Lines: []line{{words.Say("Reminders by mail"), words.Say("Say yes"), link}}, Home: home,
		Why: words.Say("If it was not you, do nothing: without your yes nothing more comes.")}
	return l.write(to, words.Say("Reminders to this address: please say yes"))
}

// TestLetter is what comes when somebody tries whether mail works.
func TestLetter(to, home, stop string, in *words.Language) (Letter, error) {
	l := letter{In: in, Hello: words.Say("This is a test. Reminders arrive at this address."), Home: home, Stop: stop, Why: whyMail}
	return l.write(to, words.Say("A test: reminders arrive here"))
}

// whyMail says on each mail why it comes.
var whyMail = words.Say("You get this because reminders by mail are turned on for this address.")

type line struct {
	Title, Text words.Text
	Link        string
}

type letter struct {
	In                *words.Language
	Hello, After, Why words.Text
	Home, Stop        string
	Lines             []line
}

var letterPage = template.Must(template.New("letter").Parse(`<!DOCTYPE html>
{{$in := .In}}<html lang="{{.In.Tag}}"><head><meta charset="utf-8"><title>Warmhand</title></head>
<body style="margin:0;padding:16px;font:16px/1.5 sans-serif;color:#2b2620;background:#faf6ef">
{{with $in.Say .Hello}}<p>{{.}}</p>
{{end}}{{range .Lines}}<p><strong>{{$in.Say .Title}}</strong><br>{{$in.Say .Text}}<br><a href="{{.Link}}" style="color:#7a3d12">{{$.Open}}</a></p>
{{end}}{{with $in.Say .After}}<p>{{.}}</p>
{{end}}<p style="font-size:14px;color:#5c5348">{{$in.Say .Why}}{{with .Stop}} <a href="{{.}}" style="color:#7a3d12">{{$.End}}</a>.{{end}}<br><a href="{{.Home}}" style="color:#7a3d12">{{.Home}}</a></p>
</body></html>
`))

func (l *letter) write(to string, subject words.Text) (Letter, error) {
	var page, text strings.Builder
	end := l.In.Say(words.Say("Stop them here"))
	if err := letterPage.Execute(&page, struct {
		*letter
		Open, End string
	}{l, l.In.Say(words.Say("Open it")), end}); err != nil {
		return Letter{}, fmt.Errorf("a letter: %w", err)
	}
	if !l.Hello.Empty() {
		text.WriteString(l.In.Say(l.Hello) + "\n\n")
	}
	for _, x := range l.Lines {
		fmt.Fprintf(&text, "%s\n%s\n%s\n\n", l.In.Say(x.Title), l.In.Say(x.Text), x.Link)
	}
	if !l.After.Empty() {
		text.WriteString(l.In.Say(l.After) + "\n\n")
	}
	text.WriteString("-- \n" + l.In.Say(l.Why) + "\n")
	if l.Stop != "" {
		text.WriteString(end + ": " + l.Stop + "\n")
	}
	text.WriteString(l.Home + "\n")
	return Letter{To: to, Subject: l.In.Say(subject), Text: text.String(), HTML: page.String(), Stop: l.Stop}, nil
}
