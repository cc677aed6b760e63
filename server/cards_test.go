package server_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"warmhand/internal/print/printtest"
	"warmhand/server/servertest"
)

// A card is printed blank, handed over where there is no network, claimed before
// the sale has come in, and finished by the sale.
func TestBlankCardToCase(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder := f.NewBreeder("b1")
	for form, size := range map[string][4]float64{"credit": {19.4, 13.5, 85.6, 54}, "a6": {0, .5, 105, 148}} {
		card := breeder.NewCards(1)[0]
		body := map[string]any{"form": form, "paper": "a4", "cards": []any{map[string]any{"card": card.Card.Name, "claimCode": card.Code}}}
		printed := breeder.Call("POST", "/v1/breeders/b1/cards.pdf", body).OK()
		number := card.Card.Name[strings.LastIndex(card.Card.Name, "/")+1:]
		if text := printtest.Text(t, printed.Body); !strings.Contains(text, card.Code) || !strings.Contains(text, "Card "+number) || !strings.Contains(text, "Breeder b1 · At the show") {
			t.Errorf("the card says %s", text)
		}
		links := codesAt(t, printtest.Pages(t, printed.Body, 300)[0], size[0], size[1], size[2], size[3])
		want := f.Server.Origin() + "/c#" + strings.ReplaceAll(card.Code, "-", "")
		if !slices.Equal(links, []string{want}) && !slices.Equal(links, []string{f.Server.ClaimURL(card.Code)}) {
			t.Fatalf("the card's code opens %v, want %s", links, want)
		}
		_, code, _ := strings.Cut(links[0], "#")

		phone := f.Page()
		if reason, _, meta := phone.Call("POST", "/v1/claims:lookUp", map[string]any{"claimCode": code}).Problem(); reason != "CARD_WAITING" || meta["breeder"] != "Breeder b1" {
			t.Errorf("looked up: %s, %v", reason, meta)
		}
		claim := map[string]any{"claimCode": code, "keeperName": "Kim", "requestId": f.ID("claim-request")}
		if got := phone.Call("POST", "/v1/claims:wait", claim).OK(); got.Text("card", "breederName") != "Breeder b1" || got.Text("sessionToken") != "" {
			t.Errorf("waiting: %s", got.Body)
		}
		if got := phone.Call("GET", "/v1/keepers/me/cards", nil).OK(); !strings.Contains(string(got.Body), "Breeder b1") {
			t.Errorf("the keeper's cards: %s", got.Body)
		}

		sold := f.Clock.Now().Add(-time.Hour).Format(time.RFC3339)
		sale := map[string]any{"animal": "breeders/b1/animals/" + breeder.NewAnimal(), "handoverTime": sold, "cardCode": code,
			"price": map[string]any{"amount": "120", "currency": "EUR"}}
		made := breeder.Call("POST", "/v1/breeders/b1/handovers?requestId="+f.ID("request"), sale).OK()
		if made.Text("claimCode") != "" || made.Text("claimUrl") != "" || made.Text("handover", "state") != "HANDOVER_STATE_CLAIMED" || made.Text("handover", "price", "amount") != "120" {
			t.Errorf("the sale: %s", made.Body)
		}
		if strings.Contains(strings.ReplaceAll(string(made.Body), "-", ""), strings.ReplaceAll(code, "-", "")) {
			t.Error("the answer has the card's code in it")
		}
		if got := phone.Call("GET", "/v1/keepers/me/cards", nil).OK(); strings.Contains(string(got.Body), "Breeder b1") {
			t.Errorf("still waiting: %s", got.Body)
		}
		mine := phone.Call("GET", "/v1/"+made.Text("handover", "name"), nil).OK()
		if strings.Contains(string(mine.Body), "EUR") {
			t.Errorf("the keeper sees the price: %s", mine.Body)
		}
		// It is a sale once, and printed no more.
		sale["animal"] = "breeders/b1/animals/" + breeder.NewAnimal()
		if reason, _, meta := breeder.Call("POST", "/v1/breeders/b1/handovers?requestId="+f.ID("request"), sale).Problem(); reason != "CARD_USED" || meta["handover"] == "" {
			t.Errorf("the card again: %s, %v", reason, meta)
		}
		if reason, _, _ := breeder.Call("POST", "/v1/breeders/b1/cards.pdf", body).Problem(); reason != "CARD_USED" {
			t.Errorf("printed again: %s", reason)
		}
	}
}

// Codes of blank cards are no easier to guess than others: tries are counted.
func TestBlankCardsAreNotGuessed(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	f.NewBreeder("b1")
	guesser := f.Page()
	for range 100 {
		claim := map[string]any{"claimCode": "00000-00000", "requestId": f.ID("claim-request")}
		reason, _, _ := guesser.Call("POST", "/v1/claims:wait", claim).Problem()
		if reason == "TOO_MANY_TRIES" {
			return
		}
		if reason != "CODE_WRONG" {
			t.Fatalf("reason %s", reason)
		}
	}
	t.Error("nobody counts the tries")
}
