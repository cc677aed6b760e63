package server_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"warmhand/internal/care"
	"warmhand/server/servertest"
)

// private is in every text of the first breeder's first case, so an answer to
// anybody else that has it in it has leaked.
const private = "Zanzibar"

// belongings are the records of one case and what is around it, by the
// placeholders of the matrix.
type belongings map[string]string

// fill turns a request into the caller's own: {case} is the own case, {their
// case} another's.
func fill(text string, own, theirs belongings, f *servertest.Fixture) string {
	pairs := []string{"{id}", f.ID("fresh"), "{now}", f.Clock.Now().Format(time.RFC3339), "breeders/b1", "breeders/" + own["breeder"],
		"{code}", "0000000000", "{card}", "0000000000", "/photos/photo-1", "/photos/" + own["photo"]}
	for k, v := range own {
		pairs = append(pairs, "{"+k+"}", v)
	}
	for k, v := range theirs {
		pairs = append(pairs, "{their "+k+"}", v)
	}
	return strings.NewReplacer(pairs...).Replace(text)
}

// settle makes an animal of a breeder with a keeper and one of everything,
// through the API; word is in every text.
func settle(t *testing.T, f *servertest.Fixture, breeder, keeper *servertest.Client, word string) belongings {
	t.Helper()
	f.Clock.Advance(time.Minute)
	b := "breeders/" + breeder.Breeder
	own := belongings{"breeder": breeder.Breeder, "animal": f.ID("animal"), "photo": f.ID("photo"), "request": f.ID("used-request"), "person": breeder.Breeder + "-owner", "import": uuid.NewString()}
	breeder.Call("POST", "/v1/"+b+"/animals?animalId="+own["animal"], map[string]any{"displayName": word, "species": "python_regius",
		"sex": "SEX_FEMALE", "hatchDate": "2026-01-10", "note": word, "clutch": word, "place": word}).OK()
	own["second"] = breeder.NewAnimal() // for a second page
	own["stock entry"] = breeder.Weigh(breeder.Breeder, own["animal"], 500)
	sale := breeder.Call("POST", "/v1/"+b+"/handovers?requestId="+own["request"],
		map[string]any{"animal": b + "/animals/" + own["animal"], "buyerNote": word, "showDay": word}).OK()
	name := sale.Text("handover", "case")
	own["case"] = name[strings.LastIndexByte(name, '/')+1:]
	keeper.Call("POST", "/v1/claims", map[string]any{"claimCode": sale.Text("claimCode"), "keeperName": word, "requestId": f.ID("claim-request")}).OK()
	keeper.Call("PUT", "/v1/"+name+"/photos/"+own["photo"], picture(t, 80, 60), "Content-Type", "image/jpeg").OK()
	put := func(c *servertest.Client, body map[string]any) string {
		t.Helper()
		id := f.ID("entry")
		body["happenTime"], body["case"] = f.Clock.Now(), name
		c.Call("POST", "/v1/"+b+"/animals/"+own["animal"]+"/entries?entryId="+id, body).OK()
		return id
	}
	own["entry"] = put(keeper, map[string]any{"weighIn": map[string]any{"massG": 510}, "note": word})
	put(keeper, map[string]any{"message": map[string]any{"text": word, "photos": []string{own["photo"]}}})
	put(breeder, map[string]any{"message": map[string]any{"text": word}})
	breeder.Call("POST", "/v1/"+name+":lookAfter", map[string]any{"lookedAfterBy": word}).OK()
	own["letter"] = breeder.Call("POST", "/v1/"+name+":createLetterLink", map[string]any{"concern": word}).OK().Text("link", "id")
	breeder.Call("PUT", "/v1/"+b+"/imports/"+own["import"]+"/file?name="+word+".csv", []byte("name,species\n"+word+",corn\n")).OK()
	card := breeder.NewCards(1)[0]
	own["card"] = card.Card.Name[strings.LastIndexByte(card.Card.Name, '/')+1:]
	f.Page().Call("POST", "/v1/claims:wait", map[string]any{"claimCode": card.Code, "keeperName": word, "requestId": f.ID("claim-request")}).OK()
	ways := keeper.Call("POST", "/v1/me/reminders:addDevice", subscription(t, "https://push.example.org/"+keeper.Breeder+f.ID("device"))).OK().Get("reminders", "ways").([]any)
	own["way"] = ways[0].(map[string]any)["wayId"].(string)
	breeder.Call("POST", "/v1/access/tokens", map[string]any{"label": word}).OK()
	own["token"] = breeder.Call("GET", "/v1/access/tokens", nil).OK().Get("tokens").([]any)[0].(map[string]any)["tokenId"].(string)
	own["page"] = breeder.Call("GET", "/v1/"+b+"/animals?pageSize=1", nil).OK().Text("nextPageToken")
	for _, k := range []string{"letter", "page", "token"} {
		if own[k] == "" {
			t.Fatalf("no %s among %v", k, own)
		}
	}
	return own
}

