// Command peer serves a general-purpose backend (PocketBase, MIT) with one
// collection that anybody may add to, for make load to compare with. It is a
// module of its own, so that nothing else has to fetch or build it.
//
// Its database is opened with synchronous=FULL as ours is: a record is on the
// disk before it is answered. Requests are not logged.
package main

import (
	"errors"
	"fmt"
	"os"

	"github.com/pocketbase/dbx"
	"github.com/pocketbase/pocketbase"
	"github.com/pocketbase/pocketbase/core"
)

const pragmas = "?_pragma=busy_timeout(10000)&_pragma=journal_mode(WAL)&_pragma=journal_size_limit(200000000)" +
	"&_pragma=synchronous(FULL)&_pragma=foreign_keys(ON)&_pragma=temp_store(MEMORY)&_pragma=cache_size(-32000)"

func main() {
	if err := serve(); err != nil {
		fmt.Fprintln(os.Stderr, "peer:", err)
		os.Exit(1)
	}
}

func serve() error {
	if len(os.Args) != 3 {
		return errors.New("usage: peer ADDRESS FOLDER")
	}
	address, folder := os.Args[1], os.Args[2]
	os.Args = []string{os.Args[0], "serve", "--http", address} // it looks there itself before it runs
	app := pocketbase.NewWithConfig(pocketbase.Config{
		HideStartBanner: true, DefaultDataDir: folder,
		DBConnect: func(path string) (*dbx.DB, error) { return dbx.Open("sqlite", path+pragmas) },
	})
	app.OnServe().BindFunc(func(e *core.ServeEvent) error {
		settings := app.Settings()
		settings.Logs.MaxDays = 0
		if err := app.Save(settings); err != nil {
			return err
		}
		anybody := ""
		entries := core.NewBaseCollection("entries")
		entries.CreateRule = &anybody
		entries.Fields.Add(&core.TextField{Name: "animal"}, &core.TextField{Name: "kind"},
			&core.TextField{Name: "happened"}, &core.JSONField{Name: "body"})
		entries.AddIndex("entries_of_animal", false, "animal, happened", "")
		if err := app.Save(entries); err != nil {
			return err
		}
		return e.Next()
	})
	return app.Start()
}
