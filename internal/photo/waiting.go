package photo

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"time"

	"gocloud.dev/blob"
	"gocloud.dev/blob/fileblob"
)

// Waiting keeps what has come in and is not taken yet, such as pieces of pictures, by
// names like "imports/list-1". It is where the pictures are, so that every server that
// has those finds it, too. What is the newer under one name replaces the older.
type Waiting struct {
	b     *blob.Bucket
	under string // of all names
	temp  string
}

// Waits is something that waits.
type Waits struct {
	Name  string
	Size  int64     // bytes
	Since time.Time // by the clock of where it is kept
}

// waitingDir is where things wait, in a folder or a bucket.
const waitingDir = "waiting"

// Waiting is what waits beside the pictures; temp is a folder for what a call needs
// meanwhile.
func (f *Folder) Waiting(temp string) (*Waiting, error) {
	b, err := fileblob.OpenBucket(filepath.Join(f.dir, waitingDir), &fileblob.Options{CreateDir: true, DirFileMode: 0o700, NoTempDir: true, Metadata: fileblob.MetadataDontWrite})
	if err != nil {
		return nil, fmt.Errorf("open the folder of what waits: %w", err)
	}
	return &Waiting{b: b, temp: temp}, nil
}

// Waiting is what waits beside the pictures; see Folder.Waiting.
func (b *Bucket) Waiting(temp string) (*Waiting, error) {
	return &Waiting{b.b, waitingDir + "/", temp}, nil
}

// Put keeps what r gives; nothing of it can be seen when it returns an error.
func (w *Waiting) Put(ctx context.Context, name string, r io.Reader) error {
	if err := w.put(ctx, name, r); err != nil {
		return fmt.Errorf("keep %s: %w", name, err)
	}
	return nil
}

func (w *Waiting) put(ctx context.Context, name string, r io.Reader) error {
	ctx, giveUp := context.WithCancel(ctx) // a writer whose context has ended keeps nothing
	defer giveUp()
	out, err := w.b.NewWriter(ctx, w.under+name, &blob.WriterOptions{ContentType: "application/octet-stream", MaxConcurrency: 1})
	if err != nil {
		return err
	}
	if _, err := io.Copy(out, reader{ctx, r}); err != nil {
		giveUp()
		out.Close() //nolint:errcheck // it fails with the context, which is why it is closed
		return err
	}
	return out.Close()
}

// Open copies what waits into a file without a name, from which it is read at any
// place. The caller closes it. What is not there gives fs.ErrNotExist.
func (w *Waiting) Open(ctx context.Context, name string) (*os.File, error) {
	f, err := w.Spool()
	if err != nil {
		return nil, err
	}
	if err := w.copyTo(ctx, f, name); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, errors.Join(fmt.Errorf("open %s: %w", name, err), f.Close())
	}
	return f, nil
}

func (w *Waiting) copyTo(ctx context.Context, out io.Writer, name string) error {
	if err := w.b.Download(ctx, w.under+name, out, nil); err != nil {
		return fmt.Errorf("open %s: %w", name, found(err))
	}
	return nil
}

// Delete removes what waits. What is not there is no error.
func (w *Waiting) Delete(ctx context.Context, name string) error {
	if err := found(w.b.Delete(ctx, w.under+name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("delete %s: %w", name, err)
	}
	return nil
}

// List goes through what waits under names that begin with these, in their order.
func (w *Waiting) List(ctx context.Context, begin string) iter.Seq2[Waits, error] {
	return func(yield func(Waits, error) bool) {
		for list := w.b.List(&blob.ListOptions{Prefix: w.under + begin}); ; {
			o, err := list.Next(ctx)
			if errors.Is(err, io.EOF) {
				return
			}
			if err != nil {
				yield(Waits{}, fmt.Errorf("list what waits: %w", err))
				return
			}
			if !yield(Waits{strings.TrimPrefix(o.Key, w.under), o.Size, o.ModTime}, nil) {
				return
			}
		}
	}
}

// Spool makes a file without a name, which is gone with the last who has it open, even
// after a crash.
func (w *Waiting) Spool() (*os.File, error) { return spoolFile(w.temp) }

func spoolFile(dir string) (*os.File, error) {
	f, err := os.CreateTemp(dir, "spool-*")
	if err != nil {
		return nil, fmt.Errorf("spool what comes in: %w", err)
	}
	if err := os.Remove(f.Name()); err != nil {
		return nil, errors.Join(fmt.Errorf("spool what comes in: %w", err), f.Close())
	}
	return f, nil
}
