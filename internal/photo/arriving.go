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
	"path/filepath"
	"strings"
	"time"
)

const (
	// What arrived of an upload is kept this long, so that a phone that lost the
	// line need not begin again. It may still say where it was taken: not longer.
	arrivingAge = time.Hour
	// All of it together takes at most so many bytes; beyond that, whoever was cut
	// off begins again.
	arrivingMost = 256 << 20

	arrivingPrefix = "arriving-"
	spoolPrefix    = "photo-" // what a crash left on the way between the two
)

// OffsetError says that an upload is to go on elsewhere than where the sender
// went on.
type OffsetError struct{ Offset int64 }

func (e *OffsetError) Error() string {
	return fmt.Sprintf("the upload goes on at byte %d", e.Offset)
}

// arriving is where the bytes of an upload wait for the rest. The name may be
// any text; the file's name tells nothing of it.
func (f *Folder) arriving(name string) string {
	sum := sha256.Sum256([]byte(name))
	return filepath.Join(f.Temp(), arrivingPrefix+hex.EncodeToString(sum[:]))
}

// Arrived is how many bytes of an upload wait for the rest.
func (f *Folder) Arrived(name string) (int64, error) {
	info, err := os.Stat(f.arriving(name))
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, fmt.Errorf("look for the rest of a photo: %w", err)
	}
	return info.Size(), nil
}

// Receive is Intake for an upload that comes in pieces, or that was cut off
// and goes on: r gives it from a byte on. Unless this piece is the last, or when r
// fails, what has arrived waits for an hour, and the Picture is nil. A piece
// that does not follow on what waits gives an *OffsetError, and one that begins
// at 0 begins the upload anew. Of two that send the same at once, one is told to
// begin again.
func (f *Folder) Receive(ctx context.Context, name string, from int64, last bool, r io.Reader, lim Limits) (*Picture, error) {
	spool, err := newSpool(f.Temp())
	if err != nil {
		return nil, err
	}
	defer spool.Close()
	if from == 0 {
		if err := os.Remove(f.arriving(name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("begin a photo anew: %w", err)
		}
	} else if err := f.takeUp(name, from, spool); err != nil {
		return nil, err
	}
	refused := spool.fill(ctx, r, lim.orDefaults())
	var e *Error
	switch {
	case errors.As(refused, &e):
		return nil, refused
	case refused != nil || !last:
		if err := f.leave(name, spool); err != nil {
			return nil, errors.Join(refused, err)
		}
		return nil, refused
	}
	return spool.picture(ctx, lim.orDefaults())
}

// takeUp moves what waits of an upload into a spool, if it is as long as the
// sender thinks.
func (f *Folder) takeUp(name string, from int64, s *spool) error {
	// Whoever renames it has it, and nobody else.
	mine := s.name + "-taken"
	err := os.Rename(f.arriving(name), mine)
	if errors.Is(err, fs.ErrNotExist) {
		return &OffsetError{0}
	}
	if err != nil {
		return fmt.Errorf("go on with a photo: %w", err)
	}
	defer os.Remove(mine)
	was, err := os.Open(mine)
	if err != nil {
		return fmt.Errorf("go on with a photo: %w", err)
	}
	defer was.Close()
	info, err := was.Stat()
	if err == nil && info.Size() != from {
		if err := os.Rename(mine, f.arriving(name)); err != nil {
			return fmt.Errorf("go on with a photo: %w", err)
		}
		return &OffsetError{info.Size()}
	}
	if err == nil {
		err = s.copy(was)
	}
	if err != nil {
		return fmt.Errorf("go on with a photo: %w", err)
	}
	return nil
}

// leave keeps what a spool holds for the rest to follow, if there is room.
func (f *Folder) leave(name string, s *spool) error {
	waiting, err := f.sweepArriving(time.Now())
	if err != nil || waiting+s.n > arrivingMost || s.n == 0 {
		return err
	}
	path := s.name + "-left"
	out, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return fmt.Errorf("keep a part of a photo: %w", err)
	}
	defer os.Remove(path) // nothing is there once it has its name
	_, err = io.Copy(out, io.NewSectionReader(s.file, 0, s.n))
	if closed := out.Close(); err == nil {
		err = closed
	}
	if err == nil {
		err = os.Rename(path, f.arriving(name))
	}
	if err != nil {
		return fmt.Errorf("keep a part of a photo: %w", err)
	}
	return nil
}

// Sweep removes what has waited for its rest too long.
func (f *Folder) Sweep(now time.Time) error {
	_, err := f.sweepArriving(now)
	return err
}

// sweepArriving is Sweep, and returns how many bytes wait still.
func (f *Folder) sweepArriving(now time.Time) (waiting int64, err error) {
	files, err := os.ReadDir(f.Temp())
	if err != nil {
		return 0, fmt.Errorf("sweep the photo folder: %w", err)
	}
	for _, file := range files {
		if !strings.HasPrefix(file.Name(), arrivingPrefix) && !strings.HasPrefix(file.Name(), spoolPrefix) {
			continue
		}
		info, err := file.Info()
		if err == nil && now.Sub(info.ModTime()) > arrivingAge {
			err = os.Remove(filepath.Join(f.Temp(), file.Name()))
		} else if err == nil {
			waiting += info.Size()
		}
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return 0, fmt.Errorf("sweep the photo folder: %w", err)
		}
	}
	return waiting, nil
}

// spool is an upload on the disk. Its file has no name: even a crash leaves no
// picture with its place behind.
type spool struct {
	file *os.File
	name string // that the file had, for others beside it
	n    int64  // bytes
	sum  hash.Hash
}

func newSpool(dir string) (*spool, error) {
	f, err := os.CreateTemp(dir, spoolPrefix+"*")
	if err != nil {
		return nil, fmt.Errorf("spool a photo: %w", err)
	}
	if err := os.Remove(f.Name()); err != nil {
		f.Close()
		return nil, fmt.Errorf("spool a photo: %w", err)
	}
	return &spool{file: f, name: f.Name(), sum: sha256.New()}, nil
}

func (s *spool) Close() error { return s.file.Close() }

func (s *spool) copy(r io.Reader) error {
	n, err := io.Copy(io.MultiWriter(s.file, s.sum), r)
	s.n += n
	return err
}

// fill takes in what r gives, and one byte more than the limit at most.
func (s *spool) fill(ctx context.Context, r io.Reader, lim Limits) error {
	err := s.copy(io.LimitReader(reader{ctx, r}, lim.Bytes+1-s.n))
	switch {
	case err != nil:
		return fmt.Errorf("receive a photo: %w", err)
	case s.n > lim.Bytes:
		return refuse(TooLarge, "", "This photo is larger than %d MB. Please send a smaller copy of it.", lim.Bytes>>20)
	case s.n == 0:
		return refuse(Empty, "", "Nothing arrived. Please choose the photo again.")
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
