package server_test

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"warmhand/internal/care"
	"warmhand/server/servertest"
)

// list is one list that a page brings in.
type list struct {
	t    testing.TB
	page *servertest.Client
	name string
	// mapping is as the last preview understood it.
	mapping map[string]any
}

func bring(t testing.TB, page *servertest.Client, file string, data []byte) *list {
	t.Helper()
	l := &list{t: t, page: page, name: "breeders/" + page.Breeder + "/imports/" + uuid.NewString()}
	page.Call("PUT", "/v1/"+l.name+"/file?name="+file, data, "Content-Type", "text/csv").OK()
	return l
}

func (l *list) preview(change map[string]any) *servertest.Answer {
	l.t.Helper()
	if l.mapping == nil {
		l.mapping = map[string]any{}
	}
	maps.Copy(l.mapping, change)
	a := l.page.Call("POST", "/v1/"+l.name+":preview", map[string]any{"mapping": l.mapping}).OK()
	l.mapping, _ = a.Get("mapping").(map[string]any)
	return a
}

func (l *list) confirm(extra map[string]any) *servertest.Answer {
	l.t.Helper()
	body := map[string]any{"mapping": l.mapping}
	maps.Copy(body, extra)
	return l.page.Call("POST", "/v1/"+l.name+":confirm", body)
}

// until waits for a state.
func (l *list) until(state string) *servertest.Answer {
	l.t.Helper()
	for deadline := time.Now().Add(time.Minute); ; {
		a := l.page.Call("GET", "/v1/"+l.name, nil).OK()
		if a.Text("import", "state") == "IMPORT_STATE_"+state {
			return a
		}
		if time.Now().After(deadline) || a.Text("import", "state") == "IMPORT_STATE_FAILED" && state != "FAILED" {
			l.t.Fatalf("not %s: %s", state, a.Body)
		}
		select {
		case <-time.After(5 * time.Millisecond):
		case <-l.t.Context().Done():
			l.t.Fatal("the test ended")
		}
	}
}

func counts(a *servertest.Answer) string {
	return fmt.Sprintf("animals %v entries %v already %v wrong %v warnings %v", a.Get("animals"), a.Get("entries"), a.Get("already"), a.Get("wrong"), a.Get("warnings"))
}

// held is all that a breeder has: animals with what counts in their logs.
func held(t *testing.T, f *servertest.Fixture, breeder string) (out []string) {
	t.Helper()
	f.Write(func(tx care.Tx) error {
		out = nil
		all, _, err := tx.ListAnimals(breeder, "", care.Cursor{}, 1000)
		if err != nil {
			return err
		}
		for _, a := range all {
			log, err := tx.Log(breeder, a.ID)
			if err != nil {
				return err
			}
			line := fmt.Sprintf("%s %s %s:", a.Name, a.Species, a.Sex)
			for _, e := range log {
				if e.Current() {
					body, _ := care.EncodeBody(e.Body)
					line += fmt.Sprintf(" %s %s", e.HappenedAt.Format("01-02"), body)
				}
			}
			out = append(out, line)
		}
		return nil
	})
	slices.Sort(out)
	return out
}

const animalsCSV = `Name;Species;Sex;Hatched;Genes;Dam;Last weight
Hazel;Ball python;0.1;30.07.2019;pastel;;
Teasel;ball python;f;03.05.2025;pastel, het clown;Hazel;
Larch;dragon;m;03.05.2025;;Hazel;
`

const logCSV = "\xef\xbb\xbfAnimal,Date,Weight (g),Fed,Prey\n" +
	"Teasel,2025-06-01,66,yes,rat pup\n" +
	"Teasel,2025-06-01,,yes,rat pup\n" + // a second meal of the day
	"Teasel,2025-06-08,700,no,\n" + // most likely 70
	"Hazel,2025-06-08,2210,,\n" +
	"Nobody,2025-06-08,1,,\n"

// A list comes in as previewed, once, and goes as a whole.
func TestBringInAndUndo(t *testing.T) {
	testOn(t, bringInAndUndo)
}

