package measure

import (
	"image"
	"math"
	"slices"
	"strings"
)

// Reference is the thing of known size that lies beside the opening.
type Reference int

// The references.
const (
	HandoverCard Reference = iota // its code, CodeSide wide
	BankCard                      // ISO/IEC 7810 ID-1
)

// CodeSide is the printed side of the code of every handover card, in mm;
// package print prints it so.
const CodeSide = 32.

// The sides of a bank card, in mm (ISO/IEC 7810:2019, ID-1).
const bankLong, bankShort = 85.60, 53.98

// CheckLine is the length of the line on a handover card that was printed at
// full size, in mm.
const CheckLine = 50.

// Shape is what an opening is taken for.
type Shape int

// The shapes.
const (
	Round Shape = iota // its diameter is measured
	Slot               // the gap between two edges that run alike
)

// Request asks for the width of an opening.
type Request struct {
	Picture   *image.Gray `json:"-"` // upright
	Reference Reference   `json:"reference"`
	// Code is the handover card's code where it was found before; nil: it is looked
	// for.
	Code *Code `json:"code,omitempty"`
	// Card are rough places of the four corners of a bank card, one after the
	// other round it, in pixels.
	Card []Point `json:"card,omitempty"`
	// Rim are places on the rim of the opening, in pixels: all round it, or on both
	// edges of a slot.
	Rim   []Point `json:"rim"`
	Shape Shape   `json:"shape"`
	// OffPlane is how far before or behind the card's plane the rim may lie, in mm; 0
	// stands for the usual 3.
	OffPlane float64 `json:"offPlaneMm,omitempty"`
	// Line is how long the card's check line is by a ruler, in mm; 0: nobody
	// measured it.
	Line float64 `json:"lineMm,omitempty"`
}

// Result is a width with its error.
type Result struct {
	// Width in mm; with 95 % probability it lies within PlusMinus of it.
	Width     float64 `json:"widthMm"`
	PlusMinus float64 `json:"plusMinusMm"`
	// Parts are the standard deviations, in mm, that make up the error.
	Parts Parts `json:"partsMm"`
	// Corners of the code or of the bank card in the picture.
	Corners [4]Point `json:"corners"`
	Code    *Code    `json:"code,omitempty"` // of the handover card
	Tilt    float64  `json:"tiltDegrees"`    // degrees between the view and straight above, by a usual lens
	Scale   float64  `json:"pixelsPerMm"`    // pixels a mm at the opening
	// Off is the root mean square distance of the rim's points from the shape, mm.
	Off float64 `json:"offMm"`
	// Seen: the picture showed the rim near the taps, and the width is that of what
	// it showed.
	Seen bool `json:"seen"`
	// Advice says how to get closer, and when to doubt the card; "" when it is close enough.
	Advice string `json:"advice"`
}

// Parts of an error: of the taps on the rim, of the reference's corners, of the
// lens, of the rim's distance from the plane, and of the print's size.
type Parts struct {
	Taps    float64 `json:"taps"`
	Corners float64 `json:"corners"`
	Lens    float64 `json:"lens"`
	Plane   float64 `json:"plane"`
	Print   float64 `json:"print"`
}

// total is the standard deviation of all together.
func (p Parts) total() float64 {
	return math.Sqrt(p.Taps*p.Taps + p.Corners*p.Corners + p.Lens*p.Lens + p.Plane*p.Plane + p.Print*p.Print)
}

// Refusal is why no width is given, in words for the person with the phone.
type Refusal struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

func (r *Refusal) Error() string { return r.Text }

// The codes of refusals.
const (
	NoCard       = "no_card"
	TooSmall     = "too_small"
	TooTilted    = "too_tilted"
	FewTaps      = "few_taps"
	UnevenTaps   = "uneven_taps"
	TooFar       = "too_far"
	OtherShape   = "other_shape"
	NotACard     = "not_a_card"
	WrongPrint   = "wrong_print"
	TooUncertain = "too_uncertain"
)

func refuse(code, text string) error { return &Refusal{code, text} }

// What is taken for granted of phones, hands and printers.
const (
	usualFocal = .75 // of the long side: 26 mm on a 4:3 sensor, the usual main camera; from memory
	// tapError of the picture's long side is the standard deviation of one tap through
	// a loupe: 2.5 pixels in 12 megapixels [assumption]. It counts for as many taps as
	// tapWeight beside what the taps themselves show.
	tapError, tapWeight = 2.5 / 4000, 3.
	leastTap            = 1.2  // pixels
	lensBend            = .012 // standard deviation of the radial distortion's first term [assumption]
	printError          = .003 // of a length, printed at full size [assumption]
	usualOffPlane       = 3.   // mm [assumption]
	// cornerError is what the corners' own spread leaves out: shadows at the edge of
	// the print, compression, paper that is not quite flat; pixels [assumption].
	cornerError = .12
	// unreadError times the blur is what they leave out besides where the code could not be
	// read: what lies beside its patterns is then only guessed. Of 60 rendered codes [computed].
	unreadError = .18
	// rimError is how far off an edge seen in the picture may make a width: blur,
	// shadow and the rounding of a rim; pixels [assumption].
	rimError = .6
)

