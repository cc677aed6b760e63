package server_test

import (
	"bytes"
	"image"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/internal/print/printtest"
	"warmhand/server/servertest"
)

// codesAt are the texts of the codes in a part of a page rendered at 300 dpi;
// all in millimetres.
func codesAt(t *testing.T, page *image.Gray, x, y, w, h float64) []string {
	t.Helper()
	px := func(mm float64) int { return int(mm * 300 / 25.4) }
	return printtest.Codes(t, page.SubImage(image.Rect(px(x), px(y), px(x+w), px(y+h))))
}

// A card that was printed in the moment of the sale opens the claim.
func TestPrintedCardClaims(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder := f.NewBreeder("b1")
	for form, size := range map[string][4]float64{"credit": {19.4, 13.5, 85.6, 54}, "a6": {0, .5, 105, 148}} {
		made := breeder.Call("POST", "/v1/breeders/b1/handovers?requestId="+f.ID("request"), map[string]any{"animal": "breeders/b1/animals/" + breeder.NewAnimal()}).OK()
		card := breeder.Call("POST", "/v1/breeders/b1/cards.pdf", map[string]any{"form": form, "paper": "a4",
			"cards": []any{map[string]any{"handover": made.Text("handover", "name"), "claimCode": strings.ToLower(made.Text("claimCode"))}}}).OK()
		for name, want := range map[string]string{"Content-Type": "application/pdf", "Cache-Control": "no-store",
			"Content-Disposition": `attachment; filename="handover-card.pdf"`, "X-Content-Type-Options": "nosniff"} {
			if got := card.Header.Get(name); got != want {
				t.Errorf("%s is %q, want %q", name, got, want)
			}
		}
		if text := printtest.Text(t, card.Body); !strings.Contains(text, made.Text("claimCode")) || !strings.Contains(text, "Breeder b1 · At the show") {
			t.Errorf("the card says %s", text)
		}
		links := codesAt(t, printtest.Pages(t, card.Body, 300)[0], size[0], size[1], size[2], size[3])
		if !slices.Equal(links, []string{made.Text("claimUrl")}) {
			t.Fatalf("the card's code opens %v, want %s", links, made.Text("claimUrl"))
		}
		_, code, _ := strings.Cut(links[0], "#")
		f.Page().Claim(code).OK()
	}
}

func TestPrintedLabels(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder := f.NewBreeder("b1")
	query, want := "?paper=letter", []string{}
	for range 4 {
		id := breeder.NewAnimal()
		query += "&animal=" + id
		want = append(want, f.Server.Origin()+"/b/animals/"+id)
	}
	labels := breeder.Call("GET", "/v1/breeders/b1/labels.pdf"+query, nil).OK()
	page := printtest.Pages(t, labels.Body, 300)[0]
	for i, link := range want {
		if got := codesAt(t, page, 11.95+float64(i%3)*64, 20.7+float64(i/3)*34, 64, 34); !slices.Equal(got, []string{link}) {
			t.Errorf("label %d opens %v, want %s", i, got, link)
		}
	}
}

