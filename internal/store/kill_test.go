package store

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"

	"warmhand/internal/care"
)

// killedDirEnv makes the test binary write to the store in that folder until
// it is killed.
const killedDirEnv = "WARMHAND_TEST_KILLED_DIR"

// writeUntilKilled prints the id of each write that was acknowledged.
func writeUntilKilled(dir string) {
	s, err := Open(context.Background(), Config{Dir: dir})
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	var out sync.Mutex
	for worker := range 8 {
		go func() {
			for i := 0; ; i++ {
				id := fmt.Sprintf("%d-%d", worker, i)
				err := s.Write(context.Background(), func(tx care.Tx) error {
					// Two rows each: neither may be there without the other.
					if err := tx.InsertKeeper(care.Keeper{ID: id, Name: strings.Repeat("n", 200)}); err != nil {
						return err
					}
					return tx.InsertKeeper(care.Keeper{ID: id + "-twin"})
				})
				out.Lock()
				if err != nil {
					fmt.Println("error", err)
				} else {
					fmt.Println(id)
				}
				out.Unlock()
			}
		}()
	}
	select {}
}

// What a process was told is saved must be there after it was killed at an
// arbitrary moment; of what it was not told, all or nothing. (Power cuts are
// what synchronous=FULL is for; TestPragmasOnEveryConnection checks that.)
func TestKilledWhileWriting(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	acknowledged := map[string]bool{}
	for round := range 3 {
		child := exec.Command(os.Args[0], "-test.run=^$")
		child.Env = append(os.Environ(), fmt.Sprintf("%s=%s/%d", killedDirEnv, dir, round))
		child.Stderr = os.Stderr
		out, err := child.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		clear(acknowledged)
		lines := bufio.NewScanner(out)
		for lines.Scan() {
			line := lines.Text()
			if strings.HasPrefix(line, "error") {
				t.Error(line)
			}
			acknowledged[line] = true
			if len(acknowledged) == 500*(round+1) {
				if err := child.Process.Kill(); err != nil {
					t.Fatal(err)
				}
			}
		}
		_ = child.Wait() // killed
		s := open(t, Config{Dir: fmt.Sprintf("%s/%d", dir, round)})
		err = s.Read(t.Context(), func(tx care.Tx) error {
			for id := range acknowledged {
				for _, id := range []string{id, id + "-twin"} {
					if _, err := tx.Keeper(id); err != nil {
						return fmt.Errorf("%s was acknowledged: %w", id, err)
					}
				}
			}
			// The next of each worker may have been in flight.
			for worker := range 8 {
				for i := 0; ; i++ {
					id := fmt.Sprintf("%d-%d", worker, i)
					_, err := tx.Keeper(id)
					_, twinErr := tx.Keeper(id + "-twin")
					if (err == nil) != (twinErr == nil) {
						return fmt.Errorf("%s is there by half: %v, %v", id, err, twinErr)
					}
					if err != nil {
						break
					}
				}
			}
			return nil
		})
		if err != nil {
			t.Error(err)
		}
		if err := s.Check(t.Context()); err != nil {
			t.Error(err)
		}
	}
}
