package server

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"warmhand/internal/access"
	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/followup"
	"warmhand/internal/photo"
	"warmhand/internal/print"
	"warmhand/internal/words"
)

// The most of one request: a show day's table, and a rack with its neighbours.
const (
	cardsMax  = 40
	labelsMax = 100
)

// printCards answers with handover cards. Their codes come in the body, never
// in an address, which ends up in logs and histories; they are known to nobody
// but the page that was just shown them.
func (s *Server) printCards(w http.ResponseWriter, r *http.Request) {
	s.pdf(w, r, routeCards, func(who care.Actor, breederID string, now time.Time) (string, func(io.Writer) error, error) {
		var in struct {
			Form  print.Form  `json:"form"`
			Paper print.Paper `json:"paper"`
			Cards []struct {
				Handover  string `json:"handover"`
				Card      string `json:"card"` // a blank one, in place of a handover
				ClaimCode string `json:"claimCode"`
			} `json:"cards"`
		}
		d := json.NewDecoder(r.Body)
		d.DisallowUnknownFields()
		if err := d.Decode(&in); err != nil {
			return "", nil, badShape(err)
		}
		switch {
		case !slices.Contains(print.Forms(), in.Form):
			return "", nil, care.BadField("form", "Say which card. There are: {list}.", listOf(print.Forms()))
		case !slices.Contains(print.Papers(), in.Paper):
			return "", nil, care.BadField("paper", "Say which paper. There are: {list}.", listOf(print.Papers()))
		case len(in.Cards) == 0 || len(in.Cards) > cardsMax:
			return "", nil, care.BadField("cards", "Print 1 to {most} cards at once; these are {n}.", cardsMax, len(in.Cards))
		}
		drafts := make([]followup.CardDraft, len(in.Cards))
		for i, c := range in.Cards {
			if c.Handover == "" && c.Card != "" {
				field := fmt.Sprintf("cards[%d].card", i)
				id, err := splitOwn(field, c.Card, breederID, "cards")
				if err != nil {
					return "", nil, err
				}
				drafts[i] = followup.CardDraft{Code: c.ClaimCode}
				if drafts[i].Blank, err = cardNumber(field, id); err != nil {
					return "", nil, err
				}
				continue
			}
			id, err := splitOwn(fmt.Sprintf("cards[%d].handover", i), c.Handover, breederID, "handovers")
			if err != nil {
				return "", nil, err
			}
			drafts[i] = followup.CardDraft{HandoverID: id, Code: c.ClaimCode}
		}
		list, zone, err := s.followup.Cards(r.Context(), who, now, breederID, drafts)
		if err != nil {
			return "", nil, err
		}
		cards := make([]print.Card, len(list))
		for i := range list {
			code, err := claimCodes{}.Plain(drafts[i].Code)
			if err != nil {
				return "", nil, err
			}
			cards[i] = print.Card{Record: &list[i].Record, Code: code, Link: s.ClaimURL(code), Until: list[i].ClaimExpiresAt}
			if n := drafts[i].Blank; n != 0 {
				cards[i].Record, cards[i].Number, cards[i].From = nil, n, list[i].Record.Breeder
				if contact := list[i].Record.Contact; contact != "" {
					cards[i].From += " · " + contact
				}
			}
		}
		return "handover-card", func(w io.Writer) error { return print.Cards(w, in.Paper, in.Form, cards, now, zone, asked(r)) }, nil
	})
}

// printLabels answers with a label for each animal that the query names.
func (s *Server) printLabels(w http.ResponseWriter, r *http.Request) {
	s.pdf(w, r, routeLabels, func(who care.Actor, breederID string, now time.Time) (string, func(io.Writer) error, error) {
		paper, err := paperOf(r)
		if err != nil {
			return "", nil, err
		}
		ids := r.URL.Query()["animal"]
		if len(ids) == 0 || len(ids) > labelsMax {
			return "", nil, care.BadField("animal", "Print 1 to {most} labels at once; these are {n}.", labelsMax, len(ids))
		}
		animals, err := s.followup.Animals(r.Context(), who, breederID, ids)
		if err != nil {
			return "", nil, err
		}
		labels := make([]print.Label, len(animals))
		for i := range animals {
			labels[i] = print.Label{Animal: &animals[i], Link: s.AnimalURL(animals[i].ID)}
		}
		return "labels", func(w io.Writer) error { return print.Labels(w, paper, labels, now, asked(r)) }, nil
	})
}

