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
	// All of it together takes at most so many bytes and pieces; beyond that, whoever
	// was cut off begins again.
	arrivingMost   = 256 << 20
	arrivingPieces = 5000
	// leaveTime is how long a piece may take to be kept after its sender is gone.
	leaveTime = 20 * time.Second

	arrivingBegin = "arriving/"
)

// OffsetError says that an upload is to go on elsewhere than where the sender
// went on.
type OffsetError struct{ Offset int64 }

func (e *OffsetError) Error() string {
	return fmt.Sprintf("the upload goes on at byte %d", e.Offset)
}

// arriving is where the pieces of an upload wait for the rest, each named by the byte
// that it begins with. The upload's name may be any text; this one tells nothing of it.
func arriving(name string) string {
	sum := sha256.Sum256([]byte(name))
	return arrivingBegin + hex.EncodeToString(sum[:]) + "-"
}

func piece(name string, from int64) string { return arriving(name) + fmt.Sprintf("%012d", from) }

// Arrived is how many bytes of an upload wait for the rest.
func (w *Waiting) Arrived(ctx context.Context, name string) (n int64, err error) {
	for p, err := range w.List(ctx, arriving(name)) {
		if err != nil {
			return 0, err
		}
		if p.Name == piece(name, n) { // what lies after a gap is of an upload before
			n += p.Size
		}
	}
	return n, nil
}

// Forget removes what has arrived of an upload.
func (w *Waiting) Forget(ctx context.Context, name string) error {
	for p, err := range w.List(ctx, arriving(name)) {
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
// at 0 begins the upload anew. What has arrived of a picture stays until it is
// forgotten, which is for when the picture is kept.
func (w *Waiting) Receive(ctx context.Context, name string, from int64, last bool, r io.Reader, lim Limits) (*Picture, error) {
	lim = lim.orDefaults()
	spool, err := newSpool(w.temp)
	if err != nil {
		return nil, err
	}
	defer spool.Close()
	if from > 0 {
		arrived, err := w.Arrived(ctx, name)
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
			err := w.copyTo(ctx, spool, piece(name, spool.n))
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
		return nil, errors.Join(err, w.Forget(ctx, name))
	case p == nil: // more is to follow, or follows again
		return nil, errors.Join(err, w.leave(ctx, name, from, io.NewSectionReader(spool.file, begin, spool.n-begin)))
	}
	return p, nil
}

// leave keeps a piece for the rest to follow, if there is room, even when its sender
// has hung up.
func (w *Waiting) leave(ctx context.Context, name string, from int64, r *io.SectionReader) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), leaveTime)
	defer cancel()
	if from == 0 {
		if err := w.Forget(ctx, name); err != nil {
			return err
		}
	}
	bytes, pieces, err := w.sweep(ctx, time.Now())
	if err != nil || r.Size() == 0 || bytes+r.Size() > arrivingMost || pieces == arrivingPieces {
		return err
	}
	return w.Put(ctx, piece(name, from), r)
}

// Sweep removes uploads that have waited for their rest too long.
func (w *Waiting) Sweep(ctx context.Context, now time.Time) error {
	_, _, err := w.sweep(ctx, now)
	return err
}

// sweep is Sweep, and returns how much waits still.
func (w *Waiting) sweep(ctx context.Context, now time.Time) (bytes int64, pieces int, err error) {
	var of []Waits // one upload's
	done := func() error {
		var newest time.Time
		for _, p := range of {
			if newest.Before(p.Since) {
				newest = p.Since
			}
		}
		for _, p := range of {
			if now.Sub(newest) > arrivingAge {
				if err := w.Delete(ctx, p.Name); err != nil {
					return err
				}
				continue
			}
			bytes, pieces = bytes+p.Size, pieces+1
		}
		of = nil
		return nil
	}
	for p, err := range w.List(ctx, arrivingBegin) {
		if upload, _, _ := strings.Cut(p.Name, "-"); err == nil && len(of) > 0 && !strings.HasPrefix(of[0].Name, upload) {
			err = done()
		}
		if err != nil {
			return 0, 0, fmt.Errorf("sweep what arrives: %w", err)
		}
		of = append(of, p)
	}
	if err := done(); err != nil {
		return 0, 0, fmt.Errorf("sweep what arrives: %w", err)
	}
	return bytes, pieces, nil
}

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
