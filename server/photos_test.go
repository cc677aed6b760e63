package server_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"warmhand/internal/care"
	"warmhand/server/servertest"
)

// A case holds so many pictures and no more, of which nothing of the next one is kept.
func TestPicturesOfACaseAreBounded(t *testing.T) {
	testOn(t, func(t *testing.T, f *servertest.Fixture) {
		breeder := f.NewBreeder("b1")
		caseID, code := breeder.HandOver(breeder.NewAnimal())
		keeper := f.Page()
		keeper.Claim(code).OK()
		photos := "/v1/breeders/b1/cases/" + caseID + "/photos/"
		put := func(id string) *servertest.Answer {
			return keeper.Call("PUT", photos+id, picture(t, 40, 40), "Content-Type", "image/jpeg")
		}
		put("photo-first").OK()
		f.Write(func(tx care.Tx) error {
			for i := range care.PhotosOfCase - 2 {
				if err := tx.InsertPhoto(care.Photo{BreederID: "b1", CaseID: caseID, ID: fmt.Sprint("photo-", i), By: care.KeeperActor, Hash: "h", ReceivedAt: f.Clock.Now()}); err != nil {
					return err
				}
			}
			return nil
		})
		put("photo-last").OK()
		got := put("photo-over")
		if reason, _, _ := got.Problem(); got.Status != 400 || reason != "TOO_LARGE" || !strings.Contains(got.Text("message"), "2000 pictures") {
			t.Errorf("one more: %d %s", got.Status, got.Body)
		}
		if got := keeper.Call("PUT", photos+"photo-piece", []byte("\xff\xd8\xff"), "Content-Type", "image/jpeg", "Upload-Complete", "?0"); got.Status != 400 {
			t.Errorf("the beginning of one more: %d %s", got.Status, got.Body)
		}
		put("photo-first").OK() // a repeat is none
		put("photo-last").OK()
	})
}

func TestPhotoInPieces(t *testing.T) {
	testOn(t, func(t *testing.T, f *servertest.Fixture) {
		breeder := f.NewBreeder("b1")
		caseID, code := breeder.HandOver(breeder.NewAnimal())
		keeper := f.Page()
		keeper.Claim(code).OK()
		_, other := breeder.HandOver(breeder.NewAnimal())
		stranger := f.Page()
		stranger.Claim(other).OK()
		path := "/v1/breeders/b1/cases/" + caseID + "/photos/photo-1"
		jpg := picture(t, 640, 480)
		arrived := func(who *servertest.Client, status int, offset, complete string) {
			t.Helper()
			got := who.Call("HEAD", path, nil)
			if got.Status != status || got.Header.Get("Upload-Offset") != offset || got.Header.Get("Upload-Complete") != complete {
				t.Errorf("arrived: %d %v", got.Status, got.Header)
			}
		}
		arrived(keeper, 204, "0", "?0")
		first := keeper.Call("PUT", path, jpg[:1000], "Content-Type", "image/jpeg", "Upload-Complete", "?0")
		if first.Status != 204 || first.Header.Get("Upload-Offset") != "1000" || first.Header.Get("Upload-Complete") != "?0" {
			t.Fatalf("the first piece: %d %v", first.Status, first.Header)
		}
		arrived(keeper, 204, "1000", "?0")
		arrived(stranger, 404, "", "")
		arrived(f.Page(), 401, "", "")
		piece := func(who *servertest.Client, from, to int, complete string) *servertest.Answer {
			return who.Call("PATCH", path, jpg[from:to], "Content-Type", "application/partial-upload", "Upload-Offset", fmt.Sprint(from),
				"Upload-Complete", complete, "X-Taken-At", "2026-05-30T10:00:00+02:00")
		}
		if got := piece(stranger, 1000, 2000, "?0"); got.Status != 404 {
			t.Errorf("a stranger's piece: %d", got.Status)
		}
		if got := piece(keeper, 2000, 3000, "?0"); got.Status != 409 || got.Header.Get("Upload-Offset") != "1000" {
			t.Errorf("a piece after a gap: %d %v %s", got.Status, got.Header, got.Body)
		} else if reason, _, _ := got.Problem(); reason != "UPLOAD_OFFSET" {
			t.Errorf("a piece after a gap: %s", got.Body)
		}
		if got := piece(keeper, 1000, 2000, "?0"); got.Status != 204 {
			t.Errorf("the second piece: %d %s", got.Status, got.Body)
		}
		last := piece(keeper, 2000, len(jpg), "?1").OK()
		if last.Get("width") != 640.0 || last.Text("takeTime") != "2026-05-30T08:00:00Z" {
			t.Errorf("the photo is %s", last.Body)
		}
		arrived(keeper, 204, "", "?1")
		if again := piece(keeper, 2000, len(jpg), "?1").OK(); !bytes.Equal(again.Body, last.Body) {
			t.Errorf("the last piece again: %s", again.Body)
		}
		for _, bad := range [][]string{{"Upload-Offset", "-1"}, {"Upload-Offset", "x"}, {}, {"Upload-Offset", "0", "Upload-Complete", "yes"}} {
			got := keeper.Call("PATCH", path+"2", jpg, append([]string{"Content-Type", "image/jpeg"}, bad...)...)
			if reason, fields, _ := got.Problem(); got.Status != 400 || reason != "BAD_FIELD" || len(fields) == 0 {
				t.Errorf("%v: %d %s", bad, got.Status, got.Body)
			}
		}
		if n := picturesOn(t, f); n != 2 {
			t.Errorf("%d files are on the disk", n)
		}
	})
}

