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
	Folder, Name, Kind, Breeder, Contact, Since, Ended string
	Record                                             []string
	Rows                                               []takenRow
	Pictures                                           []takenPicture
}

type takenRow struct{ When, Who, What, Detail, Note string }

type takenPicture struct{ File, When string }

// exportKeeper streams all that a keeper shares: for each animal the case file,
// what was logged as a table, the pictures, and one page to read it all.
func (s *Server) exportKeeper(w http.ResponseWriter, r *http.Request) {
	s.export(w, r, routeTakeaway, "warmhand.zip", "application/zip", func(who care.Actor) (func(io.Writer) error, error) {
		cases, err := s.followup.KeeperCases(r.Context(), who, s.now())
		return func(out io.Writer) error {
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
				animal, err := s.takeAway(r.Context(), z, fmt.Sprintf("animal-%d", i+1), &shared)
				if err != nil {
					return err
				}
				page = append(page, animal)
			}
			reminders, err := s.remindersOf(r.Context(), who)
			if err != nil {
				return err
			}
			f, err := z.CreateHeader(fileOf("read-me.html", s.now()))
			if err != nil {
				return err
			}
			if err := takeawayPage.Execute(f, map[string]any{"Animals": page, "Reminders": reminders, "Made": s.now().UTC().Format("2 January 2006, 15:04 UTC")}); err != nil {
				return err
			}
			return z.Close()
		}, err
	})
}

// remindersOf is what is kept of when and by what somebody is reminded, a line each.
func (s *Server) remindersOf(ctx context.Context, who care.Actor) (lines []string, err error) {
	hours, ways, err := s.followup.Reminding(ctx, who, s.now())
	if err != nil {
		return nil, err
	}
	tag, err := s.followup.Language(ctx, who)
	if in, ok := words.ByTag(tag); ok {
		lines = append(lines, "What you are told comes in "+in.Name)
	}
	for _, w := range ways {
		what := "Push to a device: " + w.Label
		if w.Kind == care.WayMail {
			what = "Mail to " + w.Address
		}
		lines = append(lines, what+", since "+clockOf(w.CreatedAt))
	}
	if hours.Zone != "" {
		lines = append(lines, fmt.Sprintf("Not between %02d:%02d and %02d:%02d by the clock in %s", hours.QuietFrom/60, hours.QuietFrom%60, hours.QuietUntil/60, hours.QuietUntil%60, hours.Zone))
	}
	if hours.MessagesSince != nil {
		lines = append(lines, "At once when a keeper writes, since "+clockOf(*hours.MessagesSince))
	}
	return lines, err
}

func fileOf(name string, at time.Time) *zip.FileHeader {
	h := &zip.FileHeader{Name: name, Method: zip.Deflate, Modified: at}
	if strings.HasSuffix(name, ".jpg") {
		h.Method = zip.Store
	}
	return h
}

