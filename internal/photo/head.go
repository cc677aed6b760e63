package photo

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"math"
	"strings"

	"golang.org/x/image/vp8"

	"warmhand/internal/words"
)

const (
	maxExif = 64 << 10 // bytes; the size of a JPEG segment, more than EXIF needs
	// A progressive JPEG may redraw the whole picture in 20 bytes, again and
	// again. Encoders write about ten scans (memory of the author, no source).
	maxScans = 100
)

// head is what is known of a picture before it is decoded.
type head struct {
	format        string
	width, height int    // pixels, as stored
	decodeBytes   int64  // most memory that decode takes
	exif          []byte // TIFF bytes, or nil
	data          io.Reader
	decode        func(io.Reader) (image.Image, error)
}

// readHead tells the format by content and reads its header.
func readHead(f io.ReaderAt, size int64) (*head, error) {
	start := make([]byte, 64)
	n, err := f.ReadAt(start, 0)
	if err != nil && err != io.EOF {
		return nil, fmt.Errorf("read a spooled photo: %w", err)
	}
	start = start[:n]
	h := &head{format: sniff(start), data: whole(f, size)}
	switch h.format {
	case "jpeg":
		err = h.readJPEG(f, size)
	case "png":
		err = h.readPNG(f, size)
	case "webp":
		err = h.readWebP(f, size)
	case "heic", "avif":
		return nil, refuse(UnsupportedFormat, h.format, words.Say("The camera saved this photo as {format}, which cannot be opened here. Please set the camera to save JPEG, often called the most compatible format, and take it again, or send a screenshot of the photo.",
			strings.ToUpper(h.format)))
	case "":
		return nil, refuse(NotAPicture, "", words.Say("This file is not a picture. Please send a photo as JPEG, PNG or WebP."))
	case "video":
		return nil, refuse(NotAPicture, "video", words.Say("This file is a film. Please send a photo as JPEG, PNG or WebP."))
	default:
		return nil, refuse(UnsupportedFormat, h.format, words.Say("A {format} file cannot be opened here. Please send a photo as JPEG, PNG or WebP.", strings.ToUpper(h.format)))
	}
	var refused *Error
	switch {
	case errors.As(err, &refused):
		return nil, refused
	case err != nil:
		return nil, decodeError(h.format, err)
	}
	return h, nil
}

func whole(f io.ReaderAt, size int64) *bufio.Reader {
	return bufio.NewReaderSize(io.NewSectionReader(f, 0, size), 64<<10)
}

// sniff names the format of a file from its first bytes, or returns "".
func sniff(b []byte) string {
	at := func(i int, s string) bool { return len(b) >= i && bytes.HasPrefix(b[i:], []byte(s)) }
	switch {
	case at(0, "\xff\xd8\xff"):
		return "jpeg"
	case at(0, "\x89PNG\r\n\x1a\n"):
		return "png"
	case at(0, "RIFF") && at(8, "WEBP"):
		return "webp"
	case at(4, "ftyp"): // ISO 14496-12: the brand, a version, then compatible brands
		brands := string(b[8:])
		for _, brand := range []string{"avif", "avis"} {
			if strings.Contains(brands, brand) {
				return "avif"
			}
		}
		for _, brand := range []string{"heic", "heix", "heim", "heis", "hevc", "hevx", "mif1", "msf1"} {
			if strings.Contains(brands, brand) {
				return "heic"
			}
		}
		return "video"
	case at(0, "GIF8"):
		return "gif"
	case at(0, "BM") && at(6, "\x00\x00\x00\x00"):
		return "bmp"
	case at(0, "II*\x00"), at(0, "MM\x00*"):
		return "tiff"
	case at(0, "%PDF"):
		return "pdf"
	case at(0, "\xff\x0a"), at(0, "\x00\x00\x00\x0cJXL "):
		return "jxl"
	}
	return ""
}