// What cameras write of place, time, name and serial number is in nothing that
// is stored or served, in whatever format it came. The time is kept when the
// sender tells it, and only then.
func TestNothingOfTheCameraIsKept(t *testing.T) {
	t.Parallel()
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		t.Skip("exiftool is not installed")
	}
	f := servertest.Start(t, servertest.Options{})
	breeder := f.NewBreeder("b1")
	caseID, code := breeder.HandOver(breeder.NewAnimal())
	keeper := f.Page()
	keeper.Claim(code).OK()

	in, served := t.TempDir(), t.TempDir()
	write := func(dir, name string, b []byte) {
		if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	sources := []string{"orientation-6.jpg", "quarters-palette.png", "quarters-lossy.webp", "quarters-progressive.jpg", "quarters-cmyk.jpg"}
	for _, name := range append(sources, "quarters.heic") {
		b, err := os.ReadFile("../testdata/photos/" + name)
		if err != nil {
			t.Fatal(err)
		}
		write(in, name, b)
	}
	out, err := exec.Command(tool, "-overwrite_original", "-q", "-GPSLatitude=12.58", "-GPSLatitudeRef=N", "-GPSLongitude=40.11", "-GPSLongitudeRef=W",
		"-SerialNumber=SERIAL-0042", "-OwnerName=Invented Owner", "-Artist=Invented Owner", "-Make=Invented Camera", "-DateTimeOriginal=2026:06:07 08:09:10",
		"-OffsetTimeOriginal=+02:00", "-XMP:GPSLatitude=12.58", "-XMP:City=Invented Town", "-IPTC:City=Invented Town", "-Comment=Invented Town",
		"-ImageUniqueID=0123456789abcdef0123456789abcdef", in).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	tags := func(dir string) []map[string]any {
		out, err := exec.Command(tool, "-r", "-j", "-G", "-a", "-u", "-ee", dir).Output()
		if err != nil {
			t.Fatal(err)
		}
		var found []map[string]any
		if err := json.Unmarshal(out, &found); err != nil {
			t.Fatal(err)
		}
		return found
	}
	for _, file := range tags(in) {
		if file["EXIF:GPSLatitude"] == nil || file["EXIF:SerialNumber"] == nil {
			t.Fatalf("exiftool put nothing into %v", file["SourceFile"])
		}
	}
	for i, name := range sources {
		b, err := os.ReadFile(filepath.Join(in, name))
		if err != nil {
			t.Fatal(err)
		}
		path := fmt.Sprintf("/v1/breeders/b1/cases/%s/photos/photo-%d", caseID, i)
		if got := keeper.Call("PUT", path, b, "Content-Type", "application/octet-stream").OK(); got.Text("takeTime") != "" {
			t.Errorf("%s: a time is kept that nobody told: %s", name, got.Body)
		}
		for _, size := range []string{"320", "1600"} {
			got := breeder.Call("GET", path+"/"+size, nil).OK()
			write(served, fmt.Sprintf("%d-%s.jpg", i, size), got.Body)
			for key := range got.Header {
				if key == "Last-Modified" {
					t.Errorf("%s is served with %s", name, key)
				}
			}
		}
	}
	heic, err := os.ReadFile(filepath.Join(in, "quarters.heic"))
	if err != nil {
		t.Fatal(err)
	}
	got := keeper.Call("PUT", "/v1/breeders/b1/cases/"+caseID+"/photos/photo-h", heic, "Content-Type", "application/octet-stream")
	if reason, _, _ := got.Problem(); got.Status != 400 || reason != "PHOTO_REFUSED" || !bytes.Contains(got.Body, []byte("most compatible")) {
		t.Errorf("a HEIC: %d %s", got.Status, got.Body)
	}
	stored := tags(filepath.Join(f.DataDir, "photos"))
	if len(stored) == 0 || len(stored)%2 != 0 {
		t.Fatalf("%d pictures are stored", len(stored))
	}
	for _, file := range append(stored, tags(served)...) {
		for tag, v := range file {
			switch group, _, _ := strings.Cut(tag, ":"); group {
			case "SourceFile", "ExifTool", "File", "Composite":
			default:
				t.Errorf("%v: %s = %v", file["SourceFile"], tag, v)
			}
		}
	}
	for _, b := range [][]byte{[]byte("SERIAL-0042"), []byte("Invented Town")} {
		if columns := f.Mentions(string(b)); len(columns) > 0 {
			t.Errorf("%s is in %v", b, columns)
		}
	}
}
