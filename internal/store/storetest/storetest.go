// Package storetest is the one suite that every store must pass. Each topic is
// a file; each "must" of the port has a subtest named after it.
package storetest

import (
	"context"
	"fmt"
	"reflect"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Place makes a new, empty place for a store and returns how to open the store
// in it. Opening again after closing must find what was written. The suite
// closes what it opens.
type Place func(t *testing.T) (open func() (care.Store, func() error))

// Run runs the suite.
func Run(t *testing.T, place Place) {
	for _, topic := range []struct {
		name string
		run  func(*testing.T, care.Store)
	}{
		{"round trip of full values", roundTripFull},
		{"round trip of bare values", roundTripBare},
		{"round trip of every kind of entry", roundTripKinds},
		{"round trip of texts", roundTripTexts},
		{"texts that cannot be kept are refused", refusedTexts},
		{"times are kept to the millisecond in UTC", times},
		{"updates change every field", updates},
		{"what is missing is NotFound", missing},
		{"an id that exists is a Conflict", conflicts},
		{"a Conflict leaves the transaction usable", conflictGoesOn},
		{"a stale update is Stale", stale},
		{"MarkReplaced marks once", markReplaced},
		{"deletes", deletes},
		{"a person is erased", erasing},
		{"a breeder is erased and nobody else", erasingBreeder},
		{"looks add up by the day and are forgotten", looking},
		{"expired secrets are deleted, oldest first", expiry},
		{"old answers are forgotten, oldest first", forgetting},
		{"drafts of imports are forgotten, oldest first", forgettingDrafts},
		{"breeders do not see each other", isolation},
		{"the log is in order", logOrder},
		{"what counts of several logs", stockLog},
		{"animals by their ids", animalsByID},
		{"pages of animals", animalPages},
		{"pages of entries", entryPages},
		{"pages of handovers", handoverPages},
		{"pages of cases by urgency with ties", casePages},
		{"pages of imports", importPages},
		{"pages of cards", cardPages},
		{"imports that are under way, oldest first", pendingImports},
		{"an animal that an import made stays so", importMade},
		{"pages stay steady while rows come in", steadyPages},
		{"search folds case and accents", search},
		{"cases open, closed and of an animal", caseQueries},
		{"due cases are claimed, oldest first", dueCases},
		{"due cases are claimed once", dueOnce},
		{"many cases are read as each by itself", followed},
		{"what waits is measured", backlog},
		{"cases of a keeper", keeperCases},
		{"cards of a keeper", keeperCards},
		{"people to look at, the oldest first, and waking them", waking},
		{"devices and addresses of a person", wayLists},
		{"a reminder is claimed once", claiming},
		{"lists are in order", listOrder},
		{"new photos are those of keepers that nobody looked at", newPhotos},
		{"cases are saved with what hangs on them, or left alone", saveCases},
		{"flags are put over themselves", flagPut},
		{"a case's version is to be had by itself", versionAlone},
		{"what changes who is let in is counted", letsCounted},
		{"kept things go by their whole name", keptThings},
		{"feeding counts", feedingCounts},
		{"counts", counts},
		{"a failed callback leaves nothing behind", failedCallback},
		{"a panic leaves nothing behind and harms nobody", panics},
		{"concurrent failures roll back only themselves", failuresAside},
		{"16 writers lose no update", noLostUpdate},
		{"swaps and writes of one case lose nothing of each other", noLostSwap},
		{"one id from many callers is kept once", oneWinner},
		{"a write skew cannot happen", writeSkew},
		{"a Read sees one snapshot", snapshot},
		{"a Read cannot write", readOnly},
		{"a cancelled context leaves nothing behind", cancelled},
		{"a transaction ends with its callback", leakedTx},
	} {
		t.Run(topic.name, func(t *testing.T) {
			t.Parallel()
			s, closeStore := place(t)()
			t.Cleanup(func() {
				if err := closeStore(); err != nil {
					t.Errorf("closing: %v", err)
				}
			})
			topic.run(t, s)
		})
	}
	t.Run("a restart keeps everything", func(t *testing.T) {
		t.Parallel()
		restart(t, place(t))
	})
	t.Run("a closed store is Unavailable", func(t *testing.T) {
		t.Parallel()
		s, closeStore := place(t)()
		if err := closeStore(); err != nil {
			t.Fatal(err)
		}
		if err := closeStore(); err != nil {
			t.Errorf("closing again: %v", err)
		}
		nothing := func(tx care.Tx) error { _, err := tx.Counts(); return err }
		wantCode(t, s.Write(t.Context(), nothing), care.Unavailable)
		wantCode(t, s.Read(t.Context(), nothing), care.Unavailable)
	})
}

// t0 is an instant with milliseconds.
var t0 = time.Date(2026, 3, 1, 12, 30, 15, 123_000_000, time.UTC)

func at(d time.Duration) time.Time { return t0.Add(d) }

func ptr[T any](v T) *T { return &v }

// one of each, with every field set.
type world struct {
	breeder  care.Breeder
	user     care.User
	passkey  care.Passkey
	secret   care.Secret
	animal   care.Animal
	entry    care.Entry
	handover care.Handover
	signing  care.SigningKey
	kept     care.Kept
	kase     care.Case
	flag     care.Flag
	keeper   care.Keeper
	photo    care.Photo
	answered care.Answered
	imported care.Import
	touched  care.ImportAnimal
	card     care.Card
	hours    care.Hours
	way      care.Way
	reminder care.Reminder
}

// full is a world with no field left at zero. Only what must be unique beyond
// its breeder carries the breeder's name.
func full(b string) world {
	entry := care.Entry{
		BreederID: b, AnimalID: "a1", ID: "e1", CaseID: "h1", By: care.KeeperActor, ByID: "k1",
		HappenedAt: at(1), ReceivedAt: at(time.Hour).Truncate(time.Millisecond), Replaces: "e0", ReplacedBy: "e2", Confirmed: true, Note: "took it slowly",
		Body: care.Offer{Result: care.Struck, Prey: "mouse", PreyState: care.Thawed, PreyMass: 12.5},
	}
	entry.HappenedAt = care.Instant(entry.HappenedAt)
	history := entry
	history.CaseID = ""
	animal := care.Animal{
		BreederID: b, ID: "a1", Name: "tub 14", Species: "python_regius", Sex: care.Female,
		Hatched: ptr(time.Date(2025, 8, 3, 0, 0, 0, 0, time.UTC)), Genes: []string{"pastel", "het clown"},
		MotherID: "m1", FatherID: "f1", Clutch: "25-07", SnoutVent: 412.5, TotalLength: 470.25, Note: "shy", Place: "rack 2 tub 14",
		CreatedAt: at(time.Second), UpdatedAt: at(2 * time.Second), DeletedAt: ptr(at(3 * time.Second)), Version: 7,
	}
	weighed, shed := history, history
	weighed.Body = care.WeighIn{Mass: 98.4}
	shed.Body = care.Shed{Stage: care.ShedDone, Complete: ptr(false)}
	return world{
		breeder: care.Breeder{ID: b, Name: "Loam", Contact: "by the thread", TimeZone: "Europe/Vienna", Hemi: care.South, CreatedAt: t0, Version: 3,
			EraseAt: ptr(at(48 * time.Hour)), Phrases: []string{"Leave [animal] alone."}, Thresholds: care.Thresholds{Watch: .1 + .2, Act: .5, Lost: .35, SilenceGaps: 1.25, FirstWordDays: 21},
			CheckIns: care.CheckIns{FirstNight: care.NotAsked, SettlingIn: 4, BeforeOffer: 2, AfterOffer: 3, Rhythm: 9, MonthEnd: 28,
				Words: care.CheckInWords{FirstNight: "a", SettlingIn: "b", BeforeOffer: "ä", AfterOffer: "d", Rhythm: "e", MonthEnd: "f"}}},
		user:    care.User{BreederID: b, ID: "u1", Name: "Ida", Role: care.Helper, Language: "de", CreatedAt: t0},
		passkey: care.Passkey{BreederID: b, UserID: "u1", ID: "cred-" + b, Label: "phone", Data: []byte(`{"a": 1}`), CreatedAt: t0, UsedAt: ptr(at(time.Minute))},
		secret: care.Secret{Hash: "hash-" + b, Kind: care.SecretToken, ID: "s1", BreederID: b, UserID: "u1", KeeperID: "k1", Label: "scales", ReadOnly: true,
			Data: []byte{0, 1, 0xff}, CreatedAt: t0, ExpiresAt: at(time.Hour), UsedAt: ptr(at(time.Minute)), Successor: "other"},
		animal: animal,
		entry:  entry,
		handover: care.Handover{
			BreederID: b, ID: "h1", AnimalID: "a1", From: "h0", State: care.HandoverClaimed, HandedOverAt: t0, ShowDay: "spring", BuyerNote: "asked well", Price: care.Price{Amount: "89.50", Currency: "EUR"},
			Record: care.Record{
				Animal: animal, Breeder: "Loam", Contact: "by the thread", Weights: []care.Entry{weighed, weighed}, Offers: []care.Entry{history}, Sheds: []care.Entry{shed},
				FeedNext:  words.Say("One mouse in {days} days.", 7),
				Checklist: []care.ChecklistItem{{Point: "doors", ForThisAnimal: words.Say("close them"), ShutBelow: 9.5, PassAbove: 14, MaxDepth: 30, MaxHeight: 200}},
				Cautions:  []words.Text{words.Say("may shake its head")}, IssuedAt: t0, SchemaMinor: 2,
				Mother: care.Parent{Name: "Clod", Genes: []string{"pastel"}}, Father: care.Parent{Name: "Furrow", Genes: []string{"spider"}},
				Kept: care.ClimateReading{Warm: ptr(care.Celsius(32)), Cool: ptr(care.Celsius(26)), Night: ptr(care.Celsius(24)), Surface: ptr(care.Celsius(33)), Humidity: ptr(care.Percent(60)), TakenWith: care.WithProbe}, KeptAt: at(-time.Hour),
			},
			Signed: "e30.e30.c2ln", CodeHash: "code-" + b, ClaimExpiresAt: at(24 * time.Hour), ClaimedAt: ptr(at(time.Minute)), KeeperID: "k1", CreatedAt: t0, Version: 2,
		},
		kept:    care.Kept{Name: "certificate/" + b, Sealed: []byte{7, 0, 0xfe}, At: t0},
		signing: care.SigningKey{BreederID: b, ID: "sk1", Public: []byte(`{"kty": "EC"}`), Sealed: []byte{0, 9, 0xff}, CreatedAt: t0},
		kase: care.Case{
			BreederID: b, ID: "h1", AnimalID: "a1", KeeperID: "k1", KeeperName: "Robin", HandedOverAt: t0, ClosedAt: ptr(at(time.Hour)), Outcome: care.OutcomeSettled, Earlier: []string{"h0"}, GiveBackAt: ptr(at(time.Second)),
			Learned: care.Learned{Mean: 0.1 + 0.2, Strength: 4.5, Animals: 9}, Thresholds: care.Thresholds{Watch: .2, Act: .55, Lost: .4, SilenceGaps: 2, FirstWordDays: 9}, CreatedAt: t0, Version: 5,
			Standing: care.StepIn, Urgency: 1.0 / 3, Headline: words.Count("Has not eaten for {n} day.", "Has not eaten for {n} days.", 31), Assessment: []byte(`{"standing": "step_in"}`), AssessedAt: t0, Ahead: []byte(`{"days": []}`),
			DueAt: at(time.Hour), LastHeard: ptr(at(time.Minute)), SeenAt: ptr(at(2 * time.Minute)), SeenAs: care.Watch, ChangedAt: at(3 * time.Minute),
			LookedAfterBy: "Ida", Aside: care.Aside{Until: ptr(at(48 * time.Hour)), At: ptr(at(4 * time.Minute)), Why: "the vet calls back"},
			WroteAt: ptr(at(5 * time.Minute)), ToldAt: ptr(at(6 * time.Minute)), AnsweredAt: ptr(at(7 * time.Minute)), Silent: true, NextStep: words.Say("Weigh it once."),
			GotAt: ptr(at(8 * time.Minute)), ReadAt: ptr(at(9 * time.Minute)),
			Return: care.Return{AgreedAt: ptr(at(time.Minute)), How: "by car on Sunday", LeftAt: ptr(at(2 * time.Minute)), QuarantineUntil: ptr(at(72 * time.Hour))},
		},
		flag: care.Flag{BreederID: b, CaseID: "h1", ID: "refusal-1", Code: "refusal", Level: care.Watch, Text: words.Say("Refused {times}, {loss} % lost by {date}, tub {tub}.", words.Say("twice"), words.Number{V: 4.25, Decimals: 1}, words.Date{At: t0, As: words.Day}, "14 \"A\""), OpenedAt: t0, ClosedAt: ptr(at(time.Hour)),
			History: []care.FlagChange{{At: t0, Level: care.Watch, What: "opened", Text: words.Say("Refused {times}, {loss} % lost by {date}, tub {tub}.", words.Say("twice"), words.Number{V: 4.25, Decimals: 1}, words.Date{At: t0, As: words.Day}, "14 \"A\"")}, {At: at(time.Hour), Level: care.Watch, What: "closed", Text: words.Say("Ate.")}}},
		keeper: care.Keeper{ID: "k1-" + b, Name: "Robin", Language: "de", CreatedAt: t0},
		photo: care.Photo{BreederID: b, CaseID: "h1", ID: "p1", By: care.KeeperActor, ByID: "k1", Hash: "abc", Source: "def", Width: 1600, Height: 1200, Bytes: 1 << 40,
			Dark: true, Blurred: true, TakenAt: ptr(at(-time.Hour)), ReceivedAt: t0, LookedAt: ptr(at(time.Hour))},
		answered: care.Answered{Scope: b, RequestID: "r1", Digest: "d", Answer: []byte{0, 7}, At: t0},
		imported: care.Import{BreederID: b, ID: "i1", File: "stock.xlsx", Digest: "abc", Bytes: 1 << 20, State: care.ImportUndone, Reading: []byte(`{"a": 1}`),
			By: care.BreederOwner, ByID: "u1", CreatedAt: t0, ConfirmedAt: ptr(at(time.Minute)), EndedAt: ptr(at(time.Hour)), Animals: 12, Entries: 340, Done: 5, Total: 352,
			Trouble: words.Say("the list of {name} is gone", "Fern"), Kept: []care.KeptByUndo{{AnimalID: "a1", Name: "tub 14", Why: words.Say("It is a parent of {name}.", "Ida")}}, Version: 4},
		touched: care.ImportAnimal{BreederID: b, ImportID: "i1", AnimalID: "a1", Made: true},
		card: care.Card{BreederID: b, Number: 17, CodeHash: "card-" + b, Mark: "mark", CreatedAt: t0, RevokedAt: ptr(at(time.Hour)), HandoverID: "h1",
			KeeperID: "k1", KeeperName: "Robin", ClaimedAt: ptr(at(time.Minute)), ClaimRequest: "r2", Version: 6},
		hours: care.Hours{BreederID: b, PersonID: "u1", Zone: "Pacific/Auckland", QuietFrom: 1260, QuietUntil: 480, Morning: 420, MessagesSince: ptr(at(-2 * time.Hour)), DigestAt: at(-time.Hour), LookAt: at(time.Minute), CreatedAt: t0, Version: 3},
		way: care.Way{BreederID: b, PersonID: "u1", ID: "w1-" + b, Kind: care.WayPush, Address: "https://push.example.org/1", Key: []byte{4, 0xff}, Auth: []byte{0, 1}, SessionID: "s1", Breeders: "b7 b8",
			Label: "phone", CreatedAt: t0, ConfirmedAt: ptr(at(time.Second)), LastAt: ptr(at(time.Minute)), HoldUntil: ptr(at(time.Hour)), Trouble: words.Say("busy ({code})", 503)},
		reminder: care.Reminder{BreederID: b, CaseID: "h1", PersonID: "u1", WayID: "w1", Topic: "first_night", State: care.ReminderWaiting, Tries: 2, At: at(time.Hour)},
	}
}

// bare is a world of ids and nothing else.
func bare(b string) world {
	return world{
		breeder:  care.Breeder{ID: b},
		user:     care.User{BreederID: b, ID: "u1"},
		passkey:  care.Passkey{BreederID: b, UserID: "u1", ID: "cred-" + b},
		secret:   care.Secret{Hash: "hash-" + b},
		animal:   care.Animal{BreederID: b, ID: "a1"},
		entry:    care.Entry{BreederID: b, AnimalID: "a1", ID: "e1", Body: care.Seen{}},
		handover: care.Handover{BreederID: b, ID: "h1", AnimalID: "a1"},
		signing:  care.SigningKey{BreederID: b, ID: "sk1"},
		kept:     care.Kept{Name: "certificate/" + b},
		kase:     care.Case{BreederID: b, ID: "h1", AnimalID: "a1"},
		flag:     care.Flag{BreederID: b, CaseID: "h1", ID: "refusal-1"},
		keeper:   care.Keeper{ID: "k1-" + b},
		photo:    care.Photo{BreederID: b, CaseID: "h1", ID: "p1"},
		answered: care.Answered{Scope: b, RequestID: "r1"},
		imported: care.Import{BreederID: b, ID: "i1"},
		touched:  care.ImportAnimal{BreederID: b, ImportID: "i1", AnimalID: "a1"},
		card:     care.Card{BreederID: b, Number: 17},
		hours:    care.Hours{BreederID: b, PersonID: "u1"},
		way:      care.Way{BreederID: b, ID: "w1-" + b},
		reminder: care.Reminder{BreederID: b, CaseID: "h1", PersonID: "u1", WayID: "w1", Topic: "first_night"},
	}
}

// item is one value of a world with its insert and its lookup.
type item struct {
	name   string
	want   any
	insert func(care.Tx) error
	get    func(care.Tx) (any, error)
}

func (w world) items() []item {
	b := w.breeder.ID
	return []item{
		{"breeder", w.breeder, func(tx care.Tx) error { return tx.InsertBreeder(w.breeder) }, func(tx care.Tx) (any, error) { return tx.Breeder(b) }},
		{"user", w.user, func(tx care.Tx) error { return tx.InsertUser(w.user) }, func(tx care.Tx) (any, error) { return tx.User(b, "u1") }},
		{"passkey", w.passkey, func(tx care.Tx) error { return tx.InsertPasskey(w.passkey) }, func(tx care.Tx) (any, error) { return tx.Passkey(w.passkey.ID) }},
		{"secret", w.secret, func(tx care.Tx) error { return tx.InsertSecret(w.secret) }, func(tx care.Tx) (any, error) { return tx.Secret(w.secret.Hash) }},
		{"animal", w.animal, func(tx care.Tx) error { return tx.InsertAnimal(w.animal) }, func(tx care.Tx) (any, error) { return tx.Animal(b, "a1") }},
		{"entry", w.entry, func(tx care.Tx) error { return tx.InsertEntry(w.entry) }, func(tx care.Tx) (any, error) { return tx.Entry(b, "a1", "e1") }},
		{"handover", w.handover, func(tx care.Tx) error { return tx.InsertHandover(w.handover) }, func(tx care.Tx) (any, error) { return tx.Handover(b, "h1") }},
		{"signing key", w.signing, func(tx care.Tx) error { return tx.InsertSigningKey(w.signing) }, func(tx care.Tx) (any, error) { return only(tx.ListSigningKeys(b)) }},
		{"kept thing", w.kept, func(tx care.Tx) error { return tx.PutKept(w.kept) }, func(tx care.Tx) (any, error) { return tx.Kept(w.kept.Name) }},
		{"case", w.kase, func(tx care.Tx) error { return tx.InsertCase(w.kase) }, func(tx care.Tx) (any, error) { return tx.Case(b, "h1") }},
		{"flag", w.flag, func(tx care.Tx) error { return tx.PutFlag(w.flag) }, func(tx care.Tx) (any, error) { return only(tx.ListFlags(b, "h1")) }},
		{"keeper", w.keeper, func(tx care.Tx) error { return tx.InsertKeeper(w.keeper) }, func(tx care.Tx) (any, error) { return tx.Keeper(w.keeper.ID) }},
		{"photo", w.photo, func(tx care.Tx) error { return tx.InsertPhoto(w.photo) }, func(tx care.Tx) (any, error) { return tx.Photo(b, "p1") }},
		{"answer", w.answered, func(tx care.Tx) error { return tx.InsertAnswered(w.answered) }, func(tx care.Tx) (any, error) { return tx.Answered(b, "r1") }},
		{"import", w.imported, func(tx care.Tx) error { return tx.InsertImport(w.imported) }, func(tx care.Tx) (any, error) { return tx.Import(b, "i1") }},
		{"import's animal", w.touched, func(tx care.Tx) error { return tx.PutImportAnimal(w.touched) }, func(tx care.Tx) (any, error) { return only(tx.ListImportAnimals(b, "i1")) }},
		{"card", w.card, func(tx care.Tx) error { return tx.InsertCard(w.card) }, func(tx care.Tx) (any, error) { return tx.Card(b, 17) }},
		{"hours", w.hours, func(tx care.Tx) error { return tx.InsertHours(w.hours) }, func(tx care.Tx) (any, error) { return tx.Hours(b, "u1") }},
		{"device", w.way, func(tx care.Tx) error { return tx.PutWay(w.way) }, func(tx care.Tx) (any, error) { return tx.Way(w.way.ID) }},
		{"reminder", w.reminder, func(tx care.Tx) error { return tx.InsertReminder(w.reminder) }, func(tx care.Tx) (any, error) { return only(tx.ListReminders(b, "h1", "u1")) }},
	}
}

func only[T any](all []T, err error) (any, error) {
	if err == nil && len(all) == 0 {
		return nil, care.Missing("row")
	}
	if err == nil && len(all) != 1 {
		err = fmt.Errorf("%d rows, want 1", len(all))
	}
	if err != nil {
		return nil, err
	}
	return all[0], nil
}

// put names the items that are written over themselves, so that a second insert
// is no conflict.
func put(name string) bool {
	return name == "flag" || name == "import's animal" || name == "device" || name == "kept thing"
}

// insert writes a whole world, each item in a write of its own.
func (w world) insert(t *testing.T, s care.Store) {
	t.Helper()
	for _, it := range w.items() {
		write(t, s, it.insert)
	}
}

// stock writes a breeder with some animals, bare but for their ids.
func stock(t *testing.T, s care.Store, breeder string, animals ...string) {
	t.Helper()
	write(t, s, func(tx care.Tx) error {
		if err := tx.InsertBreeder(care.Breeder{ID: breeder}); err != nil {
			return err
		}
		for _, a := range animals {
			if err := tx.InsertAnimal(care.Animal{BreederID: breeder, ID: a, CreatedAt: t0}); err != nil {
				return err
			}
		}
		return nil
	})
}

// follow writes a case with the handover that it follows up.
func follow(tx care.Tx, c care.Case) error {
	if err := tx.InsertHandover(care.Handover{BreederID: c.BreederID, ID: c.ID, AnimalID: c.AnimalID}); err != nil {
		return err
	}
	return tx.InsertCase(c)
}

// limit bounds a test that would otherwise hang.
func limit(t *testing.T) context.Context {
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	t.Cleanup(cancel)
	return ctx
}

func write(t *testing.T, s care.Store, f func(care.Tx) error) {
	t.Helper()
	if err := s.Write(limit(t), f); err != nil {
		t.Fatalf("write: %v", err)
	}
}

func read[T any](t *testing.T, s care.Store, f func(care.Tx) (T, error)) (v T) {
	t.Helper()
	err := s.Read(limit(t), func(tx care.Tx) (err error) {
		v, err = f(tx)
		return err
	})
	if err != nil {
		t.Fatalf("read: %v", err)
	}
	return v
}

func wantCode(t *testing.T, err error, code care.Code) {
	t.Helper()
	if !care.IsCode(err, code) {
		t.Errorf("error %v, want one of class %s", err, code)
	}
}

func wantSame(t *testing.T, what string, got, want any) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s:\n got %+v\nwant %+v", what, got, want)
	}
}

// walk collects all pages of a list, and fails on a page that is too long.
func walk[T any](t *testing.T, s care.Store, size int, next func(care.Tx, care.Cursor) ([]T, care.Cursor, error)) (all []T) {
	t.Helper()
	var after care.Cursor
	for range 1000 {
		var got []T
		after = read(t, s, func(tx care.Tx) (c care.Cursor, err error) {
			got, c, err = next(tx, after)
			return c, err
		})
		if len(got) > size {
			t.Fatalf("a page of %d, want at most %d", len(got), size)
		}
		all = append(all, got...)
		if after == (care.Cursor{}) {
			return all
		}
		if len(got) != size {
			t.Fatalf("a page of %d with more to come, want %d", len(got), size)
		}
	}
	t.Fatal("the pages do not end")
	return nil
}

func ids[T any](all []T, id func(T) string) []string {
	names := make([]string, len(all))
	for i, v := range all {
		names[i] = id(v)
	}
	return names
}
