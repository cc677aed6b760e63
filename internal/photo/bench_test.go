//go:build unix

package photo

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"
)

// BenchmarkIntake12MP is the whole way of a 12 million pixel JPEG, beside what
// libvips takes to make the same two sizes of it, without metadata: it reads the
// file once for the large one and makes the small one of that. cpu-ms is the
// time on all cores together, which a busy machine changes little; of libvips
// what its two starts take is left out.
func BenchmarkIntake12MP(b *testing.B) {
	dir := b.TempDir()
	jpg := jpegOf(b, noisy(4000, 3000))
	in := filepath.Join(dir, "in.jpg")
	if err := os.WriteFile(in, jpg, 0o600); err != nil {
		b.Fatal(err)
	}
	cpu := func(u *syscall.Rusage) time.Duration {
		return time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	report := func(b *testing.B, spent time.Duration) {
		b.ReportMetric(float64(spent.Microseconds())/1000/float64(b.N), "cpu-ms/op")
	}
	b.Run("ours", func(b *testing.B) {
		b.SetBytes(int64(len(jpg)))
		b.ReportAllocs()
		var before, after syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &before); err != nil {
			b.Fatal(err)
		}
		for b.Loop() {
			if _, err := Intake(b.Context(), bytes.NewReader(jpg), Limits{}, dir); err != nil {
				b.Fatal(err)
			}
		}
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &after); err != nil {
			b.Fatal(err)
		}
		report(b, cpu(&after)-cpu(&before))
	})
	b.Run("libvips", func(b *testing.B) {
		tool, err := exec.LookPath("vipsthumbnail")
		if err != nil {
			b.Skip("vipsthumbnail is not installed")
		}
		b.SetBytes(int64(len(jpg)))
		var spent time.Duration
		for b.Loop() {
			from := in
			for _, side := range []int{LargeSide, SmallSide} {
				to := filepath.Join(dir, fmt.Sprintf("%d.jpg", side))
				cmd := exec.CommandContext(b.Context(), tool, "-s", fmt.Sprint(side), "-o", fmt.Sprintf("%s[Q=%d,strip]", to, quality), from)
				if text, err := cmd.CombinedOutput(); err != nil {
					b.Fatalf("%v\n%s", err, text)
				}
				start := exec.CommandContext(b.Context(), tool, "--version")
				if text, err := start.CombinedOutput(); err != nil {
					b.Fatalf("%v\n%s", err, text)
				}
				for c, sign := range map[*exec.Cmd]time.Duration{cmd: 1, start: -1} {
					spent += sign * (c.ProcessState.UserTime() + c.ProcessState.SystemTime())
				}
				from = to
			}
		}
		report(b, spent)
	})
}