func bringInAndUndo(t *testing.T, f *servertest.Fixture) {
	page := f.NewBreeder("b1")
	page.NewAnimal()
	before := held(t, f, "b1")

	animals := bring(t, page, "animals.csv", []byte(animalsCSV))
	a := animals.preview(nil)
	if got := counts(a); got != "animals 2 entries 0 already 0 wrong 1 warnings 0" {
		t.Fatalf("%s: %s", got, a.Body)
	}
	if !slices.Equal(held(t, f, "b1"), before) {
		t.Error("a preview wrote something")
	}
	reason, fields, _ := animals.confirm(nil).Problem()
	if reason != "BAD_FIELD" || !slices.Equal(fields, []string{"leave_wrong"}) {
		t.Errorf("wrong rows: %s %v", reason, fields)
	}
	animals.confirm(map[string]any{"leaveWrong": true}).OK()
	animals.until("DONE")

	log := bring(t, page, "log.csv", []byte(logCSV))
	a = log.preview(nil)
	if got := counts(a); got != "animals 0 entries 6 already 0 wrong 1 warnings 1" {
		t.Fatalf("%s: %s", got, a.Body)
	}
	var problems struct {
		Problems []struct {
			Row                 int
			Column, Value, Text string
			Warning             bool
		}
	}
	a.Into(&problems)
	if p := problems.Problems; p[0].Row != 4 || !p[0].Warning || p[0].Column != "Weight (g)" || p[1].Row != 6 || p[1].Value != "Nobody" {
		t.Errorf("%+v", p)
	}
	log.confirm(map[string]any{"leaveWrong": true, "leaveRows": []int{4}}).OK()
	done := log.until("DONE")
	if done.Get("import", "entries") != 4.0 || done.Get("import", "done") != done.Get("import", "total") {
		t.Errorf("%s", done.Body)
	}
	log.confirm(map[string]any{"leaveWrong": true}).OK() // a repeat
	after := held(t, f, "b1")
	want := append([]string{
		`Hazel python_regius female: 06-08 {"mass_g":2210}`,
		`Teasel python_regius female: 06-01 {"mass_g":66} 06-01 {"result":"eaten","prey":"rat pup"} 06-01 {"result":"eaten","prey":"rat pup"}`,
	}, before...)
	if slices.Sort(want); !slices.Equal(after, want) {
		t.Errorf("held\n%s\nwant\n%s", strings.Join(after, "\n"), strings.Join(want, "\n"))
	}

	// The same once more.
	again := bring(t, page, "log.csv", []byte(strings.Replace(logCSV, "Teasel,2025-06-08,700,no,\n", "", 1)))
	if got := counts(again.preview(nil)); got != "animals 0 entries 0 already 4 wrong 1 warnings 0" {
		t.Errorf("again: %s", got)
	}
	if reason, _, _ := again.confirm(map[string]any{"leaveWrong": true}).Problem(); reason != "NOTHING_NEW" {
		t.Errorf("nothing new: %s", reason)
	}
	if same := bring(t, page, "log.csv", []byte(logCSV)).preview(nil); same.Text("earlierTime") == "" {
		t.Errorf("the same file is not recognised: %s", same.Body)
	}

	// Undone, both.
	page.Call("POST", "/v1/"+log.name+":undo", map[string]any{}).OK()
	if a := log.until("UNDONE"); a.Get("import", "entries") != 0.0 || len(a.Get("import", "kept").([]any)) != 0 {
		t.Errorf("undone: %s", a.Body)
	}
	page.Call("POST", "/v1/"+animals.name+":undo", map[string]any{}).OK()
	animals.until("UNDONE")
	if got := held(t, f, "b1"); !slices.Equal(got, before) {
		t.Errorf("undone, there is\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(before, "\n"))
	}
	if reason, _, _ := log.confirm(nil).Problem(); reason != "IMPORT_STATE" {
		t.Errorf("an undone list was confirmed: %s", reason)
	}
	// And in once more, as if it had never been.
	f.Clock.Advance(time.Minute)
	back := bring(t, page, "animals.csv", []byte(animalsCSV))
	back.preview(nil)
	back.confirm(map[string]any{"leaveWrong": true}).OK()
	back.until("DONE")
	if got := held(t, f, "b1"); len(got) != len(before)+2 {
		t.Errorf("again: %v", got)
	}
	var listed struct {
		Imports []struct{ Name, File, State string }
	}
	page.Call("GET", "/v1/breeders/b1/imports", nil).OK().Into(&listed)
	if len(listed.Imports) != 3 || listed.Imports[0].File != "animals.csv" {
		t.Errorf("%+v", listed)
	}
}

// What came later keeps what it needs of an import that is undone, and the
// import says so.
func TestUndoKeepsWhatIsNeeded(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	page := f.NewBreeder("b1")
	l := bring(t, page, "stock.csv", []byte(`id,name,species,dam,date,weight
one,Handed over,corn,,2025-06-01,20
two,Logged on,corn,,2025-06-01,21
three,Mother,corn,,2025-06-01,300
four,Corrected,corn,,2025-06-01,22
five,Gone,corn,,2025-06-01,23
`))
	l.preview(nil)
	l.confirm(nil).OK()
	l.until("DONE")
	f.Clock.Advance(time.Hour)
	page.HandOver("one")
	page.Weigh("b1", "two", 22)
	page.Call("POST", "/v1/breeders/b1/animals?animalId=young", map[string]any{"displayName": "Young", "species": "pantherophis_guttatus", "mother": "breeders/b1/animals/three"}).OK()
	var entries struct{ Entries []struct{ Name string } }
	page.Call("GET", "/v1/breeders/b1/animals/four/entries", nil).OK().Into(&entries)
	page.Call("POST", "/v1/breeders/b1/animals/four/entries?entryId="+uuid.NewString(), map[string]any{"happenTime": "2025-06-01T10:00:00Z", "replaces": entries.Entries[0].Name, "weighIn": map[string]any{"massG": 24}}).OK()

	page.Call("POST", "/v1/"+l.name+":undo", map[string]any{}).OK()
	a := l.until("UNDONE")
	var undone struct {
		Import struct {
			Animals, Entries int
			Kept             []struct{ DisplayName, Why string }
		}
	}
	a.Into(&undone)
	why := map[string]string{}
	for _, k := range undone.Import.Kept {
		why[k.DisplayName] = k.Why
	}
	for name, word := range map[string]string{"Handed over": "handed over", "Logged on": "logged", "Mother": "Young", "Corrected": "logged"} {
		if !strings.Contains(why[name], word) {
			t.Errorf("%s: %q", name, why[name])
		}
	}
	if len(why) != 4 || undone.Import.Animals != 4 || undone.Import.Entries != 2 {
		t.Errorf("%s", a.Body)
	}
	got := held(t, f, "b1")
	want := []string{
		`Corrected pantherophis_guttatus unknown: 06-01 {"mass_g":24}`,
		`Handed over pantherophis_guttatus unknown: 06-01 {"mass_g":20}`,
		"Logged on pantherophis_guttatus unknown: " + f.Clock.Now().Format("01-02") + ` {"mass_g":22}`,
		"Mother pantherophis_guttatus unknown:", "Young pantherophis_guttatus unknown:",
	}
	if !slices.Equal(got, want) {
		t.Errorf("held\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// History that is brought in counts in the open case of its animal.
func TestBringInHistoryOfACase(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	page := f.NewBreeder("b1")
	animal := page.NewAnimal()
	page.Weigh("b1", animal, 120)
	caseID, code := page.HandOver(animal)
	f.Page().Claim(code).OK()
	version := func() (v int64) {
		f.Write(func(tx care.Tx) error {
			c, err := tx.Case("b1", caseID)
			v = c.Version
			return err
		})
		return v
	}
	was := version()
	l := bring(t, page, "log.csv", []byte("animal,date,weight\n"+animal+",2026-01-20,80\n"+animal+",2026-02-20,100\n"))
	l.preview(nil)
	l.confirm(nil).OK()
	l.until("DONE")
	brought := version()
	if brought == was {
		t.Error("the case was not assessed anew")
	}
	page.Call("POST", "/v1/"+l.name+":undo", map[string]any{}).OK()
	l.until("UNDONE")
	if version() == brought {
		t.Error("the case was not assessed anew after undoing")
	}
}

// Others' lists do not exist, keepers bring in none, and what is no list is
// refused.
func TestListsAreTheBreedersOwn(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	page, other := f.NewBreeder("b1"), f.NewBreeder("b2")
	l := bring(t, page, "animals.csv", []byte(animalsCSV))
	theirs := *l
	theirs.page = other
	for what, a := range map[string]*servertest.Answer{
		"get": other.Call("GET", "/v1/"+l.name, nil), "preview": other.Call("POST", "/v1/"+l.name+":preview", map[string]any{}),
		"confirm": theirs.confirm(nil), "undo": other.Call("POST", "/v1/"+l.name+":undo", map[string]any{}),
		"put": other.Call("PUT", "/v1/"+l.name+"/file", []byte(animalsCSV)), "list": other.Call("GET", "/v1/breeders/b1/imports", nil),
		"export": other.Call("GET", "/v1/breeders/b1/export/stock.zip", nil), "cases": other.Call("GET", "/v1/breeders/b1/cases.jsonl", nil),
		"no such file": page.Call("GET", "/v1/breeders/b1/export/stock.pdf", nil),
	} {
		if a.Status != http.StatusNotFound {
			t.Errorf("%s: %d %s", what, a.Status, a.Body)
		}
	}
	f.Write(func(tx care.Tx) error {
		return tx.InsertUser(care.User{BreederID: "b1", ID: "b1-helper", Name: "Helper", Role: care.Helper, CreatedAt: f.Clock.Now()})
	})
	helper := f.SignIn(care.Actor{Kind: care.Helper, BreederID: "b1", UserID: "b1-helper"})
	if a := helper.Call("POST", "/v1/"+l.name+":undo", map[string]any{}); a.Status != http.StatusForbidden {
		t.Errorf("a helper undid an import: %d", a.Status)
	}
	if a := f.Page().Call("PUT", "/v1/"+l.name+"/file", []byte(animalsCSV)); a.Status != http.StatusUnauthorized {
		t.Errorf("nobody: %d", a.Status)
	}

	put := func(id string, body any) *servertest.Answer {
		return page.Call("PUT", "/v1/breeders/b1/imports/"+id+"/file?name=a.csv", body)
	}
	for what, c := range map[string]struct {
		answer *servertest.Answer
		status int
		reason string
	}{
		"no id":            {put("mine", []byte(animalsCSV)), 400, "BAD_FIELD"},
		"a picture":        {put(uuid.NewString(), []byte("\x89PNG\r\n\x1a\n")), 400, "BAD_FIELD"},
		"too large":        {put(uuid.NewString(), bytes.Repeat([]byte("name,weight\n"), 2<<20)), 413, "TOO_LARGE"},
		"too large, whole": {put(uuid.NewString(), io.MultiReader(bytes.NewReader(bytes.Repeat([]byte("name,weight\n"), 1<<20)), bytes.NewReader(bytes.Repeat([]byte("name,weight\n"), 1<<20)))), 413, "TOO_LARGE"},
		"another content":  {put(l.name[strings.LastIndexByte(l.name, '/')+1:], []byte(logCSV)), 409, "ID_REUSED"},
	} {
		if reason, _, _ := c.answer.Problem(); c.answer.Status != c.status || reason != c.reason {
			t.Errorf("%s: %d %s", what, c.answer.Status, c.answer.Body)
		}
	}
	files, err := filepath.Glob(filepath.Join(f.DataDir, "photos", "waiting", "imports", "*"))
	if err != nil || len(files) != 1 {
		t.Errorf("kept: %q, %v", files, err)
	}
	for what, mapping := range map[string]map[string]any{
		"mapping.columns[0].meaning": {"columns": []map[string]any{{"meaning": "price"}}},
		"mapping.columns":            {"columns": []map[string]any{{"meaning": "name"}}},
		"mapping.species":            {"species": "sea_dragon"},
		"mapping.decimal":            {"decimal": "dot"},
		"file":                       {"sheet": "Second"},
	} {
		a := page.Call("POST", "/v1/"+l.name+":preview", map[string]any{"mapping": mapping})
		if _, fields, _ := a.Problem(); what == "file" && a.Status != 200 || what != "file" && (a.Status != 400 || !slices.Contains(fields, what)) {
			t.Errorf("%s: %d %s", what, a.Status, a.Body)
		}
	}
}

// A server that ends in the middle goes on where it was, and one whose list is
// gone says so.
func TestBringInGoesOn(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	page := f.NewBreeder("b1")
	var rows strings.Builder
	rows.WriteString("name,species,date,weight\n")
	day := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range 900 {
		fmt.Fprintf(&rows, "Snake %d,corn,%s,%d\n", i%7, day.AddDate(0, 0, i/7).Format(time.DateOnly), 100+i/7)
	}
	l := bring(t, page, "many.csv", []byte(rows.String()))
	l.preview(nil)
	importID := l.name[strings.LastIndexByte(l.name, '/')+1:]
	// As a server leaves it that was killed after the first pieces: confirmed,
	// with some of it there.
	half := bring(t, page, "half.csv", []byte(rows.String()[:len(rows.String())/2]))
	half.preview(nil)
	half.confirm(map[string]any{"leaveWrong": true}).OK()
	n := half.until("DONE").Get("import", "entries").(float64)
	l.confirm(nil).OK()
	if rest := l.until("DONE").Get("import", "entries").(float64); n+rest != 900 || n == 0 {
		t.Errorf("%v and %v of 900", n, rest)
	}
	f.Write(func(tx care.Tx) error { // once more from the beginning
		in, err := tx.Import("b1", importID)
		in.State = care.ImportRunning
		if err != nil {
			return err
		}
		return tx.UpdateImport(in)
	})
	other := bring(t, page, "other.csv", []byte("name,species\nZ,corn\n"))
	other.preview(nil)
	other.confirm(nil).OK() // wakes the worker
	other.until("DONE")
	if a := l.until("FAILED"); !strings.Contains(a.Text("import", "trouble"), "Choose the file again") {
		t.Errorf("%s", a.Body)
	}
	total := 0
	for _, line := range held(t, f, "b1") {
		total += strings.Count(line, "mass_g")
	}
	if total != 900 {
		t.Errorf("%d weights, want 900", total)
	}
	page.Call("POST", "/v1/"+l.name+":undo", map[string]any{}).OK()
	l.until("UNDONE")
	if left, err := filepath.Glob(filepath.Join(f.DataDir, "photos", "waiting", "imports", "*")); err != nil || len(left) != 0 {
		t.Errorf("left: %q, %v", left, err)
	}
}

// The stock book leaves, and coming back adds nothing.
func TestStockLeavesAndComesBack(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	page := f.NewBreeder("b1")
	for _, l := range []*list{bring(t, page, "a.csv", []byte(animalsCSV)), bring(t, page, "l.csv", []byte(logCSV))} {
		l.preview(nil)
		l.confirm(map[string]any{"leaveWrong": true}).OK()
		l.until("DONE")
	}
	animal := page.NewAnimal()
	page.Weigh("b1", animal, 120)
	caseID, _ := page.HandOver(animal)
	a := page.Call("GET", "/v1/breeders/b1/export/stock.xlsx", nil).OK()
	for _, name := range []string{"Animals", "Log"} {
		l := bring(t, page, "stock.xlsx", a.Body)
		if got := l.preview(map[string]any{"sheet": name}); got.Get("animals") != 0.0 || got.Get("entries") != 0.0 || got.Get("wrong") != 0.0 || len(got.Get("questions").([]any)) > 0 {
			t.Errorf("%s: %s %s", name, counts(got), got.Body)
		}
	}
	a = page.Call("GET", "/v1/breeders/b1/export/stock.zip", nil).OK()
	z, err := zip.NewReader(bytes.NewReader(a.Body), int64(len(a.Body)))
	if err != nil {
		t.Fatal(err)
	}
	// To another breeder it comes as it was.
	other := f.NewBreeder("b2")
	for _, part := range z.File {
		r, err := part.Open()
		if err != nil {
			t.Fatal(err)
		}
		data, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		l := bring(t, other, part.Name, data)
		l.preview(nil)
		l.confirm(nil).OK()
		l.until("DONE")
	}
	if mine, theirs := held(t, f, "b1"), held(t, f, "b2"); !slices.Equal(mine, theirs) {
		t.Errorf("it left as\n%s\nand came as\n%s", strings.Join(mine, "\n"), strings.Join(theirs, "\n"))
	}
	lines := bytes.Split(bytes.TrimSpace(page.Call("GET", "/v1/breeders/b1/cases.jsonl", nil).OK().Body), []byte("\n"))
	var first struct{ Case string }
	if err := json.Unmarshal(lines[0], &first); err != nil || first.Case != caseID {
		t.Errorf("case files: %s", lines[0])
	}
}

// What waits longest goes when there is too much of it.
func TestListsWaitingAreFew(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	page := f.NewBreeder("b1")
	var all []*list
	for i := range 7 {
		l := bring(t, page, "a.csv", []byte(animalsCSV))
		all = append(all, l)
		files, err := filepath.Glob(filepath.Join(f.DataDir, "photos", "waiting", "imports", "*"+l.name[strings.LastIndexByte(l.name, '/')+1:]))
		if err != nil || len(files) != 1 {
			t.Fatal(files, err)
		}
		at := time.Now().Add(time.Duration(i-10) * time.Minute)
		if err := os.Chtimes(files[0], at, at); err != nil {
			t.Fatal(err)
		}
	}
	bring(t, page, "a.csv", []byte(animalsCSV))
	a := page.Call("POST", "/v1/"+all[0].name+":preview", map[string]any{})
	if reason, _, _ := a.Problem(); reason != "IMPORT_STATE" || !strings.Contains(string(a.Body), "Choose the file again") {
		t.Errorf("%s", a.Body)
	}
	all[6].preview(nil)
}

// BenchmarkImport10000 brings in a list of 10,000 weights of 100 animals, from
// the file to the last commit, while somebody logs. Beside it, in the same run,
// the same rows bare into the same tables with the same pragmas, as many to a
// commit: what the disk and SQLite give at most. of-bare is the second's time
// over the first's; log-max-ms is the longest that a log had to wait.
func BenchmarkImport10000(b *testing.B) {
	const animals, each = 100, 100
	var rows strings.Builder
	rows.WriteString("name,species,date,weight\n")
	for i := range animals * each {
		fmt.Fprintf(&rows, "Snake %d,corn snake,%s,%d\n", i%animals, time.Date(2025, 1, 1+i/animals, 0, 0, 0, 0, time.UTC).Format(time.DateOnly), 100+i/animals)
	}
	data := []byte(rows.String())
	var took, bare, waited time.Duration
	for range b.N {
		f := servertest.Start(b, servertest.Options{})
		page := f.NewBreeder("b1")
		mine := page.NewAnimal()
		stop, stopped := make(chan struct{}), make(chan struct{})
		go func() {
			defer close(stopped)
			for {
				select {
				case <-stop:
					return
				case <-time.After(20 * time.Millisecond):
				}
				at := time.Now()
				page.Weigh("b1", mine, 100)
				waited = max(waited, time.Since(at))
			}
		}()
		start := time.Now()
		l := bring(b, page, "ten-thousand.csv", data)
		if got := counts(l.preview(nil)); got != "animals 100 entries 10000 already 0 wrong 0 warnings 0" {
			b.Fatal(got)
		}
		l.confirm(nil).OK()
		l.until("DONE")
		took += time.Since(start)
		close(stop)
		<-stopped
		bare += bareImport(b, filepath.Join(f.DataDir, "warmhand.db"), l.name[strings.LastIndexByte(l.name, '/')+1:])
	}
	b.ReportMetric(float64(b.N*animals*each)/took.Seconds(), "rows/s")
	b.ReportMetric(float64(b.N*animals*each)/bare.Seconds(), "bare/s")
	b.ReportMetric(bare.Seconds()/took.Seconds(), "of-bare")
	b.ReportMetric(float64(waited.Microseconds())/1000, "log-max-ms")
}

// bareImport writes the entries of an import once more into a copy of the
// database from which they were deleted.
func bareImport(b *testing.B, database, importID string) time.Duration {
	b.Helper()
	db := bareCopy(b, database)
	rows := db.read(`SELECT `+entryColumns+` FROM entries WHERE entry_id LIKE ?1 ORDER BY animal_id, happened_at`, importID+"-%")
	if len(rows) != 10_000 {
		b.Fatalf("%d entries", len(rows))
	}
	db.must(db.Exec(`DELETE FROM entries WHERE entry_id LIKE ?1`, importID+"-%"))
	begin, commit, entry := db.prepare(`BEGIN IMMEDIATE`), db.prepare(`COMMIT`), db.prepare(insertEntry)
	start := time.Now()
	for piece := range slices.Chunk(rows, 200) {
		db.must(begin.Exec())
		for _, row := range piece {
			db.must(entry.Exec(row...))
		}
		db.must(commit.Exec())
	}
	return time.Since(start)
}