// mixture is a request that names what is the caller's own, and one thing that is
// not.
type mixture struct {
	request string
	alone   bool   // not tried with the own thing: that needs more than is here
	passes  bool   // the text is left alone, or names only what is the caller's own
	by      string // of those whom the matrix lets in; "" for all
}

// mixed are requests about the caller's own animal that name one thing of
// another's in the field that the key says. Each has to be refused, and the same
// with the caller's own thing in its place has to pass, so that it is known what
// it was refused for. Of BatchCreateEntries they are made from CreateEntry.
var mixed = map[string]mixture{
	"CreateEntry entry.case": {request: `{"parent":"breeders/b1/animals/{animal}","entryId":"{id}","entry":{"happenTime":"{now}",
		"case":"breeders/{their breeder}/cases/{their case}","weighIn":{"massG":500}}}`},
	"CreateEntry entry.replaces": {request: `{"parent":"breeders/b1/animals/{animal}","entryId":"{id}","entry":{"happenTime":"{now}",
		"replaces":"breeders/{their breeder}/animals/{their animal}/entries/{their entry}","weighIn":{"massG":500}}}`},
	"CreateEntry entry.message.photos": {request: `{"parent":"breeders/b1/animals/{animal}","entryId":"{id}","entry":{"happenTime":"{now}",
		"case":"breeders/b1/cases/{case}","message":{"text":"Hello","photos":["{their photo}"]}}}`},
	"CreateEntry entry.message.mark.photo": {by: "o", request: `{"parent":"breeders/b1/animals/{animal}","entryId":"{id}","entry":{"happenTime":"{now}",
		"case":"breeders/b1/cases/{case}","message":{"text":"Hello","mark":{"kind":"MARK_KIND_FINE","point":"fumes","photo":"{their photo}"}}}}`},
	"CreateEntry entry.setup.answers.photos": {request: `{"parent":"breeders/b1/animals/{animal}","entryId":"{id}","entry":{"happenTime":"{now}",
		"case":"breeders/b1/cases/{case}","setup":{"answers":[{"point":"fumes","choice":"near_it","photos":["{their photo}"]}]}}}`},
	"CreateEntry entry.setup.answers.taps.photo": {alone: true, request: `{"parent":"breeders/b1/animals/{animal}","entryId":"{id}","entry":{"happenTime":"{now}",
		"case":"breeders/b1/cases/{case}","setup":{"answers":[{"point":"openings","choice":"measured","taps":{"photo":"{their photo}","rim":[{"x":1,"y":1},{"x":9,"y":1},{"x":9,"y":9},{"x":1,"y":9}]}}]}}}`},
	"BatchCreateEntries requests.parent": {request: `{"parent":"breeders/b1/animals/{animal}","requests":[{"parent":"breeders/{their breeder}/animals/{their animal}","entryId":"{id}",
		"entry":{"happenTime":"{now}","weighIn":{"massG":500}}}]}`},
	"CreateAnimal animal.mother":     {request: `{"parent":"breeders/b1","animal":{"species":"python_regius","mother":"breeders/{their breeder}/animals/{their animal}"}}`},
	"CreateAnimal animal.father":     {request: `{"parent":"breeders/b1","animal":{"species":"python_regius","father":"breeders/{their breeder}/animals/{their animal}"}}`, alone: true},
	"UpdateAnimal animal.mother":     {request: `{"animal":{"name":"breeders/b1/animals/{animal}","mother":"breeders/{their breeder}/animals/{their animal}"},"updateMask":"mother"}`, alone: true},
	"UpdateAnimal animal.father":     {request: `{"animal":{"name":"breeders/b1/animals/{animal}","father":"breeders/{their breeder}/animals/{their animal}"},"updateMask":"father"}`, alone: true},
	"CreateHandover handover.animal": {request: `{"parent":"breeders/b1","handover":{"animal":"breeders/{their breeder}/animals/{their animal}"},"requestId":"{id}"}`, alone: true},
	"ListHandovers animal":           {request: `{"parent":"breeders/b1","animal":"breeders/{their breeder}/animals/{their animal}"}`},
	"ListEntries case":               {request: `{"parent":"breeders/b1/animals/{animal}","case":"breeders/{their breeder}/cases/{their case}"}`},
	"EndLetterLink id":               {request: `{"name":"breeders/b1/cases/{case}","id":"{their letter}"}`, passes: true},
	"CreateAnimal animal.name":       {request: `{"parent":"breeders/b1","animal":{"name":"breeders/{their breeder}/animals/{their animal}","species":"python_regius"}}`, passes: true},
	"CreateHandover handover.name":   {request: `{"parent":"breeders/b1","handover":{"name":"breeders/{their breeder}/handovers/{their case}","animal":"breeders/b1/animals/{second}"},"requestId":"{id}"}`, passes: true},
	"CreateEntry entry.name": {request: `{"parent":"breeders/b1/animals/{animal}","entryId":"{id}","entry":{"name":"breeders/{their breeder}/animals/{their animal}/entries/{their entry}",
		"happenTime":"{now}","weighIn":{"massG":500}}}`, passes: true},
	"CreateSignInLink person_id": {request: `{"personId":"{their person}"}`},
	"RenamePerson person_id":     {request: `{"personId":"{their person}","displayName":"Somebody"}`},
	"DeleteHelper person_id":     {request: `{"personId":"{their person}"}`, alone: true},
	"RemoveReminderWay way_id":   {request: `{"wayId":"{their way}"}`, alone: true},
	"TestReminder way_id":        {request: `{"wayId":"{their way}"}`, alone: true},
	"DeleteToken token_id":       {request: `{"tokenId":"{their token}"}`},
	"DeletePasskey passkey_id":   {request: `{"passkeyId":"{their token}"}`, alone: true}, // nobody here has one
}

