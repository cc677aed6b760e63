package photo

import "runtime/debug"

// raceDetector tells whether this test binary was built with -race.
func raceDetector() bool {
	info, _ := debug.ReadBuildInfo()
	for _, s := range info.Settings {
		if s.Key == "-race" {
			return s.Value == "true"
		}
	}
	return false
}
