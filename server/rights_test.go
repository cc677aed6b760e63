package server_test

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/casefile"
	"warmhand/server/servertest"
)

// unzip reads an archive whole.
func unzip(t *testing.T, data []byte) map[string]string {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	files := map[string]string{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatalf("%s: %v", f.Name, err)
		}
		files[f.Name] = string(text)
	}
	return files
}

// picturesOn are the files in the photos folder.
func picturesOn(t *testing.T, f *servertest.Fixture) (n int) {
	t.Helper()
	if err := filepath.WalkDir(filepath.Join(f.DataDir, "photos"), func(_ string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			n++
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return n
}

// livedIn is a keeper's case with one of everything that says something of the
// person: the name and every text holds the word Zanzibar.
func livedIn(t *testing.T, f *servertest.Fixture, breeder, keeper *servertest.Client, animal string) (caseID string) {
	t.Helper()
	caseID, code := breeder.HandOver(animal)
	keeper.Call("POST", "/v1/claims", map[string]any{"claimCode": code, "keeperName": "Kim of Zanzibar", "requestId": f.ID("claim-request")}).OK()
	name := "breeders/" + breeder.Breeder + "/cases/" + caseID
	photo := f.ID("photo")
	res := keeper.Open(t.Context(), "PUT", "/v1/"+name+"/photos/"+photo, bytes.NewReader(picture(t, 400, 300)), "Content-Type", "image/jpeg")
	res.Body.Close()
	if res.StatusCode != 200 {
		t.Fatalf("a picture: %d", res.StatusCode)
	}
	put := func(c *servertest.Client, body map[string]any) {
		t.Helper()
		body["happenTime"], body["case"] = f.Clock.Now(), name
		c.Call("POST", "/v1/breeders/"+breeder.Breeder+"/animals/"+animal+"/entries?entryId="+f.ID("entry"), body).OK()
	}
	put(keeper, map[string]any{"weighIn": map[string]any{"massG": 510}, "note": "after a trip to Zanzibar"})
	put(keeper, map[string]any{"offer": map[string]any{"result": "OFFER_RESULT_EATEN", "prey": "rat"}})
	put(keeper, map[string]any{"message": map[string]any{"text": "=Greetings from Zanzibar", "photos": []string{photo}}})
	put(keeper, map[string]any{"setup": map[string]any{"answers": []map[string]any{{"point": "fumes", "choice": "near_it", "note": "by the map of Zanzibar"}}}})
	put(breeder, map[string]any{"message": map[string]any{"text": "Dear Kim, how is Zanzibar?"}})
	return caseID
}

func TestKeeperTakesAllAway(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder, keeper := f.NewBreeder("b1"), f.Page()
	animal := breeder.NewAnimal()
	breeder.Weigh("b1", animal, 500)
	f.Clock.Advance(time.Hour)
	livedIn(t, f, breeder, keeper, animal)

	got := keeper.Call("GET", "/v1/keepers/me/export.zip", nil).OK()
	files := unzip(t, got.Body)
	page, table, file := files["read-me.html"], files["animal-1/log.csv"], files["animal-1/case.jsonl"]
	for _, want := range []string{"after a trip to Zanzibar", "Greetings from Zanzibar", "Dear Kim", "by the map of Zanzibar", "510\u00a0g", "500\u00a0g", "Breeder b1"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for name, text := range files {
		for _, not := range []string{"the breeder's own", "pays in two parts"} {
			if strings.Contains(text, not) {
				t.Errorf("%s holds the breeder's %q", name, not)
			}
		}
	}
	rows, err := csv.NewReader(strings.NewReader(table)).ReadAll()
	if err != nil || len(rows) != 7 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	if !strings.Contains(table, "'=Greetings") {
		t.Errorf("a spreadsheet would take a message for a formula:\n%s", table)
	}
	if cases, err := casefile.ReadAll(strings.NewReader(file)); err != nil || len(cases) != 1 || len(cases[0].Log) != 6 {
		t.Errorf("the case file: %v, %v", cases, err)
	}
	pictures := 0
	for name, text := range files {
		if strings.HasPrefix(name, "animal-1/pictures/") && strings.HasPrefix(text, "\xff\xd8") {
			pictures++
			if !strings.Contains(page, name) {
				t.Errorf("the page does not show %s", name)
			}
		}
	}
	if pictures != 1 {
		t.Errorf("%d pictures", pictures)
	}
	if got := f.Page().Call("GET", "/v1/keepers/me/export.zip", nil); got.Status != 401 {
		t.Errorf("without a sign-in: %d", got.Status)
	}
	if got := breeder.Call("GET", "/v1/keepers/me/export.zip", nil); got.Status != 403 {
		t.Errorf("a breeder: %d", got.Status)
	}
}

func TestKeeperLeaves(t *testing.T) {
	testOn(t, func(t *testing.T, f *servertest.Fixture) {
		breeder, second, keeper := f.NewBreeder("b1"), f.NewBreeder("b2"), f.Page()
		animal := breeder.NewAnimal()
		breeder.Weigh("b1", animal, 500)
		f.Clock.Advance(time.Hour)
		caseID := livedIn(t, f, breeder, keeper, animal)
		ended := livedIn(t, f, breeder, keeper, breeder.NewAnimal())
		breeder.Call("POST", "/v1/breeders/b1/cases/"+ended+":end", map[string]any{"outcome": "OUTCOME_SETTLED", "requestId": f.ID("request"), "note": "Kim flies to Zanzibar"}).OK()
		stays := f.Page()
		_, code := second.HandOver(second.NewAnimal())
		stays.Claim(code).OK()

		// Somebody who was let in for one breeder's cases reaches no other's.
		elsewhere := livedIn(t, f, second, keeper, second.NewAnimal())
		half := f.Page()
		half.Call("POST", "/v1/access:useKeeperCode", map[string]any{"requestId": f.ID("keeper-request"),
			"code": second.Call("POST", "/v1/breeders/b2/cases/"+elsewhere+":createKeeperCode", map[string]any{}).OK().Text("code", "code")}).OK()
		if got := half.Call("POST", "/v1/keepers/me:leave", map[string]any{"confirm": "Leave"}); got.Status != 400 {
			t.Errorf("not confirmed: %d %s", got.Status, got.Body)
		}
		if got := half.Call("POST", "/v1/keepers/me:leave", map[string]any{"confirm": "leave"}).OK().Get("cases"); got != 1.0 {
			t.Errorf("left %v cases", got)
		}
		if got := half.Call("GET", "/v1/keepers/me/cases", nil); got.Status != 401 {
			t.Errorf("the sign-in that left: %d", got.Status)
		}
		if list := keeper.Call("GET", "/v1/keepers/me/cases", nil).OK().Get("cases").([]any); len(list) != 2 {
			t.Fatalf("%d cases are left elsewhere", len(list))
		}
		if n := picturesOn(t, f); n != 2 {
			t.Errorf("%d files of pictures, and another case still shows it", n)
		}

		// A picture that is refused after its bytes came in must not stay behind.
		photos := keeper.Call("GET", "/v1/breeders/b1/cases/"+caseID+"/photos", nil).OK().Get("photos").([]any)
		res := keeper.Open(t.Context(), "PUT", "/v1/"+photos[0].(map[string]any)["name"].(string), bytes.NewReader(picture(t, 300, 400)), "Content-Type", "image/jpeg")
		res.Body.Close()
		if res.StatusCode != 409 || picturesOn(t, f) != 4 {
			t.Errorf("another picture under the same id: %d, %d files", res.StatusCode, picturesOn(t, f))
		}
		f.Clock.Advance(time.Minute)
		weights := breeder.Call("GET", "/v1/breeders/b1/animals/"+animal+"/entries?kinds=weigh_in", nil).OK().Get("entries").([]any)
		before := breeder.Call("GET", "/v1/breeders/b1/cases/"+caseID, nil).OK()
		if there := f.Mentions("Zanzibar"); len(there) != 4 {
			t.Errorf("before leaving, the person is in %v", there) // so that the search is known to find
		}
		keeper.Call("POST", "/v1/keepers/me:leave", map[string]any{"confirm": "leave"}).OK()
		if got := keeper.Call("GET", "/v1/keepers/me/cases", nil); got.Status != 401 {
			t.Errorf("after leaving: %d", got.Status)
		}
		kept := breeder.Call("GET", "/v1/breeders/b1/cases/"+caseID, nil).OK()
		if kept.Text("case", "outcome") != "OUTCOME_LEFT" || kept.Text("case", "endTime") == "" || kept.Text("case", "keeperName") != "" || kept.Get("case", "claimed") != true {
			t.Errorf("the case that was open: %s", kept.Body)
		}
		if before.Text("case", "keeperName") != "Kim of Zanzibar" {
			t.Error("there was no name to erase")
		}
		after := breeder.Call("GET", "/v1/breeders/b1/animals/"+animal+"/entries?kinds=weigh_in", nil).OK().Get("entries").([]any)
		if len(weights) != 2 || len(after) != 2 || after[0].(map[string]any)["weighIn"].(map[string]any)["massG"] != 510.0 || after[0].(map[string]any)["note"] != "" {
			t.Errorf("weights %v", after)
		}
		if got := breeder.Call("GET", "/v1/breeders/b1/cases/"+ended, nil).OK().Text("case", "outcome"); got != "OUTCOME_SETTLED" {
			t.Errorf("a case that had ended: %s", got)
		}
		if left := f.Mentions("Zanzibar"); len(left) > 0 {
			t.Errorf("something of the person is left in %v", left)
		}
		stays.Call("GET", "/v1/keepers/me/cases", nil).OK()
		if n := picturesOn(t, f); n != 0 {
			t.Errorf("%d files of pictures are left", n)
		}
		for _, name := range []string{"cases/" + caseID + ":createKeeperCode", "cases/" + caseID + ":reopen"} {
			if got := breeder.Call("POST", "/v1/breeders/b1/"+name, map[string]any{"requestId": f.ID("request")}); got.Status != 400 {
				t.Errorf("%s: %d %s", name, got.Status, got.Body)
			}
		}
		// The animal can be handed over again, and the case replays.
		breeder.HandOver(animal)
		text := breeder.Call("GET", "/v1/breeders/b1/cases/"+caseID+"/case.jsonl", nil).OK().Body
		if cases, err := casefile.ReadAll(bytes.NewReader(text)); err != nil || cases[0].Log[len(cases[0].Log)-1].Body != (care.Ended{Outcome: care.OutcomeLeft}) {
			t.Errorf("%v in %s", err, text)
		}
	})
}

func TestWhoLooked(t *testing.T) {
	testOn(t, func(t *testing.T, f *servertest.Fixture) {
		breeder, keeper := f.NewBreeder("b1"), f.Page()
		f.Write(func(tx care.Tx) error {
			return tx.InsertUser(care.User{BreederID: "b1", ID: "b1-helper", Name: "Sam", Role: care.Helper, CreatedAt: f.Clock.Now()})
		})
		helper := f.SignIn(care.Actor{Kind: care.Helper, BreederID: "b1", UserID: "b1-helper"})
		animal := breeder.NewAnimal()
		caseID, code := breeder.HandOver(animal)
		name := "/v1/breeders/b1/cases/" + caseID
		breeder.Call("GET", name, nil).OK() // nobody's yet
		looks := func(c *servertest.Client, of string) (rows []map[string]any) {
			t.Helper()
			list, _ := c.Call("GET", of+"/looks", nil).OK().Get("looks").([]any)
			for _, row := range list {
				rows = append(rows, row.(map[string]any))
			}
			return rows
		}
		if got := looks(breeder, "/v1/breeders/b1"); len(got) != 0 {
			t.Errorf("looks at a card that nobody claimed: %v", got)
		}
		keeper.Claim(code).OK()
		keeper.Call("GET", name, nil).OK() // one's own is no look
		breeder.Call("GET", "/v1/breeders/b1/cases", nil).OK()
		for range 3 {
			helper.Call("GET", name, nil).OK()
			f.Clock.Advance(time.Minute)
		}
		helper.Call("GET", "/v1/breeders/b1/animals/"+animal+"/entries", nil).OK()
		f.Clock.Advance(24 * time.Hour)
		token := breeder.Call("POST", "/v1/access/tokens", map[string]any{"label": "scale", "readOnly": true}).OK().Text("secret")
		f.Program(token).Call("GET", name+"/case.jsonl", nil).OK()
		breeder.Call("GET", name+"0", nil) // which is not there

		got := looks(keeper, name)
		if len(got) != 3 || got[0]["by"] != "ACTOR_KIND_PROGRAM" || got[0]["what"] != "LOOK_KIND_FILE" || got[0]["byName"] != "" {
			t.Fatalf("the keeper is told %v", got)
		}
		if row := got[2]; row["by"] != "ACTOR_KIND_HELPER" || row["what"] != "LOOK_KIND_CASE" || row["count"] != 3.0 ||
			row["firstTime"] != "2026-06-01T12:00:00Z" || row["lastTime"] != "2026-06-01T12:02:00Z" {
			t.Errorf("the keeper is told %v", row)
		}
		all := looks(breeder, "/v1/breeders/b1")
		if len(all) != 3 || all[0]["byName"] != "scale" || all[2]["byName"] != "Sam" || all[2]["animalName"] != animal {
			t.Errorf("the owner is told %v", all)
		}
		for who, c := range map[string]*servertest.Client{"helper": helper, "keeper": keeper, "another": f.NewBreeder("b2")} {
			if got := c.Call("GET", "/v1/breeders/b1/looks", nil); got.Status < 400 {
				t.Errorf("%s sees the whole log: %s", who, got.Body)
			}
		}
		// What was not written down yet is written down when the server stops.
		helper.Call("GET", name, nil).OK()
		if err := f.Stop(); err != nil {
			t.Fatal(err)
		}
		if left := f.Mentions("b1-helper"); !slices.Contains(left, "looks.by_id") {
			t.Errorf("%v", left)
		}
	})
}

func TestBreederTakesAllAndIsErased(t *testing.T) {
	testOn(t, func(t *testing.T, f *servertest.Fixture) {
		breeder, second, keeper, both := f.NewBreeder("b1-erased"), f.NewBreeder("b2"), f.Page(), f.Page()
		animal := breeder.NewAnimal()
		breeder.Weigh("b1-erased", animal, 500)
		f.Clock.Advance(time.Hour)
		caseID := livedIn(t, f, breeder, keeper, animal)
		livedIn(t, f, breeder, both, breeder.NewAnimal())
		stays := livedIn(t, f, second, both, second.NewAnimal())
		breeder.Call("GET", "/v1/breeders/b1-erased/cases/"+caseID, nil).OK()
		breeder.HandOver(breeder.NewAnimal()) // a card that nobody claimed
		waiting, more := f.Page(), breeder.NewCards(3)
		for i, c := range []*servertest.Client{waiting, both} {
			c.Call("POST", "/v1/claims:wait", map[string]any{"claimCode": more[i].Code, "keeperName": "Sam Waits", "requestId": f.ID("claim-request")}).OK()
		}

		breeder.Call("POST", "/v1/me/reminders:addDevice", subscription(t, "https://push.example.org/b1-erased")).OK()

		files := unzip(t, breeder.Call("GET", "/v1/breeders/b1-erased/everything.zip", nil).OK().Body)
		if text := files["account.jsonl"]; !strings.Contains(text, "Push to a device, since ") || !strings.Contains(text, "Europe/Vienna") {
			t.Errorf("the account lacks its reminders:\n%s", text)
		}
		for name, want := range map[string]string{"account.jsonl": "Owner", "cases.jsonl": "after a trip to Zanzibar", "handovers.jsonl": "pays in two parts",
			"who-looked.csv": "case", "stock.xlsx": "PK", "cards.jsonl": "Sam Waits"} {
			if !strings.Contains(files[name], want) {
				t.Errorf("%s lacks %q", name, want)
			}
		}
		if cases, err := casefile.ReadAll(strings.NewReader(files["cases.jsonl"])); err != nil || len(cases) != 3 {
			t.Errorf("%d cases, %v", len(cases), err)
		}
		pictures := 0
		for name := range files {
			if strings.HasPrefix(name, "pictures/") {
				pictures++
			}
		}
		if pictures != 2 {
			t.Errorf("%d pictures", pictures)
		}
		for who, c := range map[string]*servertest.Client{"another": second, "a keeper": keeper, "nobody": f.Page()} {
			if got := c.Call("GET", "/v1/breeders/b1-erased/everything.zip", nil); got.Status < 400 {
				t.Errorf("%s got everything", who)
			}
		}

		schedule := func(confirm string) *servertest.Answer {
			return breeder.Call("POST", "/v1/breeders/b1-erased:scheduleErasure", map[string]any{"confirm": confirm})
		}
		if got := schedule("yes"); got.Status != 400 {
			t.Errorf("not confirmed: %d", got.Status)
		}
		schedule("erase").OK()
		f.Clock.Advance(time.Hour)
		when := schedule("erase").OK().Text("breeder", "eraseTime")
		if when != "2026-06-15T13:00:00Z" {
			t.Errorf("erased at %s; asking again must not put it off", when)
		}
		kase := keeper.Call("GET", "/v1/breeders/b1-erased/cases/"+caseID, nil).OK()
		if kase.Text("case", "eraseTime") != when || breeder.Call("GET", "/v1/me", nil).OK().Text("eraseTime") != when {
			t.Errorf("the keeper is not told: %s", kase.Body)
		}
		if got := breeder.Call("POST", "/v1/breeders/b1-erased/handovers?requestId="+f.ID("request"), map[string]any{"animal": "breeders/b1-erased/animals/" + breeder.NewAnimal()}); got.Status != 400 {
			t.Errorf("a handover that would be erased: %d", got.Status)
		}
		breeder.Call("POST", "/v1/breeders/b1-erased:cancelErasure", map[string]any{}).OK()
		if got := keeper.Call("GET", "/v1/breeders/b1-erased/cases/"+caseID, nil).OK().Get("case", "eraseTime"); got != nil {
			t.Errorf("called off, and the keeper is told %v", got)
		}
		schedule("erase").OK()
		erase := func() {
			t.Helper()
			if err := f.Server.EraseAccounts(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
		f.Clock.Advance(14*24*time.Hour - time.Second)
		erase()
		keeper.Call("GET", "/v1/breeders/b1-erased/cases/"+caseID, nil).OK()
		if there := f.Mentions("b1-erased"); len(there) < 10 {
			t.Errorf("before, the breeder is in %v only", there) // so that the search is known to find
		}
		f.Clock.Advance(time.Second)
		erase()
		if left := f.Mentions("b1-erased", "Breeder b1", "Sam Waits"); len(left) > 0 {
			t.Errorf("something of the breeder is left in %v", left)
		}
		if got := breeder.Call("GET", "/v1/breeders/b1-erased", nil); got.Status != 401 {
			t.Errorf("the breeder: %d", got.Status)
		}
		if got := keeper.Call("GET", "/v1/keepers/me/cases", nil); got.Status != 401 {
			t.Errorf("the keeper of this breeder alone: %d", got.Status)
		}
		if got := waiting.Call("GET", "/v1/keepers/me/cards", nil); got.Status != 401 {
			t.Errorf("who waited for this breeder alone: %d", got.Status)
		}
		if list := both.Call("GET", "/v1/keepers/me/cases", nil).OK().Get("cases").([]any); len(list) != 1 || list[0].(map[string]any)["name"] != "breeders/b2/cases/"+stays {
			t.Errorf("the keeper of two breeders has %v", list)
		}
		if n := picturesOn(t, f); n != 2 { // the second breeder's case shows the same picture
			t.Errorf("%d files of pictures", n)
		}
	})
}

// What the service suggests can be agreed on, whatever it is about, and stands in the keeper's copy in the keeper's
// language, as how the follow-up ended does.
func TestAgreedStepsInTheCopy(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	breeder, keeper := f.NewBreeder("b1"), f.Page()
	animal := breeder.NewAnimal()
	breeder.Weigh("b1", animal, 500)
	f.Clock.Advance(time.Hour)
	name := "breeders/b1/cases/" + livedIn(t, f, breeder, keeper, animal)

	f.Clock.Advance(time.Hour)
	keeper.Call("POST", "/v1/breeders/b1/animals/"+animal+"/entries?entryId="+f.ID("entry"), map[string]any{"happenTime": f.Clock.Now(), "case": name,
		"setup": map[string]any{"answers": []map[string]any{{"point": "heat_rock", "choice": "in_use"}}}}).OK()
	agreed := map[string]bool{}
	for _, s := range breeder.Call("GET", "/v1/"+name, nil).OK().Get("case", "assessment", "steps").([]any) {
		code := s.(map[string]any)["code"].(string)
		agreed[code] = true
		breeder.Call("POST", "/v1/breeders/b1/animals/"+animal+"/entries?entryId="+f.ID("entry"),
			map[string]any{"happenTime": f.Clock.Now(), "case": name, "step": map[string]any{"step": code, "holdsDays": 1}}).OK()
	}
	if !agreed["fix:heat_rock"] {
		t.Fatalf("suggested are %v: the test needs one with a point", agreed)
	}
	breeder.Call("POST", "/v1/"+name+":end", map[string]any{"outcome": "OUTCOME_LOST_TOUCH", "requestId": f.ID("request")}).OK()
	keeper.Call("POST", "/v1/me:setLanguage", map[string]any{"language": "de"}).OK()
	page := unzip(t, keeper.Call("GET", "/v1/keepers/me/export.zip", nil).OK().Body)["read-me.html"]
	for _, want := range []string{"in Ordnung bringen: Heizsteine, für 1 Tag", "Begleitung beendet", "kein Kontakt mehr", "gefressen"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, not := range []string{"fix", "lost", "heat", "eaten"} {
		if strings.Contains(page, ">"+not) {
			t.Errorf("the page says %q", not)
		}
	}
}