// Limits of what is measured at all.
const (
	leastSide    = 36.  // pixels of the reference's side
	mostTilt     = 60.  // degrees
	mostDistance = 4.5  // of the opening from the reference, in sides of it
	mostArc      = 160. // degrees between two neighbouring taps
	mostError    = .35  // of the width
	goodError    = .08  // of the width, above which there is advice
	// leastDoubt is how much likelier the taps' split on a slot's edges has to be than any
	// other, as twice the logarithm of the ratio: with taps that miss by up to a fifth of the gap, one
	// slot in a hundred is then taken for another and one in six refused [computed, TestSides].
	leastDoubt = 4.
)

// Measure finds the width of an opening. Errors are of type *Refusal and say what
// to do.
func Measure(r *Request) (*Result, error) {
	out := &Result{}
	size := [2]float64{CodeSide, CodeSide}
	cornerSD := 0.
	switch r.Reference {
	case HandoverCard:
		out.Code = r.Code
		if out.Code == nil {
			c, err := Find(r.Picture)
			if err != nil {
				return nil, refuse(NoCard, "The code of the handover card was not found. Lay the card flat beside the opening, in good light, and hold the phone still and straight above.")
			}
			out.Code = c
		}
		out.Corners, cornerSD = out.Code.Corners, math.Hypot(cornerError, 3*out.Code.Spread)
		if out.Code.Text == "" {
			cornerSD = math.Hypot(cornerSD, unreadError*out.Code.Blur)
		}
		if r.Line != 0 {
			k := r.Line / CheckLine
			if !(k > .9 && k < 1.1) {
				return nil, refuse(WrongPrint, "The card's line is not 50 mm long. Print the card again at full size (100 %), or use a bank card.")
			}
			size = [2]float64{CodeSide * k, CodeSide * k}
		}
	case BankCard:
		corners, sd, err := bankCard(flat(r.Picture), r.Card)
		if err != nil {
			return nil, err
		}
		out.Corners, cornerSD = corners, sd
		size = [2]float64{bankLong, bankShort}
	}
	w, h := float64(r.Picture.Rect.Dx()), float64(r.Picture.Rect.Dy())
	view := camera{Point{w / 2, h / 2}, usualFocal * max(w, h)}

	if r.Reference == BankCard {
		out.Corners = longFirst(out.Corners, view)
	}
	side := math.Sqrt(area(&out.Corners))
	if side < leastSide {
		return nil, refuse(TooSmall, "The card is too small in the picture. Go closer, so that card and opening fill it.")
	}
	plane, err := planeOf(&out.Corners, size)
	if err != nil {
		return nil, refuse(NotACard, "These four corners do not make a card. Tap its corners one after the other, round it.")
	}
	off := 0.
	if out.Tilt, off = view.pose(&out.Corners, size); out.Tilt > mostTilt {
		return nil, refuse(TooTilted, "The picture was taken too much from the side. Hold the phone straight above card and opening.")
	}
	if r.Reference == BankCard && off > .2 {
		return nil, refuse(NotACard, "What is between these four corners has not the shape of a bank card. Tap the corners of the card anew.")
	}

	rim := make([]Point, len(r.Rim))
	for i, p := range r.Rim {
		rim[i] = plane.Map(p)
	}
	if err := spaced(rim, r.Shape); err != nil {
		return nil, err
	}
	s, err := shapeOf(rim, r.Shape)
	if err != nil && r.Shape == Slot {
		return nil, refuse(UnevenTaps, "The taps do not lie on two edges of a slot. Tap both along more of their length than they are apart.")
	}
	if err != nil {
		return nil, refuse(UnevenTaps, "The taps lie on one line. Tap all round the rim of the opening.")
	}
	out.Width, out.Off = s.width, s.off
	var mid, middle Point
	for _, p := range r.Rim {
		mid = mid.add(p.times(1 / float64(len(r.Rim))))
	}
	for _, p := range out.Corners {
		middle = middle.add(p.times(.25))
	}
	if plane.Map(mid).distance(plane.Map(middle)) > mostDistance*math.Sqrt(size[0]*size[1]) {
		return nil, refuse(TooFar, "The card lies too far from the opening. Lay it right beside it.")
	}

	// One tap, from what is usual and from how the taps lie round the shape.
	out.Scale = plane.inverseScale(mid)
	usual := max(leastTap, tapError*max(w, h))
	scatter := s.off * out.Scale
	n := float64(len(rim))
	tap := math.Sqrt((tapWeight*usual*usual + n*scatter*scatter) / (tapWeight + s.free))
	if r.Shape == Round && s.off > .1*s.width && scatter > 3*usual {
		return nil, refuse(OtherShape, "The opening is not round, or a tap went astray. Tap the two edges of its narrowest part as a slot.")
	}
	if r.Shape == Slot && s.doubt < leastDoubt*math.Pow(tap/out.Scale, 2) {
		return nil, refuse(TooUncertain, "Which tap is on which edge of the slot is not clear. Go closer with the phone, and tap along the edges' whole length.")
	}
	out.Parts.Taps = s.lever * tap / out.Scale

	// Where the picture shows the rim that was tapped, that is where it is.
	picks := r.Rim
	if seen, ok := rimOf(flat(r.Picture), &plane, rim, r.Shape, tap/out.Scale); ok {
		if e, err := shapeOf(seen, r.Shape); err == nil && math.Abs(e.width-s.width) < 3*out.Parts.Taps+rimError/out.Scale {
			out.Width, out.Off, out.Seen = e.width, e.off, true
			// Neighbouring places of an edge err alike.
			out.Parts.Taps = math.Hypot(rimError/out.Scale, 2*e.lever*e.off)
			back := plane.Inverse()
			picks = make([]Point, len(seen))
			for i, p := range seen {
				picks[i] = back.Map(p)
			}
		}
	}

	again := func(corners *[4]Point, moved func(Point) Point) float64 {
		g, err := planeOf(corners, size)
		if err != nil {
			return out.Width
		}
		list := make([]Point, len(picks))
		for i, p := range picks {
			list[i] = g.Map(moved(p))
		}
		t, err := shapeOf(list, r.Shape)
		if err != nil {
			return out.Width
		}
		return t.width
	}
	stay := func(p Point) Point { return p }
	const step = .5 // pixels
	for k := range 8 {
		a, b := out.Corners, out.Corners
		if k%2 == 0 {
			a[k/2].X += step
			b[k/2].X -= step
		} else {
			a[k/2].Y += step
			b[k/2].Y -= step
		}
		slope := (again(&a, stay) - again(&b, stay)) / (2 * step)
		out.Parts.Corners += slope * slope * cornerSD * cornerSD
	}
	out.Parts.Corners = math.Sqrt(out.Parts.Corners)
	bend := func(k float64) float64 {
		move := func(p Point) Point {
			d := p.sub(view.mid)
			return view.mid.add(d.times(1 + k*d.dot(d)/view.focal/view.focal))
		}
		c := out.Corners
		for i := range c {
			c[i] = move(c[i])
		}
		return again(&c, move)
	}
	out.Parts.Lens = math.Abs(bend(lensBend)-bend(-lensBend)) / 2
	away := r.OffPlane
	if away <= 0 {
		away = usualOffPlane
	}
	// A rim nearer to or farther from the camera than the card looks larger or smaller.
	distance := view.focal / out.Scale * math.Cos(out.Tilt*math.Pi/180)
	out.Parts.Plane = out.Width * away / distance / math.Sqrt(3)
	if r.Reference == HandoverCard && r.Line == 0 {
		out.Parts.Print = out.Width * printError
	}
	out.PlusMinus = 2 * out.Parts.total()

	switch part := out.PlusMinus / out.Width; {
	case part > mostError:
		return nil, refuse(TooUncertain, "The picture does not tell the width well enough. "+advice(&out.Parts))
	case part > goodError:
		out.Advice = advice(&out.Parts)
	}
	if out.Code != nil && out.Code.Text == "" {
		out.Advice = strings.TrimSpace("The code in the picture is too small or too blurred to be read. Use this width only if it is the handover card. " + out.Advice)
	}
	return out, nil
}

