package server

import (
	"context"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"io/fs"
	"math"
	"strings"

	"warmhand/internal/care"
	"warmhand/internal/measure"
	"warmhand/internal/photo"
)

// mostMeasured is how many openings one request may have measured: each takes
// some tenths of a second.
const mostMeasured = 8

// measured measures anew what the entries say was measured in photos, and puts in
// what comes of it: the number of somebody's phone is not taken on trust.
// failed is the index of the entry that err is about.
func (s *Server) measured(ctx context.Context, who care.Actor, list []care.Entry) (failed int, err error) {
	n := 0
	for i := range list {
		check, ok := list[i].Body.(care.SetupCheck)
		if !ok {
			continue
		}
		for j := range check.Answers {
			a := &check.Answers[j]
			if a.Taps == nil {
				a.MeasureSD = 0 // a number without its photo is as good as a ruler's
				continue
			}
			if n++; n > mostMeasured {
				return i, care.BadField("entry.setup.answers", "More than {most} sizes are to be measured in photos. Send fewer at once.", mostMeasured)
			}
			at := fmt.Sprintf("entry.setup.answers[%d].taps", j)
			a.Measure = 1 // so that the rules see a size; what it is comes of the photo
			if err := care.CheckEntry(&list[i], s.now()); err != nil {
				return i, err
			}
			if err := s.measureAnswer(ctx, who, &list[i], a, at); err != nil {
				return i, err
			}
		}
	}
	return -1, nil
}

func (s *Server) measureAnswer(ctx context.Context, who care.Actor, e *care.Entry, a *care.SetupAnswer, field string) error {
	p, err := s.followup.Photo(ctx, who, e.BreederID, e.CaseID, a.Taps.Photo)
	if care.IsCode(err, care.NotFound) {
		return care.BadField(field, "The photo has not arrived yet. Send the photo first, then this entry again.")
	}
	if err != nil {
		return err
	}
	picture, done, err := s.pixels(ctx, p.Hash)
	defer done()
	if errors.Is(err, fs.ErrNotExist) {
		return care.BadField(field, "The photo is not there any more. Take a new one, or type the size.")
	}
	if err != nil {
		return err
	}
	q := &measure.Request{Picture: picture, Rim: spots(a.Taps.Rim), Card: spots(a.Taps.Card)}
	if len(q.Card) > 0 {
		q.Reference = measure.BankCard
	}
	if a.Taps.Slot {
		q.Shape = measure.Slot
	}
	got, err := measure.Measure(q)
	var refused *measure.Refusal
	if errors.As(err, &refused) {
		return care.BadField(field, refused.Text)
	}
	if err != nil {
		return fmt.Errorf("measuring in photo %s: %w", p.Hash, err)
	}
	a.Measure, a.MeasureSD = hundredths(got.Width), hundredths(got.PlusMinus/2)
	return nil
}

// pixels are those of a photo's large size, as phones see it. Until done nobody
// else gets any: each takes a core. fs.ErrNotExist: the file is gone.
func (s *Server) pixels(ctx context.Context, hash string) (picture *image.Gray, done func(), err error) {
	select {
	case s.measuring <- struct{}{}:
	case <-ctx.Done():
		return nil, func() {}, ctx.Err()
	}
	done = func() { <-s.measuring }
	blob, err := s.blobs.Open(ctx, photo.Key{Hash: hash, Variant: photo.Large})
	if errors.Is(err, fs.ErrNotExist) {
		s.log.Error("A photo's file is missing. Was the photos folder restored with the database?", "hash", hash)
		return nil, done, err
	}
	if err != nil {
		return nil, done, err
	}
	defer blob.Close()
	img, err := jpeg.Decode(blob)
	if err != nil {
		return nil, done, fmt.Errorf("reading photo %s: %w", hash, err)
	}
	return measure.Luma(img), done, nil
}

// readCard is the code that lies in a photo, as a card's; not found: none that can be read.
func (s *Server) readCard(ctx context.Context, hash string) (code string, found bool, err error) {
	picture, done, err := s.pixels(ctx, hash)
	defer done()
	if errors.Is(err, fs.ErrNotExist) {
		return "", false, care.Missing("photo")
	}
	if err != nil {
		return "", false, err
	}
	c, err := measure.Find(picture)
	if errors.Is(err, measure.ErrNoCode) {
		return "", false, nil
	}
	if err != nil || c.Text == "" {
		return "", false, err
	}
	return c.Text[strings.LastIndexAny(c.Text, "#/")+1:], true, nil // of the link of Server.ClaimURL
}

func hundredths(mm float64) care.Millimetres {
	return care.Millimetres(max(.01, math.Round(mm*100)/100))
}

func spots(list []care.Spot) []measure.Point {
	out := make([]measure.Point, len(list))
	for i, s := range list {
		out[i] = measure.Point{X: s.X, Y: s.Y}
	}
	return out
}
