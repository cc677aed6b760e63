package photo

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"sync"
	"testing"
)

// quarters is an upright picture with a different colour in each corner, in
// blocks that JPEG does not smear.
func quarters(w, h int) *image.RGBA {
	m := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.RGBA{200, 40, 40, 255} // top left
			switch left, top := x < w/2, y < h/2; {
			case !left && top:
				c = color.RGBA{40, 160, 40, 255}
			case left && !top:
				c = color.RGBA{40, 40, 200, 255}
			case !left && !top:
				c = color.RGBA{230, 230, 230, 255}
			}
			m.SetRGBA(x, y, c)
		}
	}
	return m
}

func jpegOf(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: 92}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func pngOf(t testing.TB, m image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// The order of fields follows TIFF 6.0: a directory is a count, entries of 12
// bytes in the order of their tags, and the offset of the next directory.
type field struct {
	tag, kind uint16
	value     []byte // already in the byte order of the file
}

// exifOf builds TIFF bytes with an owner, a serial number and a place, as a
// phone writes them.
func exifOf(order binary.AppendByteOrder, orientation uint16, taken, offset string) []byte {
	text := func(tag uint16, s string) field { return field{tag, 2, append([]byte(s), 0)} }
	short := func(tag, v uint16) field { return field{tag, 3, order.AppendUint16(nil, v)} }
	long := func(tag uint16, v uint32) field { return field{tag, 4, order.AppendUint32(nil, v)} }
	degrees := func(tag uint16, d, m, s uint32) field {
		var b []byte
		for _, v := range []uint32{d, 1, m, 1, s, 1} {
			b = order.AppendUint32(b, v)
		}
		return field{tag, 5, b}
	}
	sizes := map[uint16]uint32{2: 1, 3: 2, 4: 4, 5: 8}
	directory := func(at uint32, fields []field) []byte {
		var list, values []byte
		list = order.AppendUint16(list, uint16(len(fields)))
		valuesAt := at + 2 + 12*uint32(len(fields)) + 4
		for _, f := range fields {
			list = order.AppendUint16(list, f.tag)
			list = order.AppendUint16(list, f.kind)
			list = order.AppendUint32(list, uint32(len(f.value))/sizes[f.kind])
			if len(f.value) <= 4 {
				list = append(list, append(bytes.Clone(f.value), 0, 0, 0, 0)[:4]...)
				continue
			}
			list = order.AppendUint32(list, valuesAt+uint32(len(values)))
			values = append(values, f.value...)
			if len(values)%2 == 1 {
				values = append(values, 0)
			}
		}
		return append(append(list, 0, 0, 0, 0), values...)
	}
	exif := []field{text(0x9003, taken)}
	if offset != "" {
		exif = append(exif, text(0x9011, offset))
	}
	exif = append(exif, text(0xa430, "Invented Owner"), text(0xa431, "SERIAL-0042"))
	gps := []field{text(1, "N"), degrees(2, 12, 34, 56), text(3, "W"), degrees(4, 40, 7, 6)}

	const firstAt = 8
	first := func(exifAt, gpsAt uint32) []field {
		return []field{text(0x010f, "Invented Camera"), short(0x0112, orientation), long(0x8769, exifAt), long(0x8825, gpsAt)}
	}
	exifAt := firstAt + uint32(len(directory(firstAt, first(0, 0))))
	exifBytes := directory(exifAt, exif)
	gpsAt := exifAt + uint32(len(exifBytes))

	out := []byte("II*\x00")
	if order.String() == binary.BigEndian.String() {
		out = []byte("MM\x00*")
	}
	out = order.AppendUint32(out, firstAt)
	out = append(out, directory(firstAt, first(exifAt, gpsAt))...)
	out = append(out, exifBytes...)
	return append(out, directory(gpsAt, gps)...)
}

// segment is one JPEG segment.
func segment(marker byte, content []byte) []byte {
	b := []byte{0xff, marker}
	b = binary.BigEndian.AppendUint16(b, uint16(len(content)+2))
	return append(b, content...)
}

// withExif puts EXIF and a comment into a JPEG.
func withExif(jpg, tiff []byte) []byte {
	out := bytes.Clone(jpg[:2])
	out = append(out, segment(0xe1, append([]byte("Exif\x00\x00"), tiff...))...)
	out = append(out, segment(0xe1, []byte("http://ns.adobe.com/xap/1.0/\x00<x:xmpmeta>a place</x:xmpmeta>"))...)
	out = append(out, segment(0xfe, []byte("a comment"))...)
	return append(out, jpg[2:]...)
}

// thinJPEG is a grey JPEG of any size in few bytes: each block takes one or
// two bits. With progressive, further scans repeat the first coefficient's.
func thinJPEG(w, h int, progressive bool, sampling byte, scans int) []byte {
	frame := []byte{8}
	frame = binary.BigEndian.AppendUint16(frame, uint16(h))
	frame = binary.BigEndian.AppendUint16(frame, uint16(w))
	frame = append(frame, 3, 1, sampling, 0, 2, 0x11, 0, 3, 0x11, 0)
	table := func(class byte) []byte { // one symbol, zero, as the one-bit code 0
		b := make([]byte, 18)
		b[0], b[1] = class, 1
		return b
	}
	marker, last, bits := byte(0xc0), byte(63), 2
	if progressive {
		marker, last, bits = 0xc2, 0, 1
	}
	out := []byte{0xff, 0xd8}
	out = append(out, segment(0xdb, append([]byte{0}, bytes.Repeat([]byte{1}, 64)...))...)
	out = append(out, segment(marker, frame)...)
	out = append(out, segment(0xc4, table(0x00))...)
	out = append(out, segment(0xc4, table(0x10))...)
	across, down := int(sampling>>4), int(sampling&15)
	units := ((w + 8*across - 1) / (8 * across)) * ((h + 8*down - 1) / (8 * down))
	for range scans {
		out = append(out, segment(0xda, []byte{3, 1, 0, 2, 0, 3, 0, 0, last, 0})...)
		out = append(out, make([]byte, (units*(across*down+2)*bits+7)/8)...)
	}
	return append(out, 0xff, 0xd9)
}

func pngChunk(name string, content []byte) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(len(content)))
	b = append(append(b, name...), content...)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