// advice is about what makes most of an error.
func advice(p *Parts) string {
	switch max(p.Taps, p.Corners, p.Lens, p.Plane, p.Print) {
	case p.Taps:
		return "Go closer with the phone, and tap eight points just on the rim."
	case p.Corners:
		return "Lay the card closer to the opening and take the picture from nearer."
	case p.Lens:
		return "Take the picture so that card and opening are in its middle."
	case p.Plane:
		return "Hold the card level with the rim of the opening, and take the picture from farther away."
	}
	return "Measure the card's line with a ruler, or use a bank card."
}

// planeOf maps the picture to the plane of a rectangle of this size, in mm.
func planeOf(c *[4]Point, size [2]float64) (Homography, error) {
	return FitHomography(c[:], []Point{{0, 0}, {size[0], 0}, {size[0], size[1]}, {0, size[1]}})
}

// inverseScale is how many pixels a mm has at a place of the picture, in the mean
// of all directions.
func (h *Homography) inverseScale(p Point) float64 {
	const d = .01
	a, b, c := h.Map(p), h.Map(Point{p.X + d, p.Y}), h.Map(Point{p.X, p.Y + d})
	return d / math.Sqrt(math.Abs(b.sub(a).cross(c.sub(a))))
}

func area(c *[4]Point) float64 {
	return math.Abs(c[2].sub(c[0]).cross(c[3].sub(c[1]))) / 2
}

