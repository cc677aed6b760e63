package care

import (
	"testing"
	"time"
)

// The quiet hours against the clock on the wall, over both changes
// of clocks and in zones far from each other; the end is the first minute that is not
// quiet any more.
func TestQuietHours(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		zone        string
		from, until int
		day         time.Time
	}{
		{"Europe/Vienna", 21 * 60, 8 * 60, time.Date(2027, 3, 27, 0, 0, 0, 0, time.UTC)},     // 02:00 becomes 03:00
		{"Europe/Vienna", 21 * 60, 150, time.Date(2027, 3, 27, 0, 0, 0, 0, time.UTC)},        // until an hour that is left out
		{"Europe/Vienna", 21 * 60, 150, time.Date(2027, 10, 30, 0, 0, 0, 0, time.UTC)},       // until one that comes twice
		{"America/New_York", 13 * 60, 17 * 60, time.Date(2027, 3, 13, 0, 0, 0, 0, time.UTC)}, // by day, of who works at night
		{"Pacific/Auckland", 21 * 60, 8 * 60, time.Date(2027, 4, 3, 0, 0, 0, 0, time.UTC)},
		{"Pacific/Pago_Pago", 21 * 60, 8 * 60, time.Date(2027, 4, 3, 0, 0, 0, 0, time.UTC)},
		{"Asia/Kathmandu", 22*60 + 15, 6*60 + 45, time.Date(2027, 4, 3, 0, 0, 0, 0, time.UTC)},
		{"Africa/Cairo", 0, 30, time.Date(2027, 4, 29, 0, 0, 0, 0, time.UTC)}, // midnight itself is left out
		{"UTC", 0, 0, time.Date(2027, 4, 3, 0, 0, 0, 0, time.UTC)},            // none
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		r := Hours{Zone: c.zone, QuietFrom: c.from, QuietUntil: c.until}
		isQuiet := func(at time.Time) bool {
			m := at.In(zone).Hour()*60 + at.In(zone).Minute()
			if c.from > c.until {
				return m >= c.from || m < c.until
			}
			return c.from <= m && m < c.until
		}
		quietMinutes := 0
		for m := 0; m < 3*dayMinutes; m += 7 {
			at := c.day.Add(time.Duration(m) * time.Minute)
			end, quiet := r.QuietUntilAt(at)
			if quiet != isQuiet(at) {
				t.Fatalf("%s %s: quiet %v", c.zone, at.In(zone), quiet)
			}
			if !quiet {
				if !end.Equal(at) {
					t.Fatalf("%s %s is not quiet and ends %s", c.zone, at.In(zone), end)
				}
				continue
			}
			quietMinutes++
			want := at
			for isQuiet(want) {
				want = want.Add(time.Minute)
			}
			// Where an hour is repeated the quiet may end in the first and begin anew: then
			// the second end is as good.
			if !end.Equal(want) && (isQuiet(end) || end.Sub(want) > 61*time.Minute || end.Before(want)) {
				t.Fatalf("%s %s: the quiet ends %s, want %s", c.zone, at.In(zone), end.In(zone), want.In(zone))
			}
		}
		if (quietMinutes == 0) != (c.from == c.until) {
			t.Errorf("%s: %d quiet minutes", c.zone, quietMinutes)
		}
	}
}

// Every day has one morning, whatever is done to the clocks.
func TestMornings(t *testing.T) {
	t.Parallel()
	for _, zone := range []string{"Europe/Vienna", "Pacific/Auckland", "Pacific/Pago_Pago", "America/New_York"} {
		r := Hours{Zone: zone, Morning: 150}
		at, mornings, days := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC), map[time.Time]bool{}, map[string]bool{}
		for range 365 * 8 {
			last, next := r.LastMorning(at), r.NextMorning(at)
			if last.After(at) || !next.After(at) || next.Sub(last) < 22*time.Hour || next.Sub(last) > 26*time.Hour {
				t.Fatalf("%s %s: %s, %s", zone, at, last, next)
			}
			mornings[next], days[r.Day(next)] = true, true
			at = at.Add(3 * time.Hour)
		}
		if len(mornings) != len(days) || len(days) < 365 || len(days) > 366 {
			t.Errorf("%s: %d mornings on %d days", zone, len(mornings), len(days))
		}
	}
}

func TestCheckHours(t *testing.T) {
	t.Parallel()
	good := Hours{Zone: "Pacific/Chatham", QuietFrom: 21 * 60, QuietUntil: 8 * 60, Morning: 420}
	if err := CheckHours(&good); err != nil {
		t.Error(err)
	}
	for name, spoil := range map[string]func(*Hours){
		"no zone":      func(r *Hours) { r.Zone = "" },
		"the server's": func(r *Hours) { r.Zone = "Local" },
		"a path":       func(r *Hours) { r.Zone = "../../etc/passwd" },
		"midnight":     func(r *Hours) { r.QuietFrom = 1440 },
		"before it":    func(r *Hours) { r.Morning = -1 },
	} {
		bad := good
		spoil(&bad)
		if err := CheckHours(&bad); !IsCode(err, Invalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
