package server

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"testing"
	"time"

	"go.uber.org/goleak"

	"warmhand/internal/photo/phototest"
)

// Child is a server in a process of its own, for a test that kills it: the test binary
// is one when ChildEnv holds it as JSON.
type Child struct {
	Database, Dir string
	Now           time.Time // for as long as it lives
	Beat          time.Duration
}

// ChildEnv is the name of the environment's variable.
const ChildEnv = "WARMHAND_TEST_SERVER"

func (c Child) run() error {
	s, err := New(context.Background(), Config{DatabaseURL: c.Database, DataDir: c.Dir, Listen: "127.0.0.1:0", CallsEach: -1, Now: func() time.Time { return c.Now }, Log: slog.New(slog.DiscardHandler), beat: c.Beat})
	if err != nil {
		return err
	}
	fmt.Println("http://" + s.Addr().String())
	return s.Run(context.Background())
}

func TestMain(m *testing.M) {
	if text := os.Getenv(ChildEnv); text != "" {
		var c Child
		err := json.Unmarshal([]byte(text), &c)
		if err == nil {
			err = c.run()
		}
		fmt.Fprintln(os.Stderr, "a server of its own:", err)
		os.Exit(1)
	}
	if folder := os.Getenv(phototest.BucketEnv); folder != "" {
		fmt.Fprintln(os.Stderr, "a bucket of its own:", phototest.ServeBucket(folder))
		os.Exit(1)
	}
	goleak.VerifyTestMain(m)
}
