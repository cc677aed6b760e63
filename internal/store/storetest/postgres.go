package storetest

import (
	"database/sql"
	"fmt"
	"net/url"
	"os"
	"sync/atomic"
	"testing"
)

// Postgres is the address of the server to test against. Where it must be there, a
// missing one fails: a skipped engine looks like a passing one.
func Postgres(t testing.TB) string {
	t.Helper()
	address := os.Getenv("WARMHAND_TEST_POSTGRES")
	switch {
	case address != "":
	case os.Getenv("CI") != "" || os.Getenv("WARMHAND_REQUIRE_POSTGRES") != "":
		t.Fatal("WARMHAND_TEST_POSTGRES names no server, and here it must")
	default:
		t.Skip("WARMHAND_TEST_POSTGRES names no server (postgres://...)")
	}
	return address
}

var schemas atomic.Int64

// Schema makes an empty schema for one test and returns an address that leads there.
// The package that tests brings the driver, "pgx".
func Schema(t testing.TB) string {
	t.Helper()
	address := Postgres(t)
	name := fmt.Sprintf("test_%d_%d", os.Getpid(), schemas.Add(1))
	Exec(t, address, `CREATE SCHEMA `+name)
	t.Cleanup(func() { Exec(t, address, `DROP SCHEMA `+name+` CASCADE`) })
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("search_path", name)
	u.RawQuery = q.Encode()
	return u.String()
}

// Exec runs a statement in a connection of its own.
func Exec(t testing.TB, address, statement string) {
	t.Helper()
	db, err := sql.Open("pgx", address)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(statement); err != nil {
		t.Fatal(err)
	}
}
