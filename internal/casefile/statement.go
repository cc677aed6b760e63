package casefile

import (
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"warmhand/internal/care"
	"warmhand/internal/snake"
)

// Statement is what a breeder signs of a handover: what a stranger to whom the
// record is shown needs. Nothing of the keeper or the buyer is in it, nor the
// way to reach the breeder, nor the claim code. issuer is the origin of the
// service. It is JSON in the one form of RFC 8785, so that the same record is
// always the same bytes.
func Statement(h *care.Handover, issuer string) ([]byte, error) {
	r := &h.Record
	a := &r.Animal
	sp, listed := snake.ByID(a.Species)
	s := statement{Kind: "handover_record", Version: 1, Issuer: issuer, Breeder: h.BreederID, BreederName: r.Breeder, Handover: h.ID,
		IssuedAt: stated(r.IssuedAt), HandedOverAt: stated(h.HandedOverAt),
		Animal: statedAnimal{Name: a.Name, Species: a.Species, Sex: string(a.Sex), Genes: a.Genes, Clutch: a.Clutch,
			SnoutVent: float64(a.SnoutVent), TotalLength: float64(a.TotalLength)},
		Mother: statedParent(r.Mother), Father: statedParent(r.Father),
		Origin: []statedFact{}, Weights: []statedWeight{}, Offers: []statedOffer{}}
	if listed {
		s.Animal.Scientific, s.Animal.Common = sp.Scientific, sp.Common
	}
	if a.Hatched != nil {
		s.Animal.Hatched = a.Hatched.Format(time.DateOnly)
	}
	for _, f := range care.OriginFacts(a) {
		s.Origin = append(s.Origin, statedFact{Label: f.Label.String(), Text: f.Text.String(), Source: f.Source})
	}
	for _, e := range r.Weights {
		s.Weights = append(s.Weights, statedWeight{At: stated(e.HappenedAt), WeighIn: e.Body.(care.WeighIn)})
	}
	for _, e := range r.Offers {
		s.Offers = append(s.Offers, statedOffer{At: stated(e.HappenedAt), Offer: e.Body.(care.Offer)})
	}
	plain, err := json.Marshal(s)
	if err != nil {
		return nil, err
	}
	v := jsontext.Value(plain)
	err = v.Canonicalize()
	return v, err
}

// A field that is not known is "", 0 or an empty list. Lengths are mm.
type statement struct {
	Kind         string         `json:"kind"`
	Version      int            `json:"version"`
	Issuer       string         `json:"issuer"`
	Breeder      string         `json:"breeder"`
	BreederName  string         `json:"breeder_name"`
	Handover     string         `json:"handover"`
	IssuedAt     string         `json:"issued_at"`
	HandedOverAt string         `json:"handed_over_at"`
	Animal       statedAnimal   `json:"animal"`
	Mother       statedParent   `json:"mother"`
	Father       statedParent   `json:"father"`
	Origin       []statedFact   `json:"origin"`
	Weights      []statedWeight `json:"weights"`
	Offers       []statedOffer  `json:"offers"`
}

type statedAnimal struct {
	Name        string   `json:"name"`
	Species     string   `json:"species"`
	Scientific  string   `json:"scientific_name"`
	Common      string   `json:"common_name"`
	Sex         string   `json:"sex"`
	Hatched     string   `json:"hatched"`
	Genes       []string `json:"genes"`
	Clutch      string   `json:"clutch"`
	SnoutVent   float64  `json:"snout_vent_mm"`
	TotalLength float64  `json:"total_length_mm"`
}

type statedParent struct {
	Name  string   `json:"name"`
	Genes []string `json:"genes"`
}

type statedFact struct {
	Label  string `json:"label"`
	Text   string `json:"text"`
	Source string `json:"source"`
}

type statedWeight struct {
	At string `json:"at"`
	care.WeighIn
}

type statedOffer struct {
	At string `json:"at"`
	care.Offer
}

// stated is an instant to the millisecond, as the store has it.
func stated(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.000Z") }
