package server

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"mime"
	"net/http"
	"regexp"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/photo"
)

const (
	photoMax = 25 << 20 // bytes; what photo.Intake takes
	// photoTime is how long a picture may take to arrive: 25 MiB on a slow
	// phone line.
	photoTime = 5 * time.Minute
)

var plainID = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)

// putPhoto takes in the bytes of one picture, in the case that the address
// names. A repeat gets the first answer.
func (s *Server) putPhoto(w http.ResponseWriter, r *http.Request) {
	p, err := s.takePhoto(w, r)
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	body, err := wireJSON.Marshal(photoToProto(&p))
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.Write(body)
}

func (s *Server) takePhoto(w http.ResponseWriter, r *http.Request) (none care.Photo, err error) {
	breederID, caseID, id := r.PathValue("breeder"), r.PathValue("case"), r.PathValue("photo")
	who, err := s.admit(w, r, routePhotoPut, breederID)
	if err != nil {
		return none, err
	}
	if !plainID.MatchString(id) {
		return none, care.BadField("photo", "The photo's id has to be a UUID.")
	}
	ctx := r.Context()
	if _, err := s.followup.MayAddPhoto(ctx, who.Actor, breederID, caseID, id); err != nil {
		return none, err
	}
	switch kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); kind {
	case "image/jpeg", "image/png", "image/webp", "application/octet-stream":
	default:
		return none, care.BadField("Content-Type", "Send the picture's bytes as image/jpeg, image/png or image/webp.")
	}
	var taken *time.Time
	if text := r.Header.Get("X-Taken-At"); text != "" {
		at, err := time.Parse(time.RFC3339, text)
		if err != nil {
			return none, care.BadField("X-Taken-At", "%q is not a time. Write it like 2026-05-01T18:30:00Z, or leave it out.", printable(text))
		}
		taken = &at
	}
	if r.ContentLength > photoMax {
		return none, &photo.Error{Code: photo.TooLarge, Field: "photo", Message: "The picture is larger than 25 MB. Send it in a smaller size."}
	}
	http.NewResponseController(w).SetReadDeadline(time.Now().Add(photoTime)) //nolint:errcheck // a connection without deadlines has none
	pic, err := photo.Intake(ctx, http.MaxBytesReader(w, r.Body, photoMax+1), photo.Limits{Bytes: photoMax}, s.blobs.Temp())
	if err != nil {
		var refused *photo.Error
		if !errors.As(err, &refused) && !errors.Is(err, ctx.Err()) && isArrival(err) {
			return none, care.BadField("photo", "The picture did not arrive whole. Send it again.")
		}
		return none, err
	}
	if taken == nil && pic.Taken != nil && pic.Taken.Zoned {
		taken = &pic.Taken.Time
	}
	return s.keepPicture(ctx, who.Actor, s.now(), pic, care.Photo{BreederID: breederID, CaseID: caseID, ID: id, TakenAt: taken})
}

// keepPicture stores a picture that was taken in and then its row, in this
// order: a row never names a picture that is not there. p says whose it is.
func (s *Server) keepPicture(ctx context.Context, who care.Actor, now time.Time, pic *photo.Picture, p care.Photo) (none care.Photo, err error) {
	s.pictures.RLock()
	defer s.pictures.RUnlock()
	for variant, data := range map[photo.Variant][]byte{photo.Large: pic.Large, photo.Small: pic.Small} {
		if err := s.blobs.Put(ctx, photo.Key{Hash: pic.Hash, Variant: variant}, bytes.NewReader(data)); err != nil {
			return none, fmt.Errorf("keeping a picture: %w", err)
		}
	}
	p.Hash, p.Source, p.Bytes = pic.Hash, pic.UploadHash, pic.UploadBytes
	p.Width, p.Height, p.Dark, p.Blurred = pic.Width, pic.Height, pic.Dark, pic.Blurred
	return s.followup.AddPhoto(ctx, who, now, p)
}

// isArrival reports whether reading the request failed, and not the disk.
func isArrival(err error) bool {
	var large *http.MaxBytesError
	var timeout interface{ Timeout() bool }
	return errors.Is(err, io.ErrUnexpectedEOF) || errors.As(err, &large) || errors.As(err, &timeout) && timeout.Timeout()
}

// getPhoto serves one size of a picture to those who may see its case.
func (s *Server) getPhoto(w http.ResponseWriter, r *http.Request) {
	breederID := r.PathValue("breeder")
	who, err := s.admit(w, r, routePhotoGet, breederID)
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	variant := photo.Variant(r.PathValue("size"))
	if variant != photo.Large && variant != photo.Small {
		s.writeError(w, r, care.Missing("size of a photo"))
		return
	}
	p, err := s.followup.Photo(r.Context(), who.Actor, breederID, r.PathValue("case"), r.PathValue("photo"))
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	blob, err := s.blobs.Open(r.Context(), photo.Key{Hash: p.Hash, Variant: variant})
	if errors.Is(err, fs.ErrNotExist) {
		s.log.Error("A photo's file is missing. Was the photos folder restored with the database?", "hash", p.Hash)
		err = care.Missing("photo")
	}
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	defer blob.Close()
	h := w.Header()
	h.Set("Content-Type", "image/jpeg")
	h.Set("Cache-Control", "private, max-age=3600")
	h.Set("ETag", `"`+p.Hash[:16]+"-"+string(variant)+`"`)
	http.ServeContent(w, r, "", time.Time{}, blob)
}
