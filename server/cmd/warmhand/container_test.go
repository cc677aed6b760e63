//go:build linux

package main

import (
	"bufio"
	"context"
	"debug/elf"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"
)

// The container file's last image has the program, the C library that it is linked to, and
// certificates, and runs as nobody's user. What it starts runs with no more than that: as
// that user, in a folder with the program, its libraries, and one place to write.
func TestContainer(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("../../deploy/Containerfile")
	if err != nil {
		t.Fatal(err)
	}
	_, last, _ := strings.Cut(string(text), "\nFROM debian:12-slim\n")
	entry := regexp.MustCompile(`(?m)^ENTRYPOINT \["/usr/local/bin/warmhand", "serve", (.*)\]$`).FindStringSubmatch(last)
	if entry == nil || !strings.Contains(last, "\nUSER 10001:10001\n") || strings.Index(last, "\nUSER ") < strings.LastIndex(last, "\nRUN ") {
		t.Fatalf("the last image is not a Debian, or does not end with a user of its own and the program:\n%s", last)
	}
	health := regexp.MustCompile(`(?m)^HEALTHCHECK .*CMD \["/usr/local/bin/warmhand", (.*)\]$`).FindStringSubmatch(last)
	if health == nil || !strings.Contains(entry[1], ":8080") || !strings.Contains(health[1], `"127.0.0.1:8080"`) {
		t.Fatalf("the container's health is not asked for where it listens:\n%s", last)
	}
	help, _, _ := run(t, "serve", "--help")
	for _, flag := range regexp.MustCompile(`--[a-z-]+`).FindAllString(entry[1], -1) {
		if !strings.Contains(help, flag+"=") {
			t.Errorf("%s is no flag of serve", flag)
		}
	}

	program, err := elf.Open(binary)
	if err != nil {
		t.Fatal(err)
	}
	defer program.Close()
	libraries, err := program.ImportedLibraries()
	if err != nil {
		t.Fatal(err)
	}
	loader := ""
	for _, p := range program.Progs {
		if p.Type == elf.PT_INTERP {
			name, err := io.ReadAll(p.Open())
			if err != nil {
				t.Fatal(err)
			}
			loader = strings.TrimRight(string(name), "\x00")
		}
	}
	// What Debian's smallest image has: the C library, all parts of it.
	small := map[string]bool{"libc.so.6": true, "libresolv.so.2": true, "libpthread.so.0": true, "libdl.so.2": true, "libm.so.6": true, filepath.Base(loader): true}
	for _, name := range libraries {
		if !small[name] {
			t.Errorf("it wants %s, which is not in the image", name)
		}
	}

	if os.Getuid() != 0 {
		t.Skip("the rest wants root, to be another")
	}
	root := t.TempDir()
	put := func(from, to string) {
		t.Helper()
		b, err := os.ReadFile(from)
		if err == nil {
			err = os.MkdirAll(filepath.Join(root, filepath.Dir(to)), 0o755)
		}
		if err == nil {
			err = os.WriteFile(filepath.Join(root, to), b, 0o755)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	put(binary, "/usr/local/bin/warmhand")
	put(loader, loader)
	for _, name := range libraries {
		found, err := filepath.Glob("/lib/*-linux-gnu*/" + name)
		if err != nil || len(found) == 0 {
			t.Skipf("%s is elsewhere on this system", name)
		}
		put(found[0], found[0])
	}
	if err := os.Chmod(root, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, dir := range []string{"/data", "/backups", "/tmp"} {
		if err := os.Mkdir(filepath.Join(root, dir), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.Chown(filepath.Join(root, dir), 10001, 10001); err != nil {
			t.Fatal(err)
		}
	}
	inside := func(args string) *exec.Cmd {
		c := exec.CommandContext(context.Background(), "/usr/local/bin/warmhand", regexp.MustCompile(`[^", ]+`).FindAllString(args, -1)...)
		c.Dir, c.Env, c.Err = "/", []string{"HOME=/"}, nil // it is looked for inside
		c.SysProcAttr = &syscall.SysProcAttr{Chroot: root, Credential: &syscall.Credential{Uid: 10001, Gid: 10001}}
		return c
	}
	c := inside("serve " + strings.Replace(entry[1], "0.0.0.0:8080", "127.0.0.1:0", 1))
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	if err == nil {
		err = c.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	_, port, ok := strings.Cut(origins.FindString(line), "http://localhost:")
	if err != nil || !ok {
		t.Errorf("it says %q, %v", line, err)
	}
	ask := func() (string, error) {
		said, err := inside(strings.Replace(health[1], "8080", port, 1)).CombinedOutput()
		return string(said), err
	}
	for deadline := time.Now().Add(time.Minute); ; time.Sleep(10 * time.Millisecond) { // it says its address before it answers
		said, err := ask()
		if err == nil {
			break
		}
		if time.Now().After(deadline) {
			t.Errorf("its health: %v %s", err, said)
			break
		}
	}
	c.Process.Signal(syscall.SIGTERM) //nolint:errcheck // it may have ended
	if err := c.Wait(); err != nil {
		t.Errorf("it ended with %v", err)
	}
	if said, err := ask(); err == nil || !strings.Contains(said, "no server answers") {
		t.Errorf("its health when it has stopped: %v %s", err, said)
	}
	if _, err := os.Stat(filepath.Join(root, "data", "warmhand.db")); err != nil {
		t.Error(err)
	}
}