// The record as it was issued, for both who have it, without what is the
// breeder's own.
func TestPrintedRecord(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder := f.NewBreeder("b1")
	mother := breeder.NewAnimal()
	animal := f.ID("animal")
	breeder.Call("POST", "/v1/breeders/b1/animals?animalId="+animal, map[string]any{"displayName": "Tub 14", "species": "python_regius",
		"sex": "SEX_FEMALE", "genes": []string{"spider"}, "mother": "breeders/b1/animals/" + mother, "note": "the breeder's own"}).OK()
	breeder.Weigh("b1", animal, 540)
	breeder.Call("POST", "/v1/breeders/b1/animals/"+animal+"/entries?entryId="+f.ID("entry"), map[string]any{
		"happenTime": f.Clock.Now(), "note": "hidden note", "climate": map[string]any{"warmC": 32, "humidityPct": 63}}).OK()
	caseID, code := breeder.HandOver(animal)
	breeder.Weigh("b1", animal, 560) // after the record was issued
	keeper := f.Page()
	keeper.Claim(code).OK()

	path := "/v1/breeders/b1/handovers/" + caseID + "/record.pdf?paper=letter"
	pdf := keeper.Call("GET", path, nil).OK()
	if got := pdf.Header.Get("Content-Disposition"); got != `attachment; filename="handover-record.pdf"` {
		t.Errorf("Content-Disposition is %q", got)
	}
	text := printtest.Text(t, pdf.Body)
	for _, want := range []string{"Tub 14", mother, "Weighed once: 540 g", "32 °C (90 °F)", "63 %", "Breeder b1 · At the show"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in %s", want, text)
		}
	}
	for _, not := range []string{"the breeder's own", "hidden note", "pays in two parts", "Kim", "560 g"} {
		if strings.Contains(text, not) {
			t.Errorf("%q is in %s", not, text)
		}
	}
	if same := breeder.Call("GET", path, nil).OK(); !bytes.Equal(same.Body, pdf.Body) {
		t.Error("the breeder's copy is another document")
	}
	if text := printtest.Text(t, keeper.Call("GET", path, nil, "Accept-Language", "de-CH").OK().Body); !strings.Contains(text, "Übergabeprotokoll") || !strings.Contains(text, "Einmal gewogen: 540 g") {
		t.Errorf("the record is not in German: %s", text)
	}

	// What the keeper's phone shows is what the paper says.
	var got pb.GetHandoverResponse
	if err := protojson.Unmarshal(keeper.Call("GET", "/v1/breeders/b1/handovers/"+caseID, nil).OK().Body, &got); err != nil {
		t.Fatal(err)
	}
	r := got.GetHandover().GetRecord()
	said := []string{r.GetFeeding(), r.GetMother().GetName(), r.GetHome().GetNote(), r.GetFirstDays().GetAfter(), r.GetFirstDays().GetCaution()}
	said = append(said, r.GetCautions()...)
	said = append(said, r.GetHome().GetPoints()...)
	for _, f := range r.GetHome().GetFacts() {
		said = append(said, f.GetLabel())
	}
	for _, c := range r.GetCalls() {
		said = append(said, c.GetWhom())
	}
	if n := len(r.GetFirstDays().GetDays()); n != 14 || len(said) < 20 || len(r.GetOrigin()) == 0 || len(r.GetCalls()[0].GetSigns()) == 0 {
		t.Errorf("the record on the wire has %d days, %d sentences: %v", n, len(said), r)
	}
	for _, want := range said {
		if want := strings.ReplaceAll(want, "\u00a0", " "); !strings.Contains(text, want) {
			t.Errorf("on the phone and not on paper: %q", want)
		}
	}
}

// The guide on the phone and on paper say the same, to both who have the case,
// and to nobody else.
func TestGuide(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder, other := f.NewBreeder("b1"), f.NewBreeder("b2")
	animal := breeder.NewAnimal()
	breeder.Weigh("b1", animal, 540)
	caseID, code := breeder.HandOver(animal)
	keeper := f.Page()
	keeper.Claim(code).OK()
	guide := func(c *servertest.Client) (out *pb.Guide) {
		var got pb.GetGuideResponse
		if err := protojson.Unmarshal(c.Call("GET", "/v1/breeders/b1/cases/"+caseID+"/guide", nil).OK().Body, &got); err != nil {
			t.Fatal(err)
		}
		return got.GetGuide()
	}
	if g := guide(keeper); len(g.GetPages()) != 7 || g.GetNowPage() != "first_days" {
		t.Fatalf("the guide of a new animal: %v", g)
	}
	f.Clock.Advance(time.Hour)
	keeper.Call("POST", "/v1/breeders/b1/animals/"+animal+"/entries?entryId="+f.ID("entry"), map[string]any{"happenTime": f.Clock.Now(), "sign": map[string]any{"sign": "wheeze"}}).OK()
	g := guide(keeper)
	if g.GetNowPage() != "vet" {
		t.Errorf("now matters %q", g.GetNowPage())
	}
	if !proto.Equal(g, guide(breeder)) {
		t.Error("the breeder's copy is another guide")
	}

	path := "/v1/breeders/b1/cases/" + caseID + "/guide.pdf"
	text := strings.Join(strings.Fields(printtest.Text(t, keeper.Call("GET", path+"?paper=letter", nil).OK().Body)), " ")
	for _, p := range g.GetPages() {
		for _, want := range []string{p.GetTitle(), p.GetNow(), p.GetParts()[0].GetTitle()} {
			if !strings.Contains(text, want) {
				t.Errorf("on the phone and not on paper: %q", want)
			}
		}
		for _, part := range p.GetParts() {
			for _, want := range part.GetPoints() {
				if want := strings.ReplaceAll(want, "\u00a0", " "); !strings.Contains(text, want) {
					t.Errorf("on the phone and not on paper: %q", want)
				}
			}
		}
	}
	one := printtest.Text(t, keeper.Call("GET", path+"?page=shed", nil).OK().Body)
	if !strings.Contains(one, "Shedding its skin") || strings.Contains(one, "Heating safely") {
		t.Errorf("one page: %s", one)
	}
	if r := keeper.Call("GET", path+"?page=frogs", nil); r.Status != 400 || !strings.Contains(string(r.Body), "frogs") {
		t.Errorf("a page that there is not: %d %s", r.Status, r.Body)
	}
	for _, p := range []string{path, "/v1/breeders/b1/cases/" + caseID + "/guide"} {
		if r := other.Call("GET", p, nil); r.Status != 404 && r.Status != 403 {
			t.Errorf("%s to another breeder: %d", p, r.Status)
		}
		if r := f.Page().Call("GET", p, nil); r.Status != 401 {
			t.Errorf("%s to a stranger: %d", p, r.Status)
		}
	}
}

