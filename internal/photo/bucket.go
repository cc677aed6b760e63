package photo

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"net/url"
	"path"
	"strings"

	"gocloud.dev/blob"
	_ "gocloud.dev/blob/s3blob"
	"gocloud.dev/gcerrors"
)

// Blobs is where pictures are kept: a Folder, or a Bucket. Folder says what
// each method does; both behave alike.
type Blobs interface {
	Put(context.Context, Key, io.Reader) error
	Open(context.Context, Key) (*Blob, error)
	Delete(context.Context, Key) error
	List(context.Context) iter.Seq2[Info, error]
	Waiting(temp string) (*Waiting, error)
}

// Bucket keeps pictures in a store that speaks the S3 protocol, under the names
// that Folder gives its files. Several servers may use one.
type Bucket struct{ b *blob.Bucket }

// OpenBucket opens the bucket of an address such as
// s3://name/inner/folder?region=eu-central-1&endpoint=https://s3.example.org&use_path_style=true.
// Keys come from AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY, or wherever else
// the S3 client looks by default. It asks the store once, so that what is wrong
// with the address or the keys is said at the start.
func OpenBucket(ctx context.Context, address string) (*Bucket, error) {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "s3" || u.Host == "" || u.User != nil {
		// The address is not repeated: it may have a key in it.
		return nil, errors.New("the address of the pictures is not of the form s3://bucket?region=...: correct it, and leave keys to AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY")
	}
	inner := strings.Trim(u.Path, "/")
	u.Path = ""
	b, err := blob.OpenBucket(ctx, u.String())
	if err != nil {
		return nil, fmt.Errorf("open the bucket %s: %w", u.Host, err)
	}
	if inner != "" {
		b = blob.PrefixedBucket(b, inner+"/")
	}
	there, err := b.IsAccessible(ctx)
	if err == nil && !there {
		err = errors.New("there is no such bucket: make it first, or check its name and region")
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open the bucket %s: %w", u.Host, err), b.Close())
	}
	return &Bucket{b}, nil
}

// Close ends the connection to the store.
func (b *Bucket) Close() error { return b.b.Close() }

func object(k Key) string { return path.Join(k.Hash[:2], k.String()+suffix) }

// found makes a missing picture fs.ErrNotExist, as it is in a folder.
func found(err error) error {
	if gcerrors.Code(err) == gcerrors.NotFound {
		return errors.Join(fs.ErrNotExist, err)
	}
	return err
}

// Put keeps what r gives; see Folder.Put. A store shows an object when all of
// it has arrived.
func (b *Bucket) Put(ctx context.Context, k Key, r io.Reader) error {
	if err := k.check(); err != nil {
		return err
	}
	if err := b.put(ctx, k, r); err != nil {
		return fmt.Errorf("keep photo %s: %w", k, err)
	}
	return nil
}

func (b *Bucket) put(ctx context.Context, k Key, r io.Reader) error {
	if there, err := b.b.Exists(ctx, object(k)); err != nil || there {
		return err
	}
	ctx, giveUp := context.WithCancel(ctx) // a writer whose context has ended keeps nothing
	defer giveUp()
	w, err := b.b.NewWriter(ctx, object(k), &blob.WriterOptions{ContentType: "image/jpeg", MaxConcurrency: 1})
	if err != nil {
		return err
	}
	sum := sha256.New()
	_, err = io.Copy(io.MultiWriter(w, sum), reader{ctx, r})
	if err == nil && k.Variant == Large && hex.EncodeToString(sum.Sum(nil)) != k.Hash {
		err = ErrWrongContent
	}
	if err != nil {
		giveUp()
		w.Close() //nolint:errcheck // it fails with the context, which is why it is closed
		return err
	}
	return w.Close()
}

// Open opens a picture for reading.
func (b *Bucket) Open(ctx context.Context, k Key) (*Blob, error) {
	if err := k.check(); err != nil {
		return nil, err
	}
	r, err := b.b.NewReader(ctx, object(k), nil)
	if err != nil {
		return nil, fmt.Errorf("open photo %s: %w", k, found(err))
	}
	return &Blob{r, Info{k, r.Size(), r.ModTime()}}, nil
}

// Delete removes a picture. One that is not there is no error.
func (b *Bucket) Delete(ctx context.Context, k Key) error {
	if err := k.check(); err != nil {
		return err
	}
	if err := found(b.b.Delete(ctx, object(k))); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("delete photo %s: %w", k, err)
	}
	return nil
}

// List goes through all pictures; see Folder.List.
func (b *Bucket) List(ctx context.Context) iter.Seq2[Info, error] {
	return func(yield func(Info, error) bool) {
		for list := b.b.List(nil); ; {
			o, err := list.Next(ctx)
			if errors.Is(err, io.EOF) {
				return
			}
			if err != nil {
				yield(Info{}, fmt.Errorf("list photos: %w", err))
				return
			}
			name, ok := strings.CutSuffix(path.Base(o.Key), suffix)
			k, err := ParseKey(name)
			if !ok || err != nil || o.Key != object(k) {
				continue // not ours
			}
			if !yield(Info{k, o.Size, o.ModTime}, nil) {
				return
			}
		}
	}
}