// thinPNG is a PNG of zeros with further chunks before its pixels. With
// rows less than h it ends early.
func thinPNG(w, h int, depth, colour byte, bytesPerPixel, rows int, chunks ...[]byte) []byte {
	header := binary.BigEndian.AppendUint32(nil, uint32(w))
	header = binary.BigEndian.AppendUint32(header, uint32(h))
	header = append(header, depth, colour, 0, 0, 0)
	out := append([]byte("\x89PNG\r\n\x1a\n"), pngChunk("IHDR", header)...)
	for _, c := range chunks {
		out = append(out, c...)
	}
	out = append(out, pngChunk("IDAT", deflated(rows, 1+w*bytesPerPixel))...)
	return append(out, pngChunk("IEND", nil)...)
}

// packedBomb is 200 MiB in 200 kB; smaller where memory is not measured anyway.
var packedBomb = sync.OnceValue(func() []byte {
	if raceDetector() {
		return deflated(2, 1<<20)
	}
	return deflated(200, 1<<20)
})

// deflated is n times size zeros, packed.
func deflated(n, size int) []byte {
	var packed bytes.Buffer
	z := zlib.NewWriter(&packed) // writing to a buffer cannot fail
	row := make([]byte, size)
	for range n {
		z.Write(row)
	}
	z.Close()
	return packed.Bytes()
}

// webp wraps chunks.
func webp(chunks ...[]byte) []byte {
	body := append([]byte("WEBP"), bytes.Join(chunks, nil)...)
	out := binary.LittleEndian.AppendUint32([]byte("RIFF"), uint32(len(body)))
	return append(out, body...)
}

func webpChunk(name string, size uint32, content []byte) []byte {
	b := binary.LittleEndian.AppendUint32([]byte(name), size)
	b = append(b, content...)
	if len(content)%2 == 1 {
		b = append(b, 0)
	}
	return b
}
