package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/google/uuid"
)

// load starts the servers on a filled place, loads them and stops them.
func (o *options) load(ctx context.Context, p *place, s setup) (r result, err error) {
	r.setup = s
	var servers []*process
	defer func() {
		for _, srv := range servers {
			err = errors.Join(err, srv.stop())
			r.rss += srv.peak
		}
	}()
	for i := range s.servers {
		address, err := freeAddress()
		if err != nil {
			return r, err
		}
		args := []string{"serve", "--data", p.dir, "--listen", address, "--calls-each=-1"}
		if p.url != "" {
			args = append(args, "--database", p.url)
		}
		srv, err := start(ctx, "http://"+address, "/healthz", filepath.Join(o.folder, fmt.Sprint("server-", i, ".log")), o.program, args...)
		if err != nil {
			return r, err
		}
		servers = append(servers, srv)
	}
	client := newClient(o.loggers + o.readers)
	// Caches, pools, statements; and what is asked for is off the disk once.
	if _, _, err := o.drive(ctx, client, p, servers, turns(2*len(p.followed)), turns(2*len(p.breeders))); err != nil {
		return r, err
	}
	before, err := o.count(ctx, p, servers)
	if err != nil {
		return r, err
	}
	logs, lists, err := o.drive(ctx, client, p, servers, during(o.seconds), during(o.seconds))
	if err != nil {
		return r, err
	}
	after, err := o.count(ctx, p, servers)
	if err != nil {
		return r, err
	}
	r.spent, r.requests = after.since(before), float64(len(logs)+len(lists))
	r.logs, r.lists = float64(len(logs))/o.seconds.Seconds(), float64(len(lists))/o.seconds.Seconds()
	r.log, r.list = quantilesOf(logs), quantilesOf(lists)
	return r, nil
}

// more reports whether one more request is to be sent, as the turn-th.
type more func(turn int64) bool

func during(long time.Duration) more {
	end := time.Now().Add(long)
	return func(int64) bool { return time.Now().Before(end) }
}

func turns(n int) more { return func(turn int64) bool { return turn <= int64(n) } }

// drive logs and lists as long as there are to be more; phones and desks are spread over
// the servers.
func (o *options) drive(ctx context.Context, client *http.Client, p *place, servers []*process, moreLogs, moreLists more) (logs, lists []time.Duration, err error) {
	var running sync.WaitGroup
	var failed, failedToo error
	running.Go(func() {
		logs, failed = spin(client, o.loggers, moreLogs, func(worker int, turn int64) (*http.Request, error) {
			c := &p.followed[(turn*7919)%int64(len(p.followed))]
			body := map[string]any{"happenTime": time.Now().UTC(), "case": "breeders/" + c.breeder + "/cases/" + c.caseID, "confirmed": true}
			if turn%2 == 0 {
				body["weighIn"] = map[string]any{"massG": c.mass}
			} else {
				body["offer"] = map[string]any{"result": "OFFER_RESULT_REFUSED", "prey": "rat", "preyState": "PREY_STATE_THAWED"}
			}
			return request(ctx, "POST", servers[worker%len(servers)].base+"/v1/breeders/"+c.breeder+"/animals/"+c.animal+"/entries?entryId="+uuid.Must(uuid.NewV7()).String(), c.secret, body)
		})
	})
	lists, failedToo = spin(client, o.readers, moreLists, func(worker int, turn int64) (*http.Request, error) {
		b := &p.breeders[turn%int64(len(p.breeders))]
		return request(ctx, "GET", servers[worker%len(servers)].base+"/v1/breeders/"+b.breeder+"/cases", b.secret, nil)
	})
	running.Wait()
	return logs, lists, errors.Join(failed, failedToo)
}

// spin has workers send requests, each the next when the last was answered, and returns
// how long each took. The first failure ends its worker.
func spin(client *http.Client, workers int, more more, next func(worker int, turn int64) (*http.Request, error)) (times []time.Duration, err error) {
	var running sync.WaitGroup
	var mu sync.Mutex
	var turn atomic.Int64
	for n := range workers {
		running.Go(func() {
			var mine []time.Duration
			var failed error
			for at := turn.Add(1); failed == nil && more(at); at = turn.Add(1) {
				var req *http.Request
				if req, failed = next(n, at); failed == nil {
					begun := time.Now()
					failed = send(client, req)
					mine = append(mine, time.Since(begun))
				}
			}
			mu.Lock()
			defer mu.Unlock()
			times = append(times, mine...)
			err = errors.Join(err, failed)
		})
	}
	running.Wait()
	return times, err
}

func newClient(connections int) *http.Client {
	return &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: connections}, Timeout: 30 * time.Second}
}

func request(ctx context.Context, method, address, secret string, body any) (*http.Request, error) {
	var r io.Reader
	if body != nil {
		data, err := json.Marshal(body)
		if err != nil {
			return nil, err
		}
		r = bytes.NewReader(data)
	}
	req, err := http.NewRequestWithContext(ctx, method, address, r)
	if err != nil {
		return nil, err
	}
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	if secret != "" {
		req.Header.Set("Authorization", "Bearer "+secret)
	}
	return req, nil
}

// send is one request to the end of its answer. Any answer but a success ends
// the load: a number with refusals in it says nothing.
func send(client *http.Client, req *http.Request) error {
	res, err := client.Do(req)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if res.StatusCode != http.StatusOK {
		text, err := io.ReadAll(io.LimitReader(res.Body, 1000))
		return errors.Join(fmt.Errorf("%s %s: %s %s", req.Method, req.URL.Path, res.Status, text), err)
	}
	_, err = io.Copy(io.Discard, res.Body)
	return err
}