// readJPEG walks the segments the way image/jpeg does, so that both see the
// same frame header, and to the end, so that a cut file is noticed here.
func (h *head) readJPEG(f io.ReaderAt, size int64) error {
	h.decode = jpeg.Decode
	conf, err := jpeg.DecodeConfig(whole(f, size))
	if err != nil {
		return err
	}
	r := whole(f, size)
	var frame []byte
	progressive := false
	scans := 0
	var two [2]byte
	if _, err := io.ReadFull(r, two[:]); err != nil { // start of image
		return err
	}
walk:
	for {
		marker, err := nextMarker(r)
		if err != nil {
			return err
		}
		switch {
		case marker == 0xd9: // end of image; phones may append more
			break walk
		case 0xd0 <= marker && marker <= 0xd7: // restart, has no length
			continue
		}
		if _, err := io.ReadFull(r, two[:]); err != nil {
			return err
		}
		n := int(binary.BigEndian.Uint16(two[:])) - 2
		if n < 0 {
			return jpeg.FormatError("short segment")
		}
		switch {
		case 0xc0 <= marker && marker <= 0xc2: // frame: sequential, extended, progressive
			if frame != nil {
				return jpeg.FormatError("second frame")
			}
			progressive = marker == 0xc2
			if frame, err = take(r, n); err != nil {
				return err
			}
		case marker == 0xe1 && h.exif == nil: // APP1: EXIF or XMP
			b, err := take(r, n)
			if err != nil {
				return err
			}
			if tiff, ok := bytes.CutPrefix(b, []byte("Exif\x00\x00")); ok {
				h.exif = tiff
			}
		default:
			if marker == 0xda { // start of scan
				if scans++; scans > maxScans {
					return jpeg.FormatError("too many scans")
				}
			}
			if _, err := r.Discard(n); err != nil {
				return err
			}
		}
	}

	// frame: precision, height, width, components, then (id, sampling, table) each.
	if len(frame) < 6 || len(frame) < 6+3*int(frame[5]) {
		return jpeg.FormatError("short frame header")
	}
	h.height = int(binary.BigEndian.Uint16(frame[1:]))
	h.width = int(binary.BigEndian.Uint16(frame[3:]))
	if h.width != conf.Width || h.height != conf.Height {
		return jpeg.FormatError("two frame headers")
	}
	var samples int64
	components := int(frame[5])
	across, down := int64(frame[7]>>4), int64(frame[7]&15)
	if components == 1 {
		across, down = 1, 1 // ITU T.81 A.2.2: one component is never interleaved
	}
	if across == 0 || down == 0 {
		return jpeg.FormatError("no sampling factor")
	}
	blocks := ceil(h.width, 8*across) * ceil(h.height, 8*down)
	for i := range components {
		hv := int64(frame[7+3*i])
		if components == 1 {
			hv = 0x11
		}
		samples += blocks * 64 * (hv >> 4) * (hv & 15)
	}
	h.decodeBytes = samples
	if progressive {
		h.decodeBytes += 4 * samples
	}
	if conf.ColorModel == color.RGBAModel || conf.ColorModel == color.CMYKModel {
		h.decodeBytes += 4 * int64(h.width) * int64(h.height)
	}
	return nil
}

// nextMarker skips to the next JPEG marker. Entropy-coded bytes are skipped
// with it: there 0xff is always followed by zero.
func nextMarker(r io.ByteReader) (byte, error) {
	prev, err := r.ReadByte()
	for err == nil {
		var b byte
		if b, err = r.ReadByte(); err != nil {
			break
		}
		if prev != 0xff {
			prev = b
			continue
		}
		for b == 0xff && err == nil { // fill bytes
			b, err = r.ReadByte()
		}
		if b != 0 && err == nil {
			return b, nil
		}
		if err == nil {
			prev, err = r.ReadByte()
		}
	}
	return 0, short(err)
}

// readPNG reads the header chunk and looks for EXIF. Other chunks are passed
// over unread, packed or not; the decoder does the same.
func (h *head) readPNG(f io.ReaderAt, size int64) error {
	h.decode = png.Decode
	conf, err := png.DecodeConfig(whole(f, size))
	if err != nil {
		return err
	}
	h.width, h.height = conf.Width, conf.Height
	r := whole(f, size)
	// Signature, then length, name and content of the header chunk, which the
	// decoder insists comes first: width, height, depth, colour, -, -, interlace.
	b, err := take(r, 8+8+13+4)
	if err != nil {
		return err
	}
	depth, colour, interlaced := b[24], b[25], b[28] != 0
	perPixel := int64(4)
	switch {
	case colour == 3: // palette
		perPixel = 1
	case depth == 16:
		perPixel = 8
	}
	h.decodeBytes = perPixel * int64(h.width) * int64(h.height)
	if interlaced {
		h.decodeBytes += h.decodeBytes / 2 // the last pass is half the rows, held beside the picture
	}
	for {
		b, err := take(r, 8)
		if err != nil {
			return err
		}
		n := int64(binary.BigEndian.Uint32(b))
		switch name := string(b[4:]); {
		case name == "IEND":
			return nil
		case name == "eXIf" && n <= maxExif:
			if h.exif, err = take(r, int(n)); err != nil {
				return err
			}
			n = 0
		}
		if _, err := r.Discard(int(n) + 4); err != nil { // and the checksum
			return short(err)
		}
	}
}