// takeAway writes one animal's files and says what the page shows of it.
func (s *Server) takeAway(ctx context.Context, z *zip.Writer, folder string, in *followup.Shared) (out takenAway, err error) {
	sp, _ := snake.ByID(in.Animal.Species)
	out = takenAway{Folder: folder, Name: in.Animal.Name, Kind: sp.Common, Breeder: in.Breeder.Name, Contact: in.Breeder.Contact, Since: clockOf(in.Case.HandedOverAt)}
	if in.Case.ClosedAt != nil {
		out.Ended = clockOf(*in.Case.ClosedAt)
	}
	out.Record = append([]string{in.Handover.Record.FeedNext.String()}, words.English.All(in.Handover.Record.Cautions)...)
	f, err := z.CreateHeader(fileOf(folder+"/case.jsonl", s.now()))
	if err != nil {
		return out, err
	}
	var text []byte
	for i := range in.File {
		if text, err = casefile.Append(text, &in.File[i]); err != nil {
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
	rows := [][]string{{"when_utc", "who", "what", "detail", "note"}}
	for i := range in.Entries {
		e := &in.Entries[i]
		row := takenRow{When: clockOf(e.HappenedAt), Who: "breeder", Note: e.Note}
		if e.By == care.KeeperActor {
			row.Who = "you"
		}
		row.What, row.Detail = inWords(e.Body)
		out.Rows = append(out.Rows, row)
		rows = append(rows, []string{row.When, row.Who, row.What, plainCell(row.Detail), plainCell(row.Note)})
	}
	if err = table.WriteAll(rows); err != nil {
		return out, err
	}
	for _, p := range in.Photos {
		name := folder + "/pictures/" + p.ReceivedAt.UTC().Format("2006-01-02") + "-" + p.ID + ".jpg"
		if found, err := s.zipPicture(ctx, z, name, &p); err != nil || !found {
			if err != nil {
				return out, err
			}
			continue
		}
		out.Pictures = append(out.Pictures, takenPicture{name, clockOf(p.ReceivedAt)})
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

// inWords says what an entry records, for somebody without the app.
func inWords(b care.Body) (what, detail string) {
	num := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	var parts []string
	add := func(name string, v float64, unit string) {
		parts = append(parts, strings.TrimSpace(name+" "+num(v)+" "+unit))
	}
	switch b := b.(type) {
	case care.Offer:
		parts = append(parts, string(b.Result))
		for _, text := range []string{b.Prey, string(b.PreyState)} {
			if text != "" {
				parts = append(parts, text)
			}
		}
		if b.PreyMass > 0 {
			add("", float64(b.PreyMass), "g")
		}
		return "food offered", strings.Join(parts, ", ")
	case care.WeighIn:
		return "weight", num(float64(b.Mass)) + " g"
	case care.ClimateReading:
		for _, v := range []struct {
			name string
			t    *care.Celsius
		}{{"warm side", b.Warm}, {"cool side", b.Cool}, {"night", b.Night}, {"warmest surface", b.Surface}} {
			if v.t != nil {
				add(v.name, float64(*v.t), "°C")
			}
		}
		if b.Humidity != nil {
			add("humidity", float64(*b.Humidity), "%")
		}
		return "warmth", strings.Join(parts, ", ")
	case care.Shed:
		stage := map[care.ShedStage]string{care.Opaque: "eyes cloudy", care.Cleared: "eyes clear again", care.ShedDone: "shed"}[b.Stage]
		if b.Complete != nil {
			stage += map[bool]string{true: ", in one piece", false: ", in pieces"}[*b.Complete]
		}
		return "shed", stage
	case care.Sign:
		label := b.Code
		for _, s := range assess.Signs() {
			if s.Code == b.Code {
				label = s.Label
			}
		}
		if b.Gone {
			return "sign, gone", label
		}
		return "sign", label
	case care.SetupCheck:
		for _, a := range b.Answers {
			text := a.Point + ": " + a.Choice
			if p, ok := care.Point(a.Point); ok {
				text = p.Title + ": " + a.Choice
				for _, c := range p.Choices {
					if c.Code == a.Choice {
						text = p.Title + ": " + c.Label
					}
				}
			}
			if a.Measure > 0 {
				text += ", " + num(float64(a.Measure)) + " mm"
			}
			if a.Note != "" {
				text += " (" + a.Note + ")"
			}
			parts = append(parts, text)
		}
		return "setup", strings.Join(parts, "; ")
	case care.Seen:
		return "app opened", ""
	case care.StepAgreed:
		return "step agreed", strings.ReplaceAll(b.Code, "_", " ")
	case care.Message:
		return "message", b.Text
	case care.Ended:
		if b.Reopened {
			return "follow-up opened again", ""
		}
		detail := strings.ReplaceAll(string(b.Outcome), "_", " ")
		if b.Lessons != "" {
			detail += "; learned: " + strings.Join(b.Lessons.Codes(), ", ")
		}
		return "follow-up ended", detail
	}
	return string(b.Kind()), ""
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
			z := zip.NewWriter(out)
			for _, part := range []struct {
				name  string
				write func(io.Writer) error
			}{
				{"account.jsonl", func(w io.Writer) error { return s.writeAccount(r.Context(), w, who, &b) }},
				{"stock.xlsx", stock.WriteXLSX},
				{"handovers.jsonl", func(w io.Writer) error { return s.writeHandovers(r.Context(), w, who, breederID) }},
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
func (s *Server) writeAccount(ctx context.Context, w io.Writer, who care.Actor, b *care.Breeder) error {
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
	reminders, err := s.remindersOf(ctx, who)
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

func (s *Server) writeHandovers(ctx context.Context, w io.Writer, who care.Actor, breederID string) error {
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
			if err := line(w, handoverToProto(words.English, &list[i], s.now(), zone)); err != nil {
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