func quantilesOf(times []time.Duration) quantiles {
	if len(times) == 0 {
		return quantiles{}
	}
	slices.Sort(times)
	return quantiles{times[len(times)/2], times[len(times)*99/100]}
}

// process is a program that serves.
type process struct {
	base string
	cmd  *exec.Cmd
	log  *os.File
	peak int64 // its resident memory at most, bytes; known once it ended
}

func freeAddress() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	return l.Addr().String(), l.Close()
}

// start starts a program and waits until it answers at a path.
func start(ctx context.Context, base, path, log, program string, args ...string) (*process, error) {
	f, err := os.Create(log)
	if err != nil {
		return nil, err
	}
	p := &process{base: base, cmd: exec.CommandContext(ctx, program, args...), log: f}
	p.cmd.Stdout, p.cmd.Stderr = f, f
	if err := p.cmd.Start(); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	for until := time.Now().Add(time.Minute); ; {
		res, err := http.Get(base + path)
		if err == nil {
			res.Body.Close()
			if res.StatusCode == http.StatusOK {
				return p, nil
			}
		}
		if time.Now().After(until) || ctx.Err() != nil {
			said, readErr := os.ReadFile(log)
			return nil, errors.Join(fmt.Errorf("%s does not answer: %w: %s", program, err, said), readErr, p.stop())
		}
		time.Sleep(50 * time.Millisecond)
	}
}

// stop asks the program to end and waits for it.
func (p *process) stop() error {
	if status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.cmd.Process.Pid)); err == nil {
		for line := range strings.SplitSeq(string(status), "\n") {
			if kb, ok := strings.CutPrefix(line, "VmHWM:"); ok {
				n, err := strconv.ParseInt(strings.TrimSpace(strings.TrimSuffix(kb, "kB")), 10, 64)
				if err != nil {
					return err
				}
				p.peak = n << 10
			}
		}
	}
	err := p.cmd.Process.Signal(syscall.SIGTERM)
	if waitErr := p.cmd.Wait(); err == nil {
		err = waitErr
	}
	return errors.Join(err, p.log.Close())
}

// peerResult is what two programs bear of durable writes, one by one.
type peerResult struct {
	ours, theirs       float64 // a second
	oursP99, theirsP99 time.Duration
}

// peerVersion is what internal/tools/peer/go.mod asks for.
const peerVersion = "0.36.8"

// Who writes against a peer takes turns of peerTurn, so that a neighbour on the machine
// disturbs both alike, with a pause between them, so that what one still does behind its
// answers does not disturb the other.
const (
	peerTurn  = 2 * time.Second
	peerPause = 200 * time.Millisecond
)

// againstPeer has both write for the same time with as many clients, in turns.
func (o *options) againstPeer(ctx context.Context) (r peerResult, err error) {
	p := place{dir: filepath.Join(o.folder, "against-peer")}
	if _, err := p.fill(ctx, 1000); err != nil {
		return r, err
	}
	ours, err := freeAddress()
	if err != nil {
		return r, err
	}
	srv, err := start(ctx, "http://"+ours, "/healthz", filepath.Join(o.folder, "ours.log"), o.program, "serve", "--data", p.dir, "--listen", ours, "--calls-each=-1")
	if err != nil {
		return r, err
	}
	defer func() { err = errors.Join(err, srv.stop()) }()
	theirs, err := freeAddress()
	if err != nil {
		return r, err
	}
	data := filepath.Join(o.folder, "peer")
	if err := os.RemoveAll(data); err != nil { // of a run before, when the folder is kept
		return r, err
	}
	peer, err := start(ctx, "http://"+theirs, "/api/health", filepath.Join(o.folder, "peer.log"), o.peer, theirs, data)
	if err != nil {
		return r, err
	}
	defer func() { err = errors.Join(err, ignoreSignal(peer.stop())) }()
	writers := *o
	writers.readers = 0 // and so no lists
	client := newClient(o.loggers)
	record := func(_ int, turn int64) (*http.Request, error) {
		return request(ctx, "POST", peer.base+"/api/collections/entries/records", "", map[string]any{"animal": fmt.Sprint("animal-", turn%500), "kind": "weigh_in",
			"happened": time.Now().UTC(), "body": map[string]any{"massG": 540}})
	}
	var mine, other []time.Duration
	rounds := max(1, int(o.seconds/peerTurn))
	for range rounds {
		time.Sleep(peerPause)
		logs, _, err := writers.drive(ctx, client, &p, []*process{srv}, during(peerTurn), nil)
		if err != nil {
			return r, err
		}
		mine = append(mine, logs...)
		time.Sleep(peerPause)
		records, err := spin(client, o.loggers, during(peerTurn), record)
		if err != nil {
			return r, err
		}
		other = append(other, records...)
	}
	each := float64(rounds) * peerTurn.Seconds()
	r.ours, r.theirs = float64(len(mine))/each, float64(len(other))/each
	r.oursP99, r.theirsP99 = quantilesOf(mine).p99, quantilesOf(other).p99
	return r, nil
}

// ignoreSignal takes an end by the signal that was sent for a good one.
func ignoreSignal(err error) error {
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return nil
	}
	return err
}
