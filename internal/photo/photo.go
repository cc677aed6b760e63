// Package photo takes in a picture that somebody else's device made and turns
// it into two small pictures that are safe to keep: upright, bounded in size
// and without any metadata. It also keeps such pictures on disk under a name
// made from their content.
//
// # What the bounds rest on
//
// Memory is decided from the header, before any pixel is decoded. Each decoder
// has a known need in bytes for a pixel:
//
//	JPEG sequential   1 byte a sample: 4:2:0 1.5, 4:2:2 2, 4:4:4 3
//	JPEG progressive  5 bytes a sample (int32 coefficients beside the samples): 4:2:0 7.5, 4:4:4 15
//	JPEG RGB, CMYK    4 more for the converted copy
//	PNG               palette 1, up to 8 bits a channel 4, 16 bits 8; half as much again if interlaced
//	WebP lossy        1.5, and the whole file
//
// The shrunk picture, its turned copy and its brightness add 9 bytes for each
// of at most 1600 × 1600 pixels (23 MB). One budget of 116 MiB serves the whole
// process: a picture waits until its share is free, and one that needs more
// than everything is refused. So 24 million pixels pass as a PNG with alpha,
// 12 million as a progressive 4:2:0 JPEG, 50 million as what cameras write.
//
// Lossless WebP is refused: the tables its decoder builds can reach 120 MB
// for a picture of a few pixels, and nothing in the header tells.
package photo

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"runtime"
	"strings"
	"time"

	"golang.org/x/sync/semaphore"

	"warmhand/internal/words"
)

// The longest side in pixels of the two pictures that are kept.
const (
	LargeSide = 1600
	SmallSide = 320
)

const (
	quality = 85 // of the JPEGs that are kept, 1 to 100

	decodeBudget = 116 << 20 // bytes, see the package comment
	collectFrom  = 8 << 20   // bytes; pictures that need more collect garbage first
)

// decoding is the process-wide budget in bytes.
var decoding = semaphore.NewWeighted(decodeBudget)

// Limits bound what Intake accepts. A zero field means its default.
type Limits struct {
	Bytes  int64 // size of the upload; default 25 MiB
	Pixels int64 // width × height; default 50 Mi, the largest common phone sensor
	Side   int   // the longer of width and height in pixels; default 12000
	// Time is the most that decoding may take once its turn has come; default 20 s.
	// A 50 million pixel JPEG takes about one.
	Time time.Duration
}

func (l Limits) orDefaults() Limits {
	if l.Bytes <= 0 {
		l.Bytes = 25 << 20
	}
	if l.Pixels <= 0 {
		l.Pixels = 50 << 20
	}
	if l.Side <= 0 {
		l.Side = 12000
	}
	if l.Time <= 0 {
		l.Time = 20 * time.Second
	}
	return l
}

// Code is the class of an Error, stable across versions.
type Code string

// The classes.
const (
	Empty             Code = "empty"
	TooLarge          Code = "too_large"
	NotAPicture       Code = "not_a_picture"
	UnsupportedFormat Code = "unsupported_format" // Error.Format names it
	TooManyPixels     Code = "too_many_pixels"
	Damaged           Code = "damaged"
	TooSlow           Code = "too_slow"
)

// Error says why a picture was refused. Message is for the person who sent it
// and says what to do; the cause, if any, is for the log.
type Error struct {
	Code    Code
	Field   string // always "photo"
	Message words.Text
	Format  string // "heic", "gif", …; empty if unknown
	cause   error
}

func (e *Error) Error() string {
	if e.cause == nil {
		return fmt.Sprintf("%s (%s): %s", e.Field, e.Code, e.Message)
	}
	return fmt.Sprintf("%s (%s): %s [%v]", e.Field, e.Code, e.Message, e.cause)
}

func (e *Error) Unwrap() error { return e.cause }

func refuse(code Code, format string, message words.Text) *Error {
	return &Error{Code: code, Field: "photo", Format: format, Message: message}
}

func damaged(format string, cause error) *Error {
	e := refuse(Damaged, format, words.Say("This photo did not arrive whole, or its file is damaged. Please send it again; if that does not help, take a new one."))
	e.cause = cause
	return e
}

// Picture is what Intake made of an upload.
type Picture struct {
	Large []byte // baseline JPEG, upright, no metadata, at most LargeSide
	Small []byte // the same, at most SmallSide
	Hash  string // hex SHA-256 of Large; with a Variant it is the Key to keep it under

	UploadHash    string // hex SHA-256 of the bytes that came in
	UploadBytes   int64
	Format        string // "jpeg", "png" or "webp"
	Width, Height int    // pixels of the upload, upright

	Taken *Taken // when the camera says it was taken; nil if it does not say

	Luma      float64 // mean brightness of Large, 0 (black) to 255 (white)
	Sharpness float64 // variance of the Laplacian of Large; higher is sharper

	// Hints to show beside the picture, never a reason to refuse it. An empty
	// wall looks like blur, and noise in the dark looks sharp, so a dark
	// picture is never called blurred.
	Dark, Blurred bool
}