// printRecord answers with the record of one handover, for its breeder and its
// keeper.
func (s *Server) printRecord(w http.ResponseWriter, r *http.Request) {
	s.pdf(w, r, routeRecord, func(who care.Actor, breederID string, now time.Time) (string, func(io.Writer) error, error) {
		paper, err := paperOf(r)
		if err != nil {
			return "", nil, err
		}
		h, err := s.followup.GetHandover(r.Context(), who, breederID, r.PathValue("handover"))
		if err != nil {
			return "", nil, err
		}
		zone, err := s.followup.Zone(r.Context(), breederID)
		if err != nil {
			return "", nil, err
		}
		var sig print.Signature
		if h.Signed != "" {
			sig = print.Signature{Page: s.origin.String() + "/r", Digest: followup.RecordDigest(h.Signed)}
		}
		return "handover-record", func(w io.Writer) error { return print.Record(w, paper, &h.Record, sig, h.HandedOverAt, zone, asked(r)) }, nil
	})
}

// printGuide answers with a case's guide, or one page of it, for its keeper and
// its breeder.
func (s *Server) printGuide(w http.ResponseWriter, r *http.Request) {
	s.pdf(w, r, routeGuide, func(who care.Actor, breederID string, now time.Time) (string, func(io.Writer) error, error) {
		paper, err := paperOf(r)
		if err != nil {
			return "", nil, err
		}
		caseID := r.PathValue("case")
		found, err := s.followup.Guide(r.Context(), who, now, breederID, caseID)
		if err != nil {
			return "", nil, err
		}
		pages := found.Guide.Pages
		if code := r.URL.Query().Get("page"); code != "" {
			pages = slices.DeleteFunc(pages, func(p assess.GuidePage) bool { return p.Code != code })
			if len(pages) == 0 {
				return "", nil, care.BadField("page", "There is no page “{page}”. Look at the guide for the codes of its pages.", code)
			}
		}
		s.looks.note(who, breederID, caseID, "", care.LookFile, now)
		return "guide", func(w io.Writer) error {
			return print.Guide(w, paper, &found.Animal, pages, now, found.Zone, asked(r))
		}, nil
	})
}

// The most of one vet letter, and how many pictures it has when nobody says.
const (
	concernMax   = 1000 // characters
	picturesMax  = 8
	picturesElse = 6
)

// printLetter answers with a letter for the vet about a case, for its breeder and
// its keeper. What worries them comes in the body, not in an address.
func (s *Server) printLetter(w http.ResponseWriter, r *http.Request) {
	s.pdf(w, r, routeLetter, func(who care.Actor, breederID string, now time.Time) (string, func(io.Writer) error, error) {
		var in struct {
			Paper    print.Paper `json:"paper"`
			Concern  string      `json:"concern"`
			Pictures *int        `json:"pictures"`
		}
		d := json.NewDecoder(r.Body)
		d.DisallowUnknownFields()
		if err := d.Decode(&in); err != nil {
			return "", nil, badShape(err)
		}
		most := picturesElse
		if in.Pictures != nil {
			most = *in.Pictures
		}
		switch {
		case in.Paper != "" && !slices.Contains(print.Papers(), in.Paper):
			return "", nil, care.BadField("paper", "Say which paper. There are: {list}.", listOf(print.Papers()))
		case utf8.RuneCountInString(in.Concern) > concernMax:
			return "", nil, care.BadField("concern", "Keep it to {most} characters; the rest can be told.", concernMax)
		case most < 0 || most > picturesMax:
			return "", nil, care.BadField("pictures", "A letter takes 0 to {most} pictures.", picturesMax)
		}
		caseID := r.PathValue("case")
		write, err := s.letter(r, who, now, breederID, caseID, in.Paper, in.Concern, most)
		if err != nil {
			return "", nil, err
		}
		s.looks.note(who, breederID, caseID, "", care.LookFile, now)
		return "vet-letter", write, nil
	})
}

// openLetter answers anybody who has a link to a letter with the letter as it is
// now. The secret comes in the body, not in an address.
func (s *Server) openLetter(w http.ResponseWriter, r *http.Request) {
	now := s.now()
	write, err := func() (func(io.Writer) error, error) {
		if _, err := s.admit(w, r, routeLetterLink, ""); err != nil {
			return nil, err
		}
		if err := s.checks.Try(access.AddressKey(s.fromHTTP(r).remote), now); err != nil {
			return nil, err
		}
		var in struct {
			Secret string      `json:"secret"`
			Paper  print.Paper `json:"paper"`
		}
		d := json.NewDecoder(r.Body)
		d.DisallowUnknownFields()
		if err := d.Decode(&in); err != nil {
			return nil, badShape(err)
		}
		if in.Paper != "" && !slices.Contains(print.Papers(), in.Paper) {
			return nil, care.BadField("paper", "Say which paper. There are: {list}.", listOf(print.Papers()))
		}
		var l access.Letter
		var who care.Actor
		var link string
		err := s.store.Read(r.Context(), func(tx care.Tx) (err error) {
			l, who, link, err = access.OpenLetter(tx, in.Secret, now)
			return err
		})
		if err != nil {
			return nil, err
		}
		if err := s.prints.Try("letter/"+link, now); err != nil {
			return nil, err
		}
		write, err := s.letter(r, who, now, l.BreederID, l.CaseID, in.Paper, l.Concern, picturesElse)
		if care.IsCode(err, care.NotFound) {
			return nil, access.NoLetter() // who made the link may not see the case any more
		}
		if err == nil {
			s.looks.opened(l.BreederID, l.CaseID, link, now)
		}
		return write, err
	}()
	w.Header().Set("X-Robots-Tag", "noindex")
	s.writePDF(w, r, "vet-letter", write, err)
}