// readWebP finds the one lossy frame and EXIF. The frame goes straight to the
// VP8 decoder: that leaves out the alpha plane, whose packed form can take
// 120 MB, and lets the frame's stated length be checked against the file, as
// the decoder reserves it unread.
func (h *head) readWebP(f io.ReaderAt, size int64) error {
	r := whole(f, size)
	pos, err := r.Discard(12)
	if err != nil {
		return short(err)
	}
	at := int64(pos)
	for at < size {
		b, err := take(r, 8)
		if err != nil {
			return err
		}
		at += 8
		n := int64(binary.LittleEndian.Uint32(b[4:]))
		if n > size-at {
			return io.ErrUnexpectedEOF
		}
		used := 0
		switch name := string(b[:4]); {
		case name == "VP8L":
			return refuse(UnsupportedFormat, "webp lossless", words.Say("This is a lossless WebP, which cannot be opened here. Please save it as JPEG or PNG and send it again."))
		case name == "ANIM", name == "ANMF":
			return refuse(UnsupportedFormat, "webp animation", words.Say("This picture moves. Please send a still photo as JPEG, PNG or WebP."))
		case name == "VP8 " && h.decode == nil:
			frame := io.NewSectionReader(f, at, n)
			d := vp8.NewDecoder()
			d.Init(frame, int(n))
			fh, err := d.DecodeFrameHeader()
			if err != nil {
				return err
			}
			h.width, h.height = fh.Width, fh.Height
			h.decodeBytes = 3*ceil(h.width, 16)*16*ceil(h.height, 16)*16/2 + n
			h.data = io.NewSectionReader(f, at, n)
			h.decode = func(r io.Reader) (image.Image, error) {
				d := vp8.NewDecoder()
				d.Init(r, int(n))
				if _, err := d.DecodeFrameHeader(); err != nil {
					return nil, err
				}
				m, err := d.DecodeFrame()
				if err != nil {
					return nil, err
				}
				fullRange(m)
				return m, nil
			}
		case name == "EXIF" && n <= maxExif:
			if h.exif, err = take(r, int(n)); err != nil {
				return err
			}
			h.exif = bytes.TrimPrefix(h.exif, []byte("Exif\x00\x00")) // some writers keep the JPEG prefix
			used = int(n)
		}
		pad := n & 1
		if at+n+pad > size {
			pad = 0 // a missing last padding byte harms nothing
		}
		if _, err := r.Discard(int(n+pad) - used); err != nil {
			return short(err)
		}
		at += n + pad
	}
	if h.decode == nil {
		return errors.New("no frame")
	}
	return nil
}

// fullRange stretches the brightness 16–235 and colour 16–240 that WebP frames
// use (ITU-R BT.601) to the 0–255 that image.YCbCr stands for. Without it
// white comes out grey.
func fullRange(m *image.YCbCr) {
	stretch := func(plane []uint8, from, to, steps float64) {
		var table [256]uint8
		for i := range table {
			table[i] = uint8(min(255, max(0, math.Round(to+(float64(i)-from)*255/steps))))
		}
		for i, v := range plane {
			plane[i] = table[v]
		}
	}
	stretch(m.Y, 16, 0, 219)
	stretch(m.Cb, 128, 128, 224)
	stretch(m.Cr, 128, 128, 224)
}

func take(r io.Reader, n int) ([]byte, error) {
	b := make([]byte, n)
	_, err := io.ReadFull(r, b)
	return b, short(err)
}

// short names the end of the file for what it is inside a header.
func short(err error) error {
	if err == io.EOF {
		return io.ErrUnexpectedEOF
	}
	return err
}

func ceil(n int, step int64) int64 { return (int64(n) + step - 1) / step }
