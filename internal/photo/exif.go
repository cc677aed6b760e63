package photo

import (
	"encoding/binary"
	"strings"
	"time"
)

// Taken is the time a camera wrote into a picture. Without Zoned the camera
// gave no offset: Time is then the wall clock, written as if it were UTC.
// Cameras are often set wrong, so this is a suggestion and not a fact.
type Taken struct {
	Time  time.Time
	Zoned bool
}

// Tags and field types of EXIF (CIPA DC-008, 4.6) and of the TIFF 6.0
// structure under it.
const (
	tagOrientation = 0x0112
	tagExifIFD     = 0x8769
	tagTaken       = 0x9003 // DateTimeOriginal, local time
	tagTakenOffset = 0x9011 // OffsetTimeOriginal

	typeASCII = 2
	typeShort = 3
	typeLong  = 4

	maxEntries = 512 // in one directory; cameras write about sixty
)

// readExif returns the orientation, 1 to 8, and the time the picture was
// taken. It reads two directories at most, never follows a chain, and treats
// whatever does not fit as absent: then the orientation is 1, upright.
func readExif(tiff []byte) (orientation int, taken *Taken) {
	orientation = 1
	if len(tiff) < 8 {
		return
	}
	d := directory{data: tiff}
	switch string(tiff[:4]) {
	case "II*\x00":
		d.order = binary.LittleEndian
	case "MM\x00*":
		d.order = binary.BigEndian
	default:
		return
	}
	d.at = d.order.Uint32(tiff[4:])
	if v, ok := d.number(tagOrientation); ok && 1 <= v && v <= 8 {
		orientation = int(v)
	}
	at, ok := d.number(tagExifIFD)
	if !ok {
		return
	}
	d.at = at
	t, err := time.Parse("2006:01:02 15:04:05", d.text(tagTaken))
	if err != nil {
		return
	}
	taken = &Taken{Time: t}
	if zone, err := time.Parse("-07:00", d.text(tagTakenOffset)); err == nil {
		_, seconds := zone.Zone()
		y, m, day := t.Date()
		taken.Time = time.Date(y, m, day, t.Hour(), t.Minute(), t.Second(), 0, time.FixedZone("", seconds))
		taken.Zoned = true
	}
	return
}

// directory is one list of tagged values inside TIFF bytes.
type directory struct {
	data  []byte
	order binary.ByteOrder
	at    uint32
}

// entry returns the 12 bytes of a tag, or nil.
func (d directory) entry(tag uint16) []byte {
	if uint64(d.at)+2 > uint64(len(d.data)) {
		return nil
	}
	rest := d.data[d.at:]
	n := min(int(d.order.Uint16(rest)), maxEntries, (len(rest)-2)/12)
	for i := range n {
		if e := rest[2+12*i:][:12]; d.order.Uint16(e) == tag {
			return e
		}
	}
	return nil
}

func (d directory) number(tag uint16) (uint32, bool) {
	e := d.entry(tag)
	if e == nil || d.order.Uint32(e[4:]) != 1 {
		return 0, false
	}
	switch d.order.Uint16(e[2:]) {
	case typeShort:
		return uint32(d.order.Uint16(e[8:])), true
	case typeLong:
		return d.order.Uint32(e[8:]), true
	}
	return 0, false
}

func (d directory) text(tag uint16) string {
	e := d.entry(tag)
	if e == nil || d.order.Uint16(e[2:]) != typeASCII {
		return ""
	}
	n, at := uint64(d.order.Uint32(e[4:])), uint64(d.order.Uint32(e[8:]))
	if n <= 4 || n > 64 || at+n > uint64(len(d.data)) {
		return "" // shorter than any time or offset, or longer, or outside
	}
	return strings.TrimRight(string(d.data[at:at+n]), "\x00 ")
}
