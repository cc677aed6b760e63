package photo

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"

	"warmhand/internal/words"
)

const (
	// What arrived of an upload is kept this long, so that a phone that lost the
	// line need not begin again. It may still say where it was taken: not longer.
	arrivingAge = time.Hour
	// leaveTime is how long a piece may take to be kept after its sender is gone.
	leaveTime = 20 * time.Second

	// What one sender has begun, and what was begun for one thing, is so much at most. A phone
	// that is cut off again and again begins one picture of each animal, of half a
	// megabyte; a program some of the largest side by side.
	begunEach  = 24
	begunBytes = 64 << 20
	// What all have begun together, so that it finds room on the disk.
	begunOfAll = 1 << 30
	// A piece counts as so many bytes at least: small ones are as much to look through.
	pieceLeast = 32 << 10

	arrivingBegin = "arriving/"
)

// Upload names a picture that comes in pieces, by any three texts: who sends it, what it
// is for, and its own name there. What waits tells nothing of them.
type Upload struct{ Who, For, Name string }

// FullError says that too much has been begun and not finished: by who sends the upload or
// for what it is for, or, with OfAll, by everybody together.
type FullError struct{ OfAll bool }

func (e *FullError) Error() string {
	if e.OfAll {
		return "too many uploads have been begun, by everybody together"
	}
	return "too many uploads have been begun by this sender, or for the same"
}

// ErrAnew is what a reader gives when the same upload is sent anew: nothing of this one is
// left then, so that it is not in the other's way.
var ErrAnew = errors.New("the upload is sent anew")

// OffsetError says that an upload is to go on elsewhere than where the sender
// went on.
type OffsetError struct{ Offset int64 }

func (e *OffsetError) Error() string {
	return fmt.Sprintf("the upload goes on at byte %d", e.Offset)
}

// names are what the pieces of an upload, its sender's and those for the same are named
// with: its own names begin with all three.
func (u Upload) names() (who, what, name string) {
	short := func(text string) string {
		sum := sha256.Sum256([]byte(text))
		return hex.EncodeToString(sum[:16])
	}
	return short(u.Who), short(u.For), short(u.Name)
}

// pieces is how the names begin under which the pieces of an upload wait for the rest.
func (u Upload) pieces() string {
	who, what, name := u.names()
	return arrivingBegin + who + "-" + what + "-" + name + "-"
}

// piece is the name of the piece that begins with this byte.
func (u Upload) piece(from int64) string { return u.pieces() + fmt.Sprintf("%012d", from) }

// Arrived is how many bytes of an upload wait for the rest.
func (w *Waiting) Arrived(ctx context.Context, u Upload) (n int64, err error) {
	for p, err := range w.List(ctx, u.pieces()) {
		if err != nil {
			return 0, err
		}
		if p.Name == u.piece(n) { // what lies after a gap is of an upload before
			n += p.Size
		}
	}
	return n, nil
}

// Forget removes what has arrived of an upload.
func (w *Waiting) Forget(ctx context.Context, u Upload) error {
	for p, err := range w.List(ctx, u.pieces()) {
		if err == nil {
			err = w.Delete(ctx, p.Name)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// Receive is Intake for an upload that comes in pieces, or that was cut off
// and goes on: r gives it from a byte on. Unless this piece is the last, or when r
// fails, what has arrived waits for an hour, and the Picture is nil. A piece
// that does not follow on what waits gives an *OffsetError, and one that begins
// at 0 begins the upload anew; where no more may be begun, or wait, it gives a *FullError,
// and what arrived before stays. What has arrived of a picture stays until it is
// forgotten, which is for when the picture is kept.
func (w *Waiting) Receive(ctx context.Context, u Upload, from int64, last bool, r io.Reader, lim Limits) (*Picture, error) {
	lim = lim.orDefaults()
	if from == 0 && !last { // before anything is read
		if err := w.room(ctx, u, from, 0); err != nil {
			return nil, err
		}
	}
	spool, err := newSpool(w.temp)
	if err != nil {
		return nil, err
	}
	defer spool.Close()
	if from > 0 {
		arrived, err := w.Arrived(ctx, u)
		if err == nil && arrived != from {
			err = &OffsetError{arrived}
		}
		if err != nil {
			return nil, err
		}
	}
	before := from // bytes that are not in the spool
	if last {
		for before = 0; spool.n < from; {
			err := w.copyTo(ctx, spool, u.piece(spool.n))
			if errors.Is(err, fs.ErrNotExist) || err == nil && spool.n > from {
				err = &OffsetError{0} // meanwhile it was begun anew
			}
			if err != nil {
				return nil, err
			}
		}
	}
	begin := spool.n
	var p *Picture
	if err = spool.fill(ctx, r, lim, before); err == nil && last {
		p, err = spool.picture(ctx, lim)
	}
	var refused *Error
	switch {
	case errors.As(err, &refused):
		return nil, errors.Join(err, w.Forget(ctx, u))
	case errors.Is(err, ErrAnew):
		return nil, err
	case p == nil: // more is to follow, or follows again
		return nil, errors.Join(err, w.leave(ctx, u, from, io.NewSectionReader(spool.file, begin, spool.n-begin)))
	}
	return p, nil
}

// leave keeps a piece for the rest to follow, if there is room, even when its sender
// has hung up.
func (w *Waiting) leave(ctx context.Context, u Upload, from int64, r *io.SectionReader) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), leaveTime)
	defer cancel()
	if r.Size() == 0 {
		return nil
	}
	if err := w.room(ctx, u, from, r.Size()); err != nil {
		return err
	}
	if from == 0 {
		if err := w.Forget(ctx, u); err != nil {
			return err
		}
	}
	return w.Put(ctx, u.piece(from), r)
}

