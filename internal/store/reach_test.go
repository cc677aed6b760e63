package store

import (
	"context"
	"database/sql"
	"fmt"
	"testing"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/store/storetest"
	"warmhand/internal/words"
)

// Whatever a use case forgets to check, a transaction reaches one breeder's rows
// only: here the callbacks ask for another's by name, in every way that there is.
func TestReach(t *testing.T) {
	t.Parallel()
	address := storetest.Schema(t)
	s := open(t, Config{URL: address})
	plain := &Store{s.engine.(everything).engine}
	if unheld, err := plain.Unheld(t.Context()); err != nil || unheld {
		t.Fatalf("the tests' own role is not held to anything: %v, %v", unheld, err)
	}
	now := time.UnixMilli(1_780_000_000_000).UTC()
	for _, b := range []string{"b1", "b2"} {
		if err := s.Write(t.Context(), func(tx care.Tx) error {
			for _, err := range []error{
				tx.InsertBreeder(care.Breeder{ID: b}), tx.InsertUser(care.User{BreederID: b, ID: "u"}),
				tx.InsertPasskey(care.Passkey{BreederID: b, UserID: "u", ID: "pk-" + b}),
				tx.InsertSecret(care.Secret{Hash: "token-" + b, Kind: care.SecretToken, BreederID: b, ExpiresAt: now}),
				tx.InsertSecret(care.Secret{Hash: "keeper-" + b, Kind: care.SecretSession, KeeperID: "k", ExpiresAt: now}),
				tx.InsertAnimal(care.Animal{BreederID: b, ID: "a"}),
				tx.InsertEntry(care.Entry{BreederID: b, AnimalID: "a", ID: "e", Body: care.WeighIn{Mass: 1}}),
				tx.InsertHandover(care.Handover{BreederID: b, ID: "c", AnimalID: "a", CodeHash: "code-" + b}),
				tx.InsertCase(care.Case{BreederID: b, ID: "c", AnimalID: "a", KeeperID: "k"}),
				tx.PutFlag(care.Flag{BreederID: b, CaseID: "c", ID: "f"}),
				tx.InsertPhoto(care.Photo{BreederID: b, CaseID: "c", ID: "p", Hash: "h-" + b, By: care.KeeperActor}),
				tx.InsertCard(care.Card{BreederID: b, Number: 1, CodeHash: "card-" + b, KeeperID: "k"}),
				tx.InsertImport(care.Import{BreederID: b, ID: "i", State: care.ImportRunning}),
				tx.PutImportAnimal(care.ImportAnimal{BreederID: b, ImportID: "i", AnimalID: "a"}),
				tx.InsertSigningKey(care.SigningKey{BreederID: b, ID: "s"}),
				tx.AddLook(care.Look{BreederID: b, CaseID: "c", By: care.Helper, What: care.LookCase, FirstAt: now, LastAt: now, Count: 1}),
			} {
				if err != nil {
					return err
				}
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
	}

	// Each of these finds what is b2's.
	looks := map[string]func(tx care.Tx) (int, error){
		"breeder": func(tx care.Tx) (int, error) { _, err := tx.Breeder("b2"); return 1, err },
		"user":    func(tx care.Tx) (int, error) { _, err := tx.User("b2", "u"); return 1, err },
		"users":   func(tx care.Tx) (int, error) { l, err := tx.ListUsers("b2"); return len(l), err },
		"passkey": func(tx care.Tx) (int, error) { _, err := tx.Passkey("pk-b2"); return 1, err },
		"secret":  func(tx care.Tx) (int, error) { _, err := tx.Secret("token-b2"); return 1, err },
		"secrets": func(tx care.Tx) (int, error) { l, err := tx.ListSecrets("b2", care.SecretToken); return len(l), err },
		"animal":  func(tx care.Tx) (int, error) { _, err := tx.Animal("b2", "a"); return 1, err },
		"animals": func(tx care.Tx) (int, error) {
			l, _, err := tx.ListAnimals("b2", "", care.Cursor{}, 9)
			return len(l), err
		},
		"entry":    func(tx care.Tx) (int, error) { _, err := tx.Entry("b2", "a", "e"); return 1, err },
		"log":      func(tx care.Tx) (int, error) { l, err := tx.Log("b2", "a"); return len(l), err },
		"handover": func(tx care.Tx) (int, error) { _, err := tx.Handover("b2", "c"); return 1, err },
		"by code":  func(tx care.Tx) (int, error) { _, err := tx.HandoverByCode("code-b2"); return 1, err },
		"case":     func(tx care.Tx) (int, error) { _, err := tx.Case("b2", "c"); return 1, err },
		"cases": func(tx care.Tx) (int, error) {
			l, _, err := tx.ListCases("b2", care.CaseQuery{Open: true}, care.Cursor{}, 9)
			return len(l), err
		},
		"followed": func(tx care.Tx) (int, error) {
			l, err := tx.Followed([]care.CaseKey{{BreederID: "b2", ID: "c"}})
			return len(l), err
		},
		"flags":        func(tx care.Tx) (int, error) { l, err := tx.ListFlags("b2", "c"); return len(l), err },
		"photo":        func(tx care.Tx) (int, error) { _, err := tx.Photo("b2", "p"); return 1, err },
		"photos":       func(tx care.Tx) (int, error) { l, err := tx.ListPhotos("b2", "c"); return len(l), err },
		"card":         func(tx care.Tx) (int, error) { _, err := tx.Card("b2", 1); return 1, err },
		"card by code": func(tx care.Tx) (int, error) { _, err := tx.CardByCode("card-b2"); return 1, err },
		"import":       func(tx care.Tx) (int, error) { _, err := tx.Import("b2", "i"); return 1, err },
		"import's":     func(tx care.Tx) (int, error) { l, err := tx.ListImportAnimals("b2", "i"); return len(l), err },
		"signing keys": func(tx care.Tx) (int, error) { l, err := tx.ListSigningKeys("b2"); return len(l), err },
		"looks":        func(tx care.Tx) (int, error) { l, err := tx.ListLooks("b2", "", 9); return len(l), err },
	}
	// Across breeders there is one of each breeder's.
	both := map[string]func(tx care.Tx) (int, error){
		"a keeper's cases": func(tx care.Tx) (int, error) { l, err := tx.CasesOfKeeper("k"); return len(l), err },
		"a keeper's cards": func(tx care.Tx) (int, error) { l, err := tx.CardsOfKeeper("k"); return len(l), err },
		"due cases":        func(tx care.Tx) (int, error) { l, err := tx.ClaimDue(now, now, 9); return len(l), err },
		"imports":          func(tx care.Tx) (int, error) { l, err := tx.PendingImports(9); return len(l), err },
	}
	see := func(r care.Reach, look func(care.Tx) (int, error)) (n int, err error) {
		err = plain.Write(care.WithReach(t.Context(), r), func(tx care.Tx) (err error) {
			n, err = look(tx)
			return err
		})
		if care.IsCode(err, care.NotFound) {
			return 0, nil
		}
		return n, err
	}
	for round := range 2 { // what one transaction reached, the next on its connection does not
		for r, want := range map[care.Reach]int{"b2": 1, care.EverybodysReach: 1, "b1": 0, "": 0, "b": 0} {
			for name, look := range looks {
				if n, err := see(r, look); err != nil || n != want {
					t.Errorf("round %d, reach %q, %s: %d (%v), want %d", round, r, name, n, err, want)
				}
			}
		}
		for r, want := range map[care.Reach]int{"b2": 1, care.EverybodysReach: 2, "b1": 1, "": 0} {
			for name, look := range both {
				if n, err := see(r, look); err != nil || n != want {
					t.Errorf("round %d, reach %q, %s: %d (%v), want %d", round, r, name, n, err, want)
				}
			}
		}
	}
	for name, change := range map[string]func(care.Tx) error{
		"insert": func(tx care.Tx) error { return tx.InsertAnimal(care.Animal{BreederID: "b2", ID: "new"}) },
		"update": func(tx care.Tx) error { return tx.UpdateAnimal(care.Animal{BreederID: "b2", ID: "a", Name: "mine"}) },
		"put": func(tx care.Tx) error {
			return tx.PutFlag(care.Flag{BreederID: "b2", CaseID: "c", ID: "f", Text: words.Say("mine")})
		},
		"delete": func(tx care.Tx) error { return tx.DeleteSecret("token-b2") },
		"mark":   func(tx care.Tx) error { return tx.MarkReplaced("b2", "a", "e", "x") },
	} {
		for _, r := range []care.Reach{"b1", ""} {
			if err := plain.Write(care.WithReach(t.Context(), r), change); err == nil {
				t.Errorf("%s of what is another's goes through with reach %q", name, r)
			}
		}
	}
	if err := plain.Write(care.WithReach(t.Context(), "b1"), func(tx care.Tx) error {
		more, err := tx.EraseBreeder("b2", 100)
		if more {
			return fmt.Errorf("it erased something of another")
		}
		return err
	}); err != nil {
		t.Error(err)
	}

	// Every table that has a breeder's rows is under the rule, its owner too.
	db, err := sql.Open("pgx", address)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.QueryContext(context.Background(), `SELECT c.relname, c.relrowsecurity AND c.relforcerowsecurity, (SELECT count(*) FROM pg_policy p WHERE p.polrelid = c.oid)
		FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid WHERE c.relnamespace = current_schema()::regnamespace AND c.relkind = 'r' AND a.attname = 'breeder_id' AND NOT a.attisdropped`)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	tables := 0
	for rows.Next() {
		var name string
		var forced bool
		var policies int
		if err := rows.Scan(&name, &forced, &policies); err != nil {
			t.Fatal(err)
		}
		tables++
		if !forced || policies != 1 {
			t.Errorf("%s is open to every breeder: its migration needs the lines of 0017_reach.sql for it", name)
		}
	}
	if err := rows.Err(); err != nil || tables < 15 {
		t.Errorf("%d tables, %v", tables, err)
	}
}