// Intake reads one picture from r and returns it in the sizes to keep. It
// reads at most one byte more than the limit, spools to a file in dir that is
// gone when it returns, and waits for its share of the memory budget.
// A picture that cannot be used gives an *Error; any other error comes from
// r, from dir or from ctx.
//
// Colours are taken as sRGB: an embedded profile is dropped with the rest of
// the metadata. Transparent parts become white.
func Intake(ctx context.Context, r io.Reader, lim Limits, dir string) (*Picture, error) {
	lim = lim.orDefaults()
	spool, err := newSpool(dir)
	if err != nil {
		return nil, err
	}
	defer spool.Close()
	if err := spool.fill(ctx, r, lim, 0); err != nil {
		return nil, err
	}
	return spool.picture(ctx, lim)
}

// check refuses what the limits or the memory budget do not allow.
func (h *head) check(lim Limits) error {
	if h.width < 1 || h.height < 1 {
		return damaged(h.format, fmt.Errorf("size %d × %d", h.width, h.height))
	}
	if max(h.width, h.height) > lim.Side || int64(h.width)*int64(h.height) > lim.Pixels {
		return refuse(TooManyPixels, h.format, words.Say("This photo is {width} × {height} pixels; the most is {most} million in all and {side} on one side. Please send a smaller copy of it.",
			h.width, h.height, int(lim.Pixels/1e6), lim.Side))
	}
	if h.need() > decodeBudget {
		return refuse(TooManyPixels, h.format, words.Say("This photo of {width} × {height} pixels takes too much memory to open the way it is saved. Please send it as an ordinary JPEG, or a copy of at most 6 million pixels.",
			h.width, h.height))
	}
	return nil
}

// need is the most memory in bytes that render takes.
func (h *head) need() int64 {
	kept := min(int64(h.width)*int64(h.height), LargeSide*LargeSide)
	return h.decodeBytes + 9*kept
}

// render decodes the whole picture and makes everything that is kept of it.
func render(ctx context.Context, h *head, most time.Duration) (*Picture, error) {
	if err := decoding.Acquire(ctx, h.need()); err != nil {
		return nil, fmt.Errorf("wait to decode a photo: %w", err)
	}
	defer decoding.Release(h.need())
	if h.need() > collectFrom {
		// The budget counts what is alive. Without this, the pictures decoded
		// before are still in the heap and the real peak is twice as high.
		runtime.GC()
	}
	// Decoders stop where they read, and they read in pieces of a few kilobytes.
	timed, stop := context.WithTimeout(ctx, most)
	defer stop()
	img, err := h.decodeSafely(reader{timed, h.data})
	if ctx.Err() != nil {
		return nil, fmt.Errorf("decode a photo: %w", ctx.Err())
	}
	if err != nil && timed.Err() != nil {
		return nil, refuse(TooSlow, h.format, words.Say("This photo takes too long to open the way it is saved. Please send it as an ordinary JPEG, or a smaller copy of it."))
	}
	if err != nil {
		return nil, decodeError(h.format, err)
	}

	orientation, taken := readExif(h.exif)
	large := upright(shrink(img, LargeSide), orientation)
	p := &Picture{Format: h.format, Width: h.width, Height: h.height, Taken: taken}
	if orientation >= 5 {
		p.Width, p.Height = h.height, h.width
	}
	if p.Large, err = encode(large); err != nil {
		return nil, err
	}
	if p.Small, err = encode(shrink(large, SmallSide)); err != nil {
		return nil, err
	}
	hash := sha256.Sum256(p.Large)
	p.Hash = hex.EncodeToString(hash[:])
	p.Luma, p.Sharpness = measure(brightness(large))
	p.Dark = p.Luma < darkBelow
	p.Blurred = !p.Dark && p.Sharpness < blurredBelow
	return p, nil
}

// decodeSafely turns a panic of a decoder on hostile bytes into an error.
func (h *head) decodeSafely(r io.Reader) (img image.Image, err error) {
	defer func() {
		if v := recover(); v != nil {
			err = fmt.Errorf("the %s decoder panicked: %v", h.format, v)
		}
	}()
	return h.decode(r)
}

// decodeError names what a decoder or a header reader found wrong.
func decodeError(format string, err error) error {
	var unusualJPEG jpeg.UnsupportedError
	var unusualPNG png.UnsupportedError
	if errors.As(err, &unusualJPEG) || errors.As(err, &unusualPNG) {
		e := refuse(UnsupportedFormat, format, words.Say("This is an unusual kind of {format} that cannot be opened here. Please save it again as an ordinary JPEG, or send a screenshot of it.", strings.ToUpper(format)))
		e.cause = err
		return e
	}
	return damaged(format, err)
}

// encode writes a baseline JPEG without any metadata segment.
func encode(img image.Image) ([]byte, error) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
		return nil, fmt.Errorf("encode a photo: %w", err)
	}
	return b.Bytes(), nil
}

// reader stops reading when its context ends.
type reader struct {
	ctx context.Context
	r   io.Reader
}

func (r reader) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	return r.r.Read(p)
}
