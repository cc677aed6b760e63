package server

import (
	"archive/zip"
	"context"
	_ "embed"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"warmhand/internal/access"
	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/casefile"
	"warmhand/internal/followup"
	"warmhand/internal/photo"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

//go:embed takeaway.html
var takeawayText string

var takeawayPage = template.Must(template.New("takeaway").Parse(takeawayText))

// takenAway is one animal on the page that a keeper reads.
type takenAway struct {
	Folder, Name string
	About        []string // sentences
	Record       []string
	Rows         []takenRow
	Pictures     []takenPicture
}

// takenPage is all of the page. Its template says everything in the language In.
type takenPage struct {
	In        *words.Language
	Animals   []takenAway
	Reminders []string
	Made      words.Text
}

// What the page says beside what was logged.
var takenWords = map[string]words.Text{
	"title":    words.Say("What you shared with your breeder"),
	"files":    words.Say("In each folder, log.csv opens in any spreadsheet, case.jsonl is for programs and has English names in every language, and the pictures are as your breeder sees them. Times are UTC."),
	"snake":    words.Say("Your snake"),
	"logged":   words.Say("Everything that was logged"),
	"when":     words.Say("When"),
	"who":      words.Say("Who"),
	"what":     words.Say("What"),
	"details":  words.Say("Details"),
	"note":     words.Say("Note"),
	"none":     words.Say("There is no animal here."),
	"reminded": words.Say("Reminders"),
}

// Say is one of those.
func (p *takenPage) Say(what string) string { return p.In.Say(takenWords[what]) }

// tongueOf is the person's language, else that of the request.
func (s *Server) tongueOf(r *http.Request, who care.Actor) (*words.Language, error) {
	tag, err := s.followup.Language(r.Context(), who)
	if in, ok := words.ByTag(tag); ok || err != nil {
		return in, err
	}
	return asked(r), nil
}

type takenRow struct{ When, Who, What, Detail, Note string }

type takenPicture struct{ File, When, Alt string }

// exportKeeper streams all that a keeper shares: for each animal the case file,
// what was logged as a table, the pictures, and one page to read it all.
func (s *Server) exportKeeper(w http.ResponseWriter, r *http.Request) {
	s.export(w, r, routeTakeaway, "warmhand.zip", "application/zip", func(who care.Actor) (func(io.Writer) error, error) {
		cases, err := s.followup.KeeperCases(r.Context(), who, s.now())
		return func(out io.Writer) error {
			in, err := s.tongueOf(r, who)
			if err != nil {
				return err
			}
			z := zip.NewWriter(out)
			page := make([]takenAway, 0, len(cases))
			for i := range cases {
				shared, err := s.followup.KeeperExport(r.Context(), who, s.now(), cases[i].Case.BreederID, cases[i].Case.ID)
				if care.IsCode(err, care.NotFound) {
					continue
				}
				if err != nil {
					return err
				}
				animal, err := s.takeAway(r.Context(), z, fmt.Sprintf("animal-%d", i+1), &shared, in)
				if err != nil {
					return err
				}
				page = append(page, animal)
			}
			reminders, err := s.remindersOf(r.Context(), who, in)
			if err != nil {
				return err
			}
			f, err := z.CreateHeader(fileOf("read-me.html", s.now()))
			if err != nil {
				return err
			}
			if err := takeawayPage.Execute(f, &takenPage{in, page, reminders, words.Say("Made on {day}, {time} UTC. This is everything that the service has of you and your animals, to keep.",
				words.Date{At: s.now().UTC(), As: words.Day}, s.now().UTC().Format("15:04"))}); err != nil {
				return err
			}
			return z.Close()
		}, err
	})
}

// remindersOf is what is kept of when and by what somebody is reminded, a line each.
func (s *Server) remindersOf(ctx context.Context, who care.Actor, in *words.Language) (lines []string, err error) {
	hours, ways, err := s.followup.Reminding(ctx, who, s.now())
	if err != nil {
		return nil, err
	}
	lines = append(lines, in.Say(words.Say("What you are told comes in {language}.", in.Name)))
	for _, w := range ways {
		what := words.Say("Push to a device, since {since}: {device}", clockOf(w.CreatedAt), words.Say(w.Label))
		if w.Kind == care.WayMail {
			what = words.Say("Mail, since {since}: {address}", clockOf(w.CreatedAt), w.Address)
		}
		lines = append(lines, in.Say(what))
	}
	clock := func(minutes int) string { return fmt.Sprintf("%02d:%02d", minutes/60, minutes%60) }
	if hours.Zone != "" {
		lines = append(lines, in.Say(words.Say("Not between {from} and {until} by the clock in {zone}", clock(hours.QuietFrom), clock(hours.QuietUntil), hours.Zone)))
	}
	if hours.MessagesSince != nil {
		lines = append(lines, in.Say(words.Say("At once when a keeper writes, since {since}", clockOf(*hours.MessagesSince))))
	}
	return lines, nil
}

func fileOf(name string, at time.Time) *zip.FileHeader {
	h := &zip.FileHeader{Name: name, Method: zip.Deflate, Modified: at}
	if strings.HasSuffix(name, ".jpg") {
		h.Method = zip.Store
	}
	return h
}

// takeAway writes one animal's files and says what the page shows of it.
func (s *Server) takeAway(ctx context.Context, z *zip.Writer, folder string, all *followup.Shared, in *words.Language) (out takenAway, err error) {
	sp, _ := snake.ByID(all.Animal.Species)
	out = takenAway{Folder: folder, Name: all.Animal.Name}
	from := all.Breeder.Name
	if all.Breeder.Contact != "" {
		from += " (" + all.Breeder.Contact + ")"
	}
	about := []words.Text{words.Say("{species}, from {breeder}.", words.Say(sp.Common).Begin(), from), words.Say("With you since {since}.", clockOf(all.Case.HandedOverAt))}
	if all.Case.ClosedAt != nil {
		about = append(about, words.Say("The follow-up ended on {date}.", clockOf(*all.Case.ClosedAt)))
	}
	out.About = in.All(about)
	out.Record = in.All(append([]words.Text{all.Handover.Record.FeedNext}, all.Handover.Record.Cautions...))
	f, err := z.CreateHeader(fileOf(folder+"/case.jsonl", s.now()))
	if err != nil {
		return out, err
	}
	var text []byte
	for i := range all.File {
		if text, err = casefile.Append(text, &all.File[i]); err != nil {
			return out, err
		}
	}
	if _, err = f.Write(text); err != nil {
		return out, err
	}
	if f, err = z.CreateHeader(fileOf(folder+"/log.csv", s.now())); err != nil {
		return out, err
	}
	table := csv.NewWriter(f)
	rows := [][]string{{in.Say(words.Say("When (UTC)")), in.Say(takenWords["who"]), in.Say(takenWords["what"]), in.Say(takenWords["details"]), in.Say(takenWords["note"])}}
	for i := range all.Entries {
		e := &all.Entries[i]
		row := takenRow{When: clockOf(e.HappenedAt), Who: in.Say(words.Say("breeder")), Note: e.Note}
		if e.By == care.KeeperActor {
			row.Who = in.Say(words.Say("you"))
		}
		row.What, row.Detail = inWords(e.Body, in)
		out.Rows = append(out.Rows, row)
		rows = append(rows, []string{row.When, row.Who, row.What, plainCell(row.Detail), plainCell(row.Note)})
	}
	if err = table.WriteAll(rows); err != nil {
		return out, err
	}
	for _, p := range all.Photos {
		name := folder + "/pictures/" + p.ReceivedAt.UTC().Format("2006-01-02") + "-" + p.ID + ".jpg"
		if found, err := s.zipPicture(ctx, z, name, &p); err != nil || !found {
			if err != nil {
				return out, err
			}
			continue
		}
		out.Pictures = append(out.Pictures, takenPicture{name, clockOf(p.ReceivedAt), in.Say(words.Say("Picture sent on {date}", clockOf(p.ReceivedAt)))})
	}
	return out, nil
}

// zipPicture adds a picture's large size. One whose bytes are missing is left
// out and logged; the rest of an export is worth having.
func (s *Server) zipPicture(ctx context.Context, z *zip.Writer, name string, p *care.Photo) (found bool, err error) {
	blob, err := s.blobs.Open(ctx, photo.Key{Hash: p.Hash, Variant: photo.Large})
	if errors.Is(err, fs.ErrNotExist) {
		s.log.Error("A photo's file is missing from an export.", "hash", p.Hash)
		return false, nil
	}
	if err != nil {
		return false, err
	}
	defer blob.Close()
	f, err := z.CreateHeader(fileOf(name, p.ReceivedAt))
	if err != nil {
		return false, err
	}
	_, err = io.Copy(f, blob)
	return true, err
}

// plainCell keeps a spreadsheet from taking a person's text for a formula.
func plainCell(text string) string {
	if text != "" && strings.ContainsRune("=+-@\t\r", rune(text[0])) {
		return "'" + text
	}
	return text
}

func clockOf(t time.Time) string { return t.UTC().Format("2006-01-02 15:04") }

// lessonWords are what was learned from an animal that came back, by its codes.
var lessonWords = map[string]words.Text{
	"warmth":        words.Say("learned: it was too cool or too warm"),
	"hides":         words.Say("learned: it had too little to hide in"),
	"handling":      words.Say("learned: it was handled much, or early"),
	"food":          words.Say("learned: the food was not what it knew"),
	"pauses":        words.Say("learned: food was offered again too soon"),
	"enclosure":     words.Say("learned: something in its home was not safe"),
	"illness":       words.Say("learned: it was ill"),
	"circumstances": words.Say("learned: things changed for the keeper"),
	"late":          words.Say("learned: we heard of it too late"),
}

// inWords says what an entry records, for somebody without the app.
func inWords(b care.Body, in *words.Language) (what, detail string) {
	var parts []words.Text
	kind, sep := words.AsIs(string(b.Kind())), ", "
	switch b := b.(type) {
	case care.Offer:
		kind = words.Say("food offered")
		parts = append(parts, map[care.OfferResult]words.Text{care.Eaten: words.Say("eaten"), care.Refused: words.Say("refused"), care.Struck: words.Say("struck and let go"), care.Regurgitated: words.Say("brought up")}[b.Result],
			words.Say(b.Prey), map[care.PreyState]words.Text{care.Thawed: words.Say("thawed"), care.Prekilled: words.Say("freshly killed"), care.Live: words.Say("live")}[b.PreyState])
		if b.PreyMass > 0 {
			parts = append(parts, words.Say("{mass} g", words.AsMany(float64(b.PreyMass))))
		}
	case care.WeighIn:
		kind = words.Say("weight")
		parts = append(parts, words.Say("{mass} g", words.AsMany(float64(b.Mass))))
	case care.ClimateReading:
		kind = words.Say("warmth")
		for _, v := range []struct {
			name words.Text
			t    *care.Celsius
		}{{words.Say("warm side"), b.Warm}, {words.Say("cool side"), b.Cool}, {words.Say("night"), b.Night}, {words.Say("warmest surface"), b.Surface}} {
			if v.t != nil {
				parts = append(parts, words.Say("{place}: {celsius} °C", v.name, words.AsMany(float64(*v.t))))
			}
		}
		if b.Humidity != nil {
			parts = append(parts, words.Say("humidity: {percent} %", words.AsMany(float64(*b.Humidity))))
		}
	case care.Shed:
		kind = words.Say("shed")
		parts = append(parts, map[care.ShedStage]words.Text{care.Opaque: words.Say("eyes cloudy"), care.Cleared: words.Say("eyes clear again"), care.ShedDone: words.Say("done")}[b.Stage])
		if b.Complete != nil {
			parts = append(parts, map[bool]words.Text{true: words.Say("in one piece"), false: words.Say("in pieces")}[*b.Complete])
		}
	case care.Sign:
		if kind = words.Say("sign"); b.Gone {
			kind = words.Say("sign, gone")
		}
		label := words.AsIs(b.Code)
		for _, s := range assess.Signs() {
			if s.Code == b.Code {
				label = words.Say(s.Label)
			}
		}
		parts = append(parts, label)
	case care.SetupCheck:
		kind, sep = words.Say("setup"), "; "
		for _, a := range b.Answers {
			point, answer := words.AsIs(a.Point), words.AsIs(a.Choice)
			if p, ok := care.Point(a.Point); ok {
				point = words.Say(p.Title)
				for _, c := range p.Choices {
					if c.Code == a.Choice {
						answer = words.Say(c.Label)
					}
				}
			}
			said := words.Say("{point}: {answer}", point, answer)
			if a.Measure > 0 {
				said = words.Say("{point}: {answer}, {size} mm", point, answer, words.AsMany(float64(a.Measure)))
			}
			if a.Note != "" {
				said = words.Say("{answer} ({note})", said, a.Note)
			}
			parts = append(parts, said)
		}
	case care.Seen:
		kind = words.Say("app opened")
	case care.StepAgreed:
		kind = words.Say("step agreed")
		parts = append(parts, assess.StepName(b.Code))
		if b.HoldsDays > 0 {
			parts = append(parts, words.Count("for {n} day", "for {n} days", b.HoldsDays))
		}
	case care.Message:
		kind = words.Say("message")
		parts = append(parts, words.AsIs(b.Text))
	case care.Ended:
		if b.Reopened {
			kind = words.Say("follow-up opened again")
			break
		}
		kind, sep = words.Say("follow-up ended"), "; "
		parts = append(parts, map[care.Outcome]words.Text{care.OutcomeSettled: words.Say("settled"), care.OutcomeReturned: words.Say("returned"), care.OutcomeVet: words.Say("a vet has taken over"),
			care.OutcomeDied: words.Say("died"), care.OutcomeLostTouch: words.Say("lost touch"), care.OutcomePassedOn: words.Say("passed on"), care.OutcomeLeft: words.Say("left")}[b.Outcome])
		for _, code := range b.Lessons.Codes() {
			parts = append(parts, lessonWords[code])
		}
	case care.Withdrawal:
		kind = words.Say("taken back")
	}
	parts = slices.DeleteFunc(parts, func(t words.Text) bool { return t.Empty() })
	return in.Say(kind), strings.Join(in.All(parts), sep)
}

// exportBreeder streams all that an account holds, for its owner.
func (s *Server) exportBreeder(w http.ResponseWriter, r *http.Request) {
	breederID := r.PathValue("breeder")
	s.export(w, r, routeEverything, "everything.zip", "application/zip", func(who care.Actor) (func(io.Writer) error, error) {
		b, err := s.followup.GetBreeder(r.Context(), who, breederID)
		if err != nil {
			return nil, err
		}
		stock, err := s.followup.StockBook(r.Context(), who, breederID)
		if err != nil {
			return nil, err
		}
		ids, err := casesOf(r.Context(), s.store, breederID)
		return func(out io.Writer) error {
			in, err := s.tongueOf(r, who)
			if err != nil {
				return err
			}
			z := zip.NewWriter(out)
			for _, part := range []struct {
				name  string
				write func(io.Writer) error
			}{
				{"account.jsonl", func(w io.Writer) error { return s.writeAccount(r.Context(), w, who, in, &b) }},
				{"stock.xlsx", stock.WriteXLSX},
				{"handovers.jsonl", func(w io.Writer) error { return s.writeHandovers(r.Context(), w, who, in, breederID) }},
				{"cards.jsonl", func(w io.Writer) error { return s.writeCards(r.Context(), w, who, breederID) }},
				{"cases.jsonl", func(w io.Writer) error {
					_, err := writeCases(r.Context(), w, s.followup, who, breederID, ids, true, true)
					return err
				}},
				{"who-looked.csv", func(w io.Writer) error { return s.writeLooks(r.Context(), w, who, breederID) }},
			} {
				f, err := z.CreateHeader(fileOf(part.name, s.now()))
				if err != nil {
					return err
				}
				if err := part.write(f); err != nil {
					return fmt.Errorf("%s: %w", part.name, err)
				}
			}
			for _, id := range ids {
				photos, err := s.followup.ListPhotos(r.Context(), who, breederID, id)
				if err != nil {
					return err
				}
				for i := range photos {
					p := &photos[i]
					if _, err := s.zipPicture(r.Context(), z, "pictures/"+id+"/"+p.ReceivedAt.UTC().Format("2006-01-02")+"-"+p.ID+".jpg", p); err != nil {
						return err
					}
				}
				s.looks.note(who, breederID, id, "", care.LookFile, s.now())
			}
			return z.Close()
		}, err
	})
}

// line writes a message of the contract as one line of JSON.
func line(w io.Writer, m proto.Message) error {
	text, err := wireJSON.Marshal(m)
	if err == nil {
		_, err = w.Write(append(text, '\n'))
	}
	return err
}

// writeAccount writes the account, its people, when and by what the one who asks is
// reminded, and its tokens, without secrets.
func (s *Server) writeAccount(ctx context.Context, w io.Writer, who care.Actor, in *words.Language, b *care.Breeder) error {
	if err := line(w, breederToProto(b)); err != nil {
		return err
	}
	var people []care.User
	var tokens []care.Secret
	if err := s.store.Read(ctx, func(tx care.Tx) (err error) {
		if people, err = tx.ListUsers(who.BreederID); err != nil {
			return err
		}
		tokens, err = access.List(tx, who.BreederID, care.SecretToken, s.now())
		return err
	}); err != nil {
		return err
	}
	out := json.NewEncoder(w)
	for _, u := range people {
		if err := out.Encode(map[string]any{"person": u.Name, "role": u.Role, "language": u.Language, "createTime": u.CreatedAt}); err != nil {
			return err
		}
	}
	reminders, err := s.remindersOf(ctx, who, in)
	if err != nil {
		return err
	}
	for _, text := range reminders {
		if err := out.Encode(map[string]any{"reminders": text}); err != nil {
			return err
		}
	}
	for i := range tokens {
		if err := line(w, tokenToProto(&tokens[i])); err != nil {
			return err
		}
	}
	return nil
}

func (s *Server) writeHandovers(ctx context.Context, w io.Writer, who care.Actor, in *words.Language, breederID string) error {
	zone, err := s.followup.Zone(ctx, breederID)
	if err != nil {
		return err
	}
	return care.EachPage(func(after care.Cursor) (care.Cursor, error) {
		list, next, err := s.followup.ListHandovers(ctx, who, breederID, "", after, 200)
		if err != nil {
			return next, err
		}
		for i := range list {
			if err := line(w, handoverToProto(in, &list[i], s.now(), zone)); err != nil {
				return next, err
			}
		}
		return next, nil
	})
}

// writeCards writes the cards without the marks by which a phone knows them.
func (s *Server) writeCards(ctx context.Context, w io.Writer, who care.Actor, breederID string) error {
	return care.EachPage(func(after care.Cursor) (care.Cursor, error) {
		list, next, _, err := s.followup.ListCards(ctx, who, breederID, after, 200)
		if err != nil {
			return next, err
		}
		for i := range list {
			list[i].Mark = ""
			if err := line(w, cardToProto(&list[i])); err != nil {
				return next, err
			}
		}
		return next, nil
	})
}

func (s *Server) writeLooks(ctx context.Context, w io.Writer, who care.Actor, breederID string) error {
	list, err := s.followup.Looks(ctx, who, breederID, "")
	if err != nil {
		return err
	}
	rows := [][]string{{"case", "animal", "role", "who", "what", "first_utc", "last_utc", "count"}}
	for i := range list {
		l := &list[i]
		rows = append(rows, []string{l.CaseID, plainCell(l.Animal), string(l.By), plainCell(l.Name), string(l.What), clockOf(l.FirstAt), clockOf(l.LastAt), strconv.Itoa(l.Count)})
	}
	return csv.NewWriter(w).WriteAll(rows)
}