// What a text of a request holds, by its field's name. A new name has to come
// here, which is when somebody asks whether it can name what is another's.
var (
	// references name what is there already: each is in mixed, or is what the
	// matrix fills in.
	references = strings.Fields("name parent case replaces photos photo mother father animal passkey_id token_id person_id id way_id")
	// chosen are made up by whoever asks, or handed on from an answer: with
	// another's in them the request may pass, and shows and changes nothing of
	// the other's.
	chosen = map[string]string{"request_id": "{their request}", "entry_id": "{their entry}", "animal_id": "{their animal}", "page_token": "{their page}"}
	// others open something by being known, or are words.
	others = strings.Fields(`secret ceremony code claim_code confirm
		note buyer_note point prey text etag step species sign genes choice place label display_name hatch_date clutch unit undated_on sheet order meaning
		keeper_name decimal blank_result whom time_zone source show_day reason query phrases looked_after_by learned lessons kinds how date currency contact
		concern amount after card_code endpoint p256dh auth address zone language`)
)

// texts are the paths of a request's texts.
func texts(m protoreflect.MessageDescriptor, path string) (all []string) {
	for i := range m.Fields().Len() {
		fd := m.Fields().Get(i)
		if options, _ := proto.GetExtension(fd.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior); slices.Contains(options, annotations.FieldBehavior_OUTPUT_ONLY) {
			continue // the server reads none of these
		}
		switch {
		case fd.IsMap():
		case fd.Kind() == protoreflect.StringKind:
			all = append(all, path+string(fd.Name()))
		case fd.Kind() == protoreflect.MessageKind && fd.Message().ParentFile().Package() == "warmhand.v1":
			all = append(all, texts(fd.Message(), path+string(fd.Name())+".")...)
		}
	}
	return all
}