// The letter for the vet is the same for both who have the case, with the
// pictures, and without what is the breeder's own.
func TestPrintedVetLetter(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder, other := f.NewBreeder("b1"), f.NewBreeder("b2")
	animal := breeder.NewAnimal()
	breeder.Weigh("b1", animal, 540)
	caseID, code := breeder.HandOver(animal)
	keeper := f.Page()
	keeper.Claim(code).OK()
	f.Clock.Advance(time.Hour)
	entries := "/v1/breeders/b1/animals/" + animal + "/entries?entryId="
	keeper.Call("POST", entries+f.ID("entry"), map[string]any{"happenTime": f.Clock.Now(), "sign": map[string]any{"sign": "open_mouth_breathing"}, "note": "since Monday"}).OK()
	jpg, err := os.ReadFile("../testdata/photos/orientation-6.jpg")
	if err != nil {
		t.Fatal(err)
	}
	res := keeper.Open(t.Context(), "PUT", "/v1/breeders/b1/cases/"+caseID+"/photos/photo-1", bytes.NewReader(jpg), "Content-Type", "image/jpeg")
	res.Body.Close()
	if res.StatusCode != 200 {
		t.Fatalf("the photo: %s", res.Status)
	}

	path := "/v1/breeders/b1/cases/" + caseID + "/vet-letter.pdf"
	ask := map[string]any{"paper": "letter", "concern": " It wheezes.\n"}
	pdf := keeper.Call("POST", path, ask).OK()
	if got := pdf.Header.Get("Content-Disposition"); got != `attachment; filename="vet-letter.pdf"` {
		t.Errorf("Content-Disposition is %q", got)
	}
	text := printtest.Text(t, pdf.Body)
	for _, want := range []string{"For the reptile vet", "It wheezes.", "Weighed once: 540 g", "It breathes with its mouth open", "since Monday", "Pictures", "Breeder b1"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in %s", want, text)
		}
	}
	for _, not := range []string{"pays in two parts", "Kim"} {
		if strings.Contains(text, not) {
			t.Errorf("%q is in %s", not, text)
		}
	}
	if same := breeder.Call("POST", path, ask).OK(); !bytes.Equal(same.Body, pdf.Body) {
		t.Error("the breeder's copy is another document")
	}
	if without := keeper.Call("POST", path, map[string]any{"pictures": 0}).OK(); strings.Contains(printtest.Text(t, without.Body), "Pictures") {
		t.Error("a picture that nobody wanted")
	}
	for _, c := range []struct {
		who  *servertest.Client
		body map[string]any
		want int
	}{
		{other, ask, 404}, {f.Page(), ask, 401},
		{keeper, map[string]any{"paper": "a3"}, 400}, {keeper, map[string]any{"pictures": 9}, 400},
		{keeper, map[string]any{"concern": strings.Repeat("x", 1001)}, 400}, {keeper, map[string]any{"concerns": "x"}, 400},
	} {
		if got := c.who.Call("POST", path, c.body); got.Status != c.want {
			t.Errorf("%v: %d, want %d: %s", c.body, got.Status, c.want, got.Body)
		}
	}
}

// Printing has a limit by who asks, and waiting helps.
func TestPrintLimit(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder, other := f.NewBreeder("b1"), f.NewBreeder("b2")
	path := "/v1/breeders/b1/labels.pdf?animal=" + breeder.NewAnimal()
	for range 30 {
		breeder.Call("GET", path, nil).OK()
	}
	refused := breeder.Call("GET", path, nil)
	if reason, _, _ := refused.Problem(); refused.Status != 429 || reason != "TOO_MANY_TRIES" || refused.Header.Get("Retry-After") == "" {
		t.Errorf("got %d %s", refused.Status, refused.Body)
	}
	other.Call("GET", "/v1/breeders/b2/labels.pdf?animal="+other.NewAnimal(), nil).OK()
	f.Clock.Advance(3e9)
	breeder.Call("GET", path, nil).OK()
}