// room gives a *FullError where a piece of so many bytes is not to wait.
func (w *Waiting) room(ctx context.Context, u Upload, from, size int64) error {
	all, err := w.sweep(ctx, time.Now())
	if err != nil {
		return err
	}
	return roomAmong(all, u, from, size)
}

// roomAmong is room beside all that waits. Of those that were begun, the one that is
// furthest goes on, whatever the others hold, so that one is finished and makes room.
func roomAmong(all []begun, u Upload, from, size int64) error {
	who, what, _ := u.names()
	pieces := u.pieces()
	for _, bound := range []struct {
		begun int // 0 for any number
		bytes int64
		in    func(begun) bool
	}{
		{begunEach, begunBytes, func(b begun) bool { return b.who == who }},
		{begunEach, begunBytes, func(b begun) bool { return b.what == what }},
		{0, begunOfAll, func(begun) bool { return true }},
	} {
		var own, first begun
		var others int
		bytes := max(size, pieceLeast)
		for _, b := range all {
			mine := b.pieces == pieces
			switch {
			case !bound.in(b), mine && from == 0: // it is begun anew
				continue
			case mine:
				own = b
			default:
				others++
			}
			bytes += b.bytes
			if b.bytes > first.bytes || b.bytes == first.bytes && b.pieces < first.pieces {
				first = b
			}
		}
		furthest := from > 0 && own.pieces == first.pieces && own.bytes <= begunBytes
		if from == 0 && bound.begun > 0 && others >= bound.begun || bytes > bound.bytes && !furthest {
			return &FullError{OfAll: bound.begun == 0}
		}
	}
	return nil
}

// begun is an upload that waits for its rest.
type begun struct {
	pieces    string // how their names begin
	who, what string // of Upload.names
	bytes     int64  // as they count
}

// Sweep removes uploads that have waited for their rest too long.
func (w *Waiting) Sweep(ctx context.Context, now time.Time) error {
	_, err := w.sweep(ctx, now)
	return err
}

// sweep is Sweep, and returns what waits still.
func (w *Waiting) sweep(ctx context.Context, now time.Time) (all []begun, err error) {
	var of []Waits // one upload's
	done := func() error {
		var b begun
		var newest time.Time
		for _, p := range of {
			if newest.Before(p.Since) {
				newest = p.Since
			}
			b.bytes += max(p.Size, pieceLeast)
		}
		if now.Sub(newest) > arrivingAge {
			for _, p := range of {
				if err := w.Delete(ctx, p.Name); err != nil {
					return err
				}
			}
		} else {
			b.pieces = uploadOf(of[0].Name)
			if parts := strings.Split(strings.TrimPrefix(b.pieces, arrivingBegin), "-"); len(parts) > 2 {
				b.who, b.what = parts[0], parts[1]
			}
			all = append(all, b)
		}
		of = nil
		return nil
	}
	for p, err := range w.List(ctx, arrivingBegin) {
		if err == nil && len(of) > 0 && uploadOf(of[0].Name) != uploadOf(p.Name) {
			err = done()
		}
		if err != nil {
			return nil, fmt.Errorf("sweep what arrives: %w", err)
		}
		of = append(of, p)
	}
	if len(of) > 0 {
		if err := done(); err != nil {
			return nil, fmt.Errorf("sweep what arrives: %w", err)
		}
	}
	return all, nil
}

// uploadOf is how the names of the pieces of the upload begin that this one belongs to.
func uploadOf(piece string) string { return piece[:strings.LastIndexByte(piece, '-')+1] }

// spool is an upload on the disk. Its file has no name: even a crash leaves no
// picture with its place behind.
type spool struct {
	file *os.File
	n    int64 // bytes
	sum  hash.Hash
}

func newSpool(dir string) (*spool, error) {
	f, err := spoolFile(dir)
	if err != nil {
		return nil, err
	}
	return &spool{file: f, sum: sha256.New()}, nil
}

func (s *spool) Close() error { return s.file.Close() }

func (s *spool) Write(b []byte) (int, error) {
	n, err := s.file.Write(b)
	s.n += int64(n)
	s.sum.Write(b[:n])
	return n, err
}

// fill takes in what r gives, and one byte more than the limit at most, with what was
// before.
func (s *spool) fill(ctx context.Context, r io.Reader, lim Limits, before int64) error {
	_, err := io.Copy(s, io.LimitReader(reader{ctx, r}, lim.Bytes+1-before-s.n))
	switch {
	case err != nil:
		return fmt.Errorf("receive a photo: %w", err)
	case before+s.n > lim.Bytes:
		return refuse(TooLarge, "", words.Say("This photo is larger than {most} MB. Please send a smaller copy of it.", int(lim.Bytes>>20)))
	case before+s.n == 0:
		return refuse(Empty, "", words.Say("Nothing arrived. Please choose the photo again."))
	}
	return nil
}

// picture makes the picture of an upload that is whole.
func (s *spool) picture(ctx context.Context, lim Limits) (*Picture, error) {
	h, err := readHead(s.file, s.n)
	if err != nil {
		return nil, err
	}
	if err := h.check(lim); err != nil {
		return nil, err
	}
	p, err := render(ctx, h, lim.Time)
	if err != nil {
		return nil, err
	}
	p.UploadHash, p.UploadBytes = hex.EncodeToString(s.sum.Sum(nil)), s.n
	return p, nil
}