// attacker is somebody whom the first breeder's first case is none of the
// business of.
type attacker struct {
	who    string
	kind   rune // in the matrix, for what is the attacker's own
	secret string
	own    belongings
}

// TestOthersRecordsDoNotExist tries each method of the contract on another's
// records, as everybody who must not: every text of a request that can name
// something is made to name what is another's. A method or a text that is not
// covered fails the test. It runs on SQLite, where nothing stands behind the
// program's own checks.
func TestOthersRecordsDoNotExist(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	first, second := f.NewBreeder("b1"), f.NewBreeder("b2")
	victim := settle(t, f, first, f.Page(), private)
	theirs := settle(t, f, second, f.Page(), "Lisbon")
	neighbour := settle(t, f, first, f.Page(), "Oslo")
	f.Write(func(tx care.Tx) error {
		return tx.InsertUser(care.User{BreederID: "b1", ID: "b1-helper", Name: "Helper", Role: care.Helper, CreatedAt: f.Clock.Now()})
	})
	keeperOf := func(b belongings) string {
		var c care.Case
		f.Write(func(tx care.Tx) (err error) {
			c, err = tx.Case(b["breeder"], b["case"])
			return err
		})
		return f.Session(care.Actor{Kind: care.KeeperActor, KeeperID: c.KeeperID})
	}
	// Breeders correct what they logged, and keepers what they did.
	ofBreeder := func(b belongings) belongings {
		b = maps.Clone(b)
		b["entry"] = b["stock entry"]
		return b
	}
	helper := f.Session(care.Actor{Kind: care.Helper, BreederID: "b1", UserID: "b1-helper"})
	attackers := []attacker{
		{"nobody", ' ', "", nil},
		{"another breeder", 'o', f.Session(care.Actor{Kind: care.BreederOwner, BreederID: "b2", UserID: "b2-owner"}), ofBreeder(theirs)},
		{"another's program", ' ', second.Call("POST", "/v1/access/tokens", map[string]any{"label": "scale"}).OK().Text("secret"), nil},
		{"another's keeper", 'k', keeperOf(theirs), theirs},
		{"another keeper", 'k', keeperOf(neighbour), neighbour},
	}
	conn := f.GRPC()
	ask := func(m protoreflect.MethodDescriptor, what, request string, by attacker, mayPass bool) {
		t.Helper()
		f.Clock.Advance(10 * time.Second) // for the limits on guessing
		answer, err := call(t, conn, m, request, by.secret)
		said := fmt.Sprint(answer, err, status.Convert(err).Details())
		if strings.Contains(said, private) {
			t.Errorf("%s by %s shows what is another's: %s", what, by.who, said)
		}
		switch code := status.Code(err); {
		case code == codes.NotFound, code == codes.PermissionDenied, code == codes.Unauthenticated && by.secret == "":
		case mayPass && code != codes.Internal && code != codes.Unknown:
		case code == codes.InvalidArgument && strings.Contains(what, " "): // the text is wrong: it names nothing of the caller's
		default:
			t.Errorf("%s by %s: %v %s", what, by.who, err, said)
		}
	}
	before := rowsOf(f, victim)
	if len(before) < 12 {
		t.Fatalf("only %d rows of the victim's are compared", len(before))
	}
	all := methods(t)
	slices.SortFunc(all, func(a, b protoreflect.MethodDescriptor) int {
		return strings.Compare(string(a.Name()), string(b.Name()))
	})
	var lastly []func() // what ends what others need
	for _, m := range all {
		name := string(m.Name())
		row, ok := matrix[name]
		if !ok {
			t.Errorf("%s is not in the matrix: say who may call it", name)
			continue
		}
		run := func() {
			for _, a := range attackers {
				ask(m, name, fill(row.request, victim, nil, f), a, !strings.Contains(row.request, "breeders/"))
			}
			if !strings.Contains(row.who, "h") {
				ask(m, name, fill(row.request, victim, nil, f), attacker{who: "a helper", secret: helper}, false)
			}
			for _, path := range texts(m.Input(), "") {
				c, tried := mixedIn(t, name, path, row.request)
				if !tried {
					continue
				}
				for _, a := range attackers {
					if a.own == nil || !strings.ContainsRune(row.who, a.kind) || c.by != "" && !strings.ContainsRune(c.by, a.kind) {
						continue
					}
					other := victim
					if a.kind == 'o' {
						other = ofBreeder(victim)
					}
					ask(m, name+" "+path, fill(c.request, a.own, other, f), a, c.passes)
					if c.alone || c.passes {
						continue
					}
					f.Clock.Advance(10 * time.Second)
					if _, err := call(t, conn, m, fill(c.request, a.own, a.own, f), a.secret); err != nil {
						t.Errorf("%s %s by %s with what is the own: %v", name, path, a.who, err)
					}
				}
			}
		}
		switch name {
		case "EndCase", "ReopenCase", "ArriveReturn", "DeleteAnimal", "EndOtherSignIns", "SignOut":
			lastly = append(lastly, run)
		default:
			run()
		}
	}
	for _, run := range lastly {
		run()
	}
	if after := rowsOf(f, victim); !slices.Equal(before, after) {
		t.Errorf("somebody changed what is another's: before\n%s\nafter\n%s", strings.Join(before, "\n"), strings.Join(after, "\n"))
	}
}