// measured is a shape through points: its width, the distance of the points from
// it, how the width's error follows from one point's, the degrees of freedom that are
// left, and for a slot that of sides.
type measured struct{ width, off, lever, free, doubt float64 }

func shapeOf(p []Point, s Shape) (m measured, err error) {
	if s == Slot {
		m.free = float64(len(p) - 3)
		m.width, m.off, m.lever, m.doubt, err = slot(p)
		return m, err
	}
	mid, radius, off, err := circle(p)
	if err != nil {
		return m, err
	}
	e := newNormal(3)
	for _, q := range p {
		d := q.sub(mid)
		e.add([]float64{d.X / d.length(), d.Y / d.length(), 1}, 0)
	}
	e.b[2] = 1
	x, ok := e.solve(0)
	if !ok || x[2] <= 0 {
		return m, errLine
	}
	return measured{2 * radius, off, 2 * math.Sqrt(x[2]), float64(len(p) - 3), 0}, nil
}

// spaced asks for taps enough, and all round.
func spaced(p []Point, s Shape) error {
	if s == Slot {
		if len(p) < 4 {
			return refuse(FewTaps, "Tap at least two points on each of the two edges, better four.")
		}
		return nil
	}
	if len(p) < 5 {
		return refuse(FewTaps, "Tap at least five points round the rim, better eight.")
	}
	mid, _, _, err := circle(p)
	if err != nil {
		return refuse(UnevenTaps, "The taps lie on one line. Tap all round the rim of the opening.")
	}
	var turns []float64
	for _, q := range p {
		d := q.sub(mid)
		turns = append(turns, math.Atan2(d.Y, d.X))
	}
	slices.Sort(turns)
	gap := turns[0] + 2*math.Pi - turns[len(turns)-1]
	for i := 1; i < len(turns); i++ {
		gap = max(gap, turns[i]-turns[i-1])
	}
	if gap > mostArc*math.Pi/180 {
		return refuse(UnevenTaps, "One side of the rim has no tap. Tap all round it.")
	}
	return nil
}

// camera is a lens as it is guessed: where it looks, and its focal length in
// pixels.
type camera struct {
	mid   Point
	focal float64
}

// pose is how a rectangle is seen: the angle between the view and its normal, in degrees,
// and how far from a rectangle of this size it looks to be, for the focal
// length that suits it best of those that phones have (0: just so).
func (v camera) pose(c *[4]Point, size [2]float64) (tilt, off float64) {
	h, err := FitHomography([]Point{{0, 0}, {size[0], 0}, {size[0], size[1]}, {0, size[1]}}, c[:])
	if err != nil {
		return 90, math.Inf(1)
	}
	along := func(col int, focal float64) [3]float64 {
		return [3]float64{(h[col] - v.mid.X*h[6+col]) / focal, (h[3+col] - v.mid.Y*h[6+col]) / focal, h[6+col]}
	}
	off = math.Inf(1)
	for _, k := range []float64{.65, .8, 1, 1.3, 1.8} {
		a, b := along(0, k*v.focal), along(1, k*v.focal)
		la, lb := norm(a), norm(b)
		cos := (a[0]*b[0] + a[1]*b[1] + a[2]*b[2]) / la / lb
		off = min(off, math.Abs(math.Log(la/lb))+math.Abs(cos))
	}
	a, b := along(0, v.focal), along(1, v.focal)
	n := [3]float64{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
	return math.Acos(min(1, math.Abs(n[2])/norm(n))) * 180 / math.Pi, off
}

func norm(a [3]float64) float64 { return math.Sqrt(a[0]*a[0] + a[1]*a[1] + a[2]*a[2]) }