// letter gathers what a letter about a case says, with so many pictures at most.
func (s *Server) letter(r *http.Request, who care.Actor, now time.Time, breederID, caseID string, paper print.Paper, concern string, most int) (func(io.Writer) error, error) {
	ctx := r.Context()
	found, err := s.followup.Findings(ctx, who, now, breederID, caseID)
	if err != nil {
		return nil, err
	}
	letter := print.VetCase{Record: &found.Handover.Record, HandedOver: found.Handover.HandedOverAt, Concern: strings.TrimSpace(concern),
		Assessment: found.Assessment, Entries: found.Entries, At: now}
	for _, p := range found.Photos[:min(most, len(found.Photos))] {
		jpeg, err := s.picture(ctx, p.Hash)
		if errors.Is(err, fs.ErrNotExist) {
			s.log.Error("A photo's file is missing. Was the photos folder restored with the database?", "hash", p.Hash)
			continue
		}
		if err != nil {
			return nil, err
		}
		clock := func(t time.Time) (words.Date, string) {
			t = t.In(found.Zone)
			return words.Date{At: t, As: words.Day}, t.Format("15:04")
		}
		day, at := clock(p.ReceivedAt)
		caption := words.Say("Sent {day}, {time}", day, at)
		if p.TakenAt != nil {
			day, at = clock(*p.TakenAt)
			caption = words.Say("Taken {day}, {time}", day, at)
		}
		letter.Pictures = append(letter.Pictures, print.Picture{JPEG: jpeg, Caption: caption})
	}
	return func(w io.Writer) error {
		return print.VetLetter(w, cmp.Or(paper, print.A4), &letter, found.Zone, asked(r))
	}, nil
}

// picture reads the large size of a picture.
func (s *Server) picture(ctx context.Context, hash string) ([]byte, error) {
	blob, err := s.blobs.Open(ctx, photo.Key{Hash: hash, Variant: photo.Large})
	if err != nil {
		return nil, err
	}
	defer blob.Close()
	return io.ReadAll(blob)
}

// pdf admits the caller, lets what find out what is to be printed, and answers
// with it once it is whole.
func (s *Server) pdf(w http.ResponseWriter, r *http.Request, route string, what func(who care.Actor, breederID string, now time.Time) (name string, write func(io.Writer) error, err error)) {
	breederID, now := r.PathValue("breeder"), s.now()
	who, err := s.admit(w, r, route, breederID)
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	if err := s.prints.Try(callerKey(who.Actor), now); err != nil {
		s.writeError(w, r, err)
		return
	}
	name, write, err := what(who.Actor, breederID, now)
	s.writePDF(w, r, name, write, err)
}

// writePDF answers with a document once it is whole, or with the error.
func (s *Server) writePDF(w http.ResponseWriter, r *http.Request, name string, write func(io.Writer) error, err error) {
	var out bytes.Buffer
	if err == nil {
		err = write(&out)
	}
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "application/pdf")
	h.Set("Content-Disposition", `attachment; filename="`+name+`.pdf"`)
	h.Set("Content-Length", strconv.Itoa(out.Len()))
	h.Set("Cache-Control", "no-store")
	w.Write(out.Bytes())
}

// paperOf is the paper that the query names, A4 when it names none.
func paperOf(r *http.Request) (print.Paper, error) {
	p := print.Paper(r.URL.Query().Get("paper"))
	switch {
	case p == "":
		return print.A4, nil
	case !slices.Contains(print.Papers(), p):
		return "", care.BadField("paper", "Say which paper. There are: {list}.", listOf(print.Papers()))
	}
	return p, nil
}

func listOf[S ~string](list []S) string {
	names := make([]string, len(list))
	for i, v := range list {
		names[i] = string(v)
	}
	return strings.Join(names, ", ")
}

// badShape says in plain words why JSON does not fit; that it is JSON was
// checked before.
func badShape(err error) error {
	var kind *json.UnmarshalTypeError
	if errors.As(err, &kind) {
		return care.BadField(snakeCase(kind.Field), "The value of “{field}” does not fit. Look at /api for what it takes.", kind.Field)
	}
	if _, name, ok := strings.Cut(err.Error(), "unknown field "); ok {
		name = strings.Trim(name, `"`)
		return care.BadField(name, "There is no field “{field}” here. Check how it is spelt, or update the app.", name)
	}
	return care.BadField("body", "The request does not fit. Look at /api for what it takes.")
}