// rowsOf are the rows that have something of these belongings, and the
// breeder's own; not the sign-ins, which rotate.
func rowsOf(f *servertest.Fixture, b belongings) []string {
	return slices.DeleteFunc(f.Rows(b["breeder"]), func(row string) bool {
		return strings.Contains(row, " | session | ") || !strings.HasPrefix(row, "breeders: ") &&
			!slices.ContainsFunc([]string{private, b["animal"], b["case"], b["import"]}, func(s string) bool { return strings.Contains(row, s) })
	})
}

// mixedIn is the request that names another's thing in this text; not tried is
// what cannot name one, or what the matrix fills in.
func mixedIn(t *testing.T, method, path, request string) (c mixture, tried bool) {
	leaf := path[strings.LastIndexByte(path, '.')+1:]
	if c, ok := mixed[method+" "+path]; ok {
		return c, true
	}
	if rest, ok := strings.CutPrefix(path, "requests."); ok && method == "BatchCreateEntries" {
		if c, ok := mixed["CreateEntry "+rest]; ok {
			c.request, c.alone = `{"parent":"breeders/b1/animals/{animal}","requests":[`+c.request+`]}`, true
			return c, true
		}
	}
	switch {
	case slices.Contains(others, leaf):
	case slices.Contains(references, leaf):
		if !strings.Contains(request, `"breeders/b1`) || !strings.Contains(request, `"`+leaf+`"`) {
			t.Errorf("%s %s can name what is another's: add it to mixed", method, path)
		}
	case chosen[leaf] == "":
		t.Errorf("%s %s: say whether %q can name what is another's", method, path, leaf)
	case !strings.Contains(path, "."): // in a batch it is as in the method for one
		var body map[string]any
		if err := json.Unmarshal([]byte(request), &body); err != nil {
			t.Fatal(err)
		}
		delete(body, inJSON(leaf))
		body[leaf] = chosen[leaf]
		text, err := json.Marshal(body)
		if err != nil {
			t.Fatal(err)
		}
		return mixture{request: string(text), passes: true}, true
	}
	return c, false
}

var underscore = regexp.MustCompile(`_[a-z]`)

// inJSON is a field's name in JSON.
func inJSON(field string) string {
	return underscore.ReplaceAllStringFunc(field, func(s string) string { return strings.ToUpper(s[1:]) })
}
