package server_test

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"hash/crc32"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/server/servertest"
)

// badInput is one row of testdata/bad-input.json: a request that has to be
// refused, and how.
type badInput struct {
	Name, As, Method, Path string
	Body                   json.RawMessage
	Header                 map[string]string
	// Generate says what the body is when it is not the JSON of Body: raw (the
	// text in it), bytes:N, chunks:N, json:N, deep:N, deepmessage:N, jpeg, half-jpeg, png-bomb.
	Generate string
	Status   int
	Reason   string
	Field    string
}

// Every bad input gets an error that says why and names the field, and changes
// nothing.
func TestBadInput(t *testing.T) {
	t.Parallel()
	data, err := os.ReadFile("testdata/bad-input.json")
	if err != nil {
		t.Fatal(err)
	}
	var rows []badInput
	if err := json.Unmarshal(data, &rows); err != nil {
		t.Fatal(err)
	}
	if len(rows) < 60 {
		t.Fatalf("only %d rows", len(rows))
	}
	testRows := func(t *testing.T, f *servertest.Fixture) {
		breeder, other := f.NewBreeder("b1"), f.NewBreeder("b2")
		animal := breeder.NewAnimal()
		entry := breeder.Weigh("b1", animal, 540)
		request := f.ID("request")
		handover := breeder.Call("POST", "/v1/breeders/b1/handovers?requestId="+request, map[string]any{"animal": "breeders/b1/animals/" + animal}).OK()
		name := handover.Text("handover", "case")
		code := handover.Text("claimCode")
		keeper, stranger := f.Page(), f.Page()
		keeper.Claim(code).OK()
		keeperEntry := keeper.Weigh("b1", animal, 540)
		strangerCase, strangerCode := breeder.HandOver(breeder.NewAnimal())
		stranger.Claim(strangerCode).OK()
		otherAnimal := other.NewAnimal()
		otherEntry := other.Weigh("b2", otherAnimal, 540)
		otherCase, _ := other.HandOver(otherAnimal)
		free := breeder.NewAnimal()
		openCase, _ := breeder.HandOver(breeder.NewAnimal())
		token := breeder.Call("GET", "/v1/breeders/b1/handovers?pageSize=1", nil).OK().Text("nextPageToken")
		jpg := picture(t, 300, 200)

		who := map[string]*servertest.Client{"breeder": breeder, "keeper": keeper, "stranger": stranger, "nobody": f.Page()}
		for _, row := range rows {
			fill := strings.NewReplacer("{animal}", animal, "{entry}", entry, "{keeperEntry}", keeperEntry, "{case}", name[strings.LastIndexByte(name, '/')+1:],
				"{strangerCase}", strangerCase, "{otherAnimal}", otherAnimal, "{otherEntry}", otherEntry, "{otherCase}", otherCase, "{free}", free, "{openCase}", openCase,
				"{request}", request, "{usedCode}", code, "{pageToken}", token, "{id}", f.ID("bad-input"))
			var body any
			kind, size, _ := strings.Cut(row.Generate, ":")
			n, _ := strconv.Atoi(size)
			switch kind {
			case "":
				if row.Body != nil {
					body = json.RawMessage(fill.Replace(string(row.Body)))
				}
			case "raw":
				var text string
				if err := json.Unmarshal(row.Body, &text); err != nil {
					t.Fatal(err)
				}
				body = []byte(text)
			case "bytes":
				body = make([]byte, n)
			case "chunks":
				body = io.LimitReader(endless{}, int64(n))
			case "json":
				body = []byte(`{"note":"` + strings.Repeat("x", n) + `"}`)
			case "deep":
				body = []byte(strings.Repeat("[", n) + strings.Repeat("]", n))
			case "deepmessage":
				body = []byte(strings.Repeat(`{"note":`, n) + "1" + strings.Repeat("}", n))
			case "jpeg":
				body = jpg
			case "half-jpeg":
				body = jpg[:len(jpg)/2]
			case "png-bomb":
				body = pngBomb()
			default:
				t.Fatalf("%s: what is %q", row.Name, row.Generate)
			}
			var header []string
			for k, v := range row.Header {
				header = append(header, k, v)
			}
			f.Clock.Advance(10 * time.Second) // for the limits on guessing
			before := everything(t, f)
			got := who[row.As].Call(row.Method, fill.Replace(row.Path), body, header...)
			reason, fields, _ := got.Problem()
			if got.Status != row.Status || reason != row.Reason || row.Field != "" && !slices.Contains(fields, row.Field) {
				t.Errorf("%s: got %d %s %v, want %d %s %s: %s", row.Name, got.Status, reason, fields, row.Status, row.Reason, row.Field, got.Body)
			}
			if text := got.Text("message"); text == "" || strings.Contains(text, "proto:") || strings.Contains(text, "rpc error") {
				t.Errorf("%s: the text is %q", row.Name, text)
			}
			if after := everything(t, f); after != before {
				t.Errorf("%s: it changed something\nbefore %s\nafter  %s", row.Name, before, after)
			}
		}
	}
	for _, postgres := range []bool{false, true} {
		t.Run(map[bool]string{false: "sqlite", true: "postgres"}[postgres], func(t *testing.T) {
			t.Parallel()
			testRows(t, servertest.Start(t, servertest.Options{Postgres: postgres}))
		})
	}
}

// everything is all that the two breeders have, as text.
func everything(t *testing.T, f *servertest.Fixture) string {
	t.Helper()
	var all []any
	err := f.Server.Store().Read(t.Context(), func(tx care.Tx) error {
		counts, err := tx.Counts()
		if err != nil {
			return err
		}
		all = []any{counts}
		for _, b := range []string{"b1", "b2"} {
			account, err := tx.Breeder(b)
			if err != nil {
				return err
			}
			animals, _, err := tx.ListAnimals(b, "", care.Cursor{}, 1000)
			if err != nil {
				return err
			}
			for _, a := range animals {
				log, err := tx.Log(b, a.ID)
				if err != nil {
					return err
				}
				all = append(all, log)
			}
			cases, _, err := tx.ListCases(b, care.CaseQuery{Open: true, Closed: true}, care.Cursor{}, 1000)
			if err != nil {
				return err
			}
			for _, c := range cases {
				photos, err := tx.ListPhotos(b, c.ID)
				if err != nil {
					return err
				}
				all = append(all, photos)
			}
			handovers, _, err := tx.ListHandovers(b, "", care.Cursor{}, 1000)
			if err != nil {
				return err
			}
			tokens, err := tx.ListSecrets(b, care.SecretToken)
			if err != nil {
				return err
			}
			all = append(all, account, animals, cases, handovers, len(tokens))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

type endless struct{}

func (endless) Read(p []byte) (int, error) { return len(p), nil }

// pngBomb is a PNG whose header promises 40000 × 40000 pixels.
func pngBomb() []byte {
	var b bytes.Buffer
	b.WriteString("\x89PNG\r\n\x1a\n")
	chunk := func(kind string, data []byte) {
		binary.Write(&b, binary.BigEndian, uint32(len(data)))
		body := append([]byte(kind), data...)
		b.Write(body)
		binary.Write(&b, binary.BigEndian, crc32.ChecksumIEEE(body))
	}
	head := make([]byte, 13)
	binary.BigEndian.PutUint32(head, 40000)
	binary.BigEndian.PutUint32(head[4:], 40000)
	head[8], head[9] = 8, 6
	chunk("IHDR", head)
	chunk("IDAT", make([]byte, 1000))
	chunk("IEND", nil)
	return b.Bytes()
}
