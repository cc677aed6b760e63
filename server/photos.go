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
	"strconv"
	"time"

	"warmhand/internal/care"
	"warmhand/internal/photo"
	"warmhand/internal/words"
)

const (
	photoMax = 25 << 20 // bytes; what photo.Intake takes
	// photoTime is how long a picture may take to arrive: 25 MiB on a slow
	// phone line.
	photoTime = 5 * time.Minute
)

var plainID = regexp.MustCompile(`^[A-Za-z0-9_-]{1,64}$`)

// putPhoto takes in the bytes of one picture, in the case that the address
// names. A repeat gets the first answer. It may come in pieces, and go on after a
// cut, as in the IETF's draft of resumable uploads: PUT begins, PATCH goes on at
// Upload-Offset, HEAD asks for it, and Upload-Complete: ?0 says that more follows.
func (s *Server) putPhoto(w http.ResponseWriter, r *http.Request) {
	p, who, err := s.takePhoto(w, r)
	var elsewhere *photo.OffsetError
	var full *photo.FullError
	switch {
	case errors.As(err, &full):
		err = tooMuchBegun(full)
	case errors.As(err, &elsewhere):
		w.Header().Set(uploadOffset, strconv.FormatInt(elsewhere.Offset, 10))
		err = &care.Error{Code: care.Conflict, Reason: care.ReasonUploadOffset, Text: words.Say("Of this photo {bytes} bytes have arrived. Go on there.", int(elsewhere.Offset))}
	}
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	if p == nil {
		s.tellArrived(w, r, who, false)
		return
	}
	body, err := wireJSON.Marshal(photoToProto(p))
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.Write(body)
}

// headPhoto says how much of a picture has arrived.
func (s *Server) headPhoto(w http.ResponseWriter, r *http.Request) {
	existing, who, err := s.mayAddPhoto(w, r, routePhotoHead)
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	s.tellArrived(w, r, who.Actor, existing != nil)
}

// The headers of an upload that comes in pieces.
const (
	uploadOffset   = "Upload-Offset"   // bytes that have arrived
	uploadComplete = "Upload-Complete" // ?1: with this the picture is whole; ?0: more follows
)

func (s *Server) tellArrived(w http.ResponseWriter, r *http.Request, who care.Actor, whole bool) {
	h := w.Header()
	h.Set("Cache-Control", "no-store")
	h.Set(uploadComplete, "?1")
	if !whole {
		n, err := s.waiting.Arrived(r.Context(), uploadOf(r, who))
		if err != nil {
			s.writeError(w, r, notKept(r.Context(), err, errNotRead))
			return
		}
		h.Set(uploadComplete, "?0")
		h.Set(uploadOffset, strconv.FormatInt(n, 10))
	}
	w.WriteHeader(http.StatusNoContent)
}

// uploadOf is what arrives of a picture is kept under until it is whole.
func uploadOf(r *http.Request, who care.Actor) photo.Upload {
	return photo.Upload{Who: callerKey(who), For: r.PathValue("breeder") + "/" + r.PathValue("case"), Name: r.PathValue("photo")}
}

// mayAddPhoto checks who asks, and returns the picture if it is there.
func (s *Server) mayAddPhoto(w http.ResponseWriter, r *http.Request, route string) (*care.Photo, caller, error) {
	who, err := s.admit(w, r, route, r.PathValue("breeder"))
	if err != nil {
		return nil, who, err
	}
	id := r.PathValue("photo")
	if !plainID.MatchString(id) {
		return nil, who, care.BadField("photo", "The photo's id has to be a UUID.")
	}
	existing, err := s.followup.MayAddPhoto(r.Context(), who.Actor, r.PathValue("breeder"), r.PathValue("case"), id)
	return existing, who, err
}

// takePhoto returns nil as long as more of the picture is to follow, and who sends it.
func (s *Server) takePhoto(w http.ResponseWriter, r *http.Request) (none *care.Photo, who care.Actor, err error) {
	route, from := routePhotoPut, int64(0)
	if r.Method == http.MethodPatch {
		route = routePhotoPatch
		if from, err = strconv.ParseInt(r.Header.Get(uploadOffset), 10, 64); err != nil || from < 0 {
			return none, who, care.BadField(uploadOffset, "Say at which byte the picture goes on. HEAD tells how much has arrived.")
		}
	}
	existing, sender, err := s.mayAddPhoto(w, r, route)
	if err != nil {
		return none, who, err
	}
	who = sender.Actor
	if existing != nil && from > 0 {
		return existing, who, nil // its answer was lost on the way
	}
	last := true
	switch r.Header.Get(uploadComplete) {
	case "", "?1":
	case "?0":
		last = false
	default:
		return none, who, care.BadField(uploadComplete, "Write ?1 when the picture is whole with this, or ?0 when more follows.")
	}
	ctx := r.Context()
	switch kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); kind {
	case "image/jpeg", "image/png", "image/webp", "application/octet-stream", "application/partial-upload":
	default:
		return none, who, care.BadField("Content-Type", "Send the picture's bytes as image/jpeg, image/png or image/webp.")
	}
	var taken *time.Time
	if text := r.Header.Get("X-Taken-At"); text != "" {
		at, err := time.Parse(time.RFC3339, text)
		if err != nil {
			return none, who, care.BadField("X-Taken-At", "“{time}” is not a time. Write it like 2026-05-01T18:30:00Z, or leave it out.", printable(text))
		}
		taken = &at
	}
	if r.ContentLength > photoMax {
		return none, who, &photo.Error{Code: photo.TooLarge, Field: "photo", Message: words.Say("The picture is larger than 25 MB. Send it in a smaller size.")}
	}
	upload := uploadOf(r, who)
	in, end, err := s.arriving.begin(upload.Who, upload.For+"/"+upload.Name, http.MaxBytesReader(w, r.Body, photoMax+1), http.NewResponseController(w), photoTime)
	if err != nil {
		return none, who, err
	}
	defer end()
	pic, err := s.waiting.Receive(ctx, upload, from, last, in, photo.Limits{Bytes: photoMax})
	if err != nil {
		var refused *photo.Error
		if !errors.As(err, &refused) && !errors.Is(err, ctx.Err()) && isArrival(err) {
			return none, who, &care.Error{Code: care.Unavailable, Reason: care.ReasonNotSaved, Text: words.Say("The picture did not arrive whole. Send it again, or the rest of it.")}
		}
		return none, who, notKept(ctx, err, errNotKept)
	}
	if pic == nil {
		return nil, who, nil
	}
	// What the file says of its time is not asked: only what the sender tells on
	// purpose is kept.
	p, err := s.keepPicture(ctx, who, s.now(), pic, care.Photo{BreederID: r.PathValue("breeder"), CaseID: r.PathValue("case"), ID: r.PathValue("photo"), TakenAt: taken})
	if err != nil {
		return none, who, err
	}
	if err := s.waiting.Forget(context.WithoutCancel(ctx), upload); err != nil {
		s.log.Warn("What had come in of a picture was not removed; it is in an hour.", "error", err)
	}
	return &p, who, nil
}

// keepPicture stores a picture that was taken in and then its row, in this
// order: a row never names a picture that is not there. p says whose it is.
func (s *Server) keepPicture(ctx context.Context, who care.Actor, now time.Time, pic *photo.Picture, p care.Photo) (none care.Photo, err error) {
	s.pictures.RLock()
	defer s.pictures.RUnlock()
	// A store of pictures that does not answer must not hold up those who wait for it.
	keeping, done := context.WithTimeout(ctx, callTime)
	defer done()
	for variant, data := range map[photo.Variant][]byte{photo.Large: pic.Large, photo.Small: pic.Small} {
		if err := s.blobs.Put(keeping, photo.Key{Hash: pic.Hash, Variant: variant}, bytes.NewReader(data)); err != nil {
			return none, notKept(ctx, fmt.Errorf("keeping a picture: %w", err), errNotKept)
		}
	}
	p.Hash, p.Source, p.Bytes = pic.Hash, pic.UploadHash, pic.UploadBytes
	p.Width, p.Height, p.Dark, p.Blurred = pic.Width, pic.Height, pic.Dark, pic.Blurred
	out, err := s.followup.AddPhoto(ctx, who, now, p)
	if err == nil {
		return out, nil
	}
	// Nothing names the bytes then, as when the keeper left while they came in.
	return out, errors.Join(err, s.store.Write(context.WithoutCancel(ctx), func(tx care.Tx) error { return tx.Discard(p.Hash) }))
}

// notKept says what to do where a disk is full, or a bucket does not answer. What is
// an answer already, or the end of the caller's own patience, stays as it is.
func notKept(ctx context.Context, err error, instead *care.Error) error {
	var answer *care.Error
	var refused *photo.Error
	var elsewhere *photo.OffsetError
	var full *photo.FullError
	if errors.As(err, &answer) || errors.As(err, &refused) || errors.As(err, &elsewhere) || errors.As(err, &full) || ctx.Err() != nil {
		return err
	}
	return fmt.Errorf("%w: %w", err, instead)
}

var (
	errNotKept = &care.Error{Code: care.Unavailable, Reason: care.ReasonNotSaved, Text: words.Say("This could not be saved just now. Please try again in a little while.")}
	errNotRead = &care.Error{Code: care.Unavailable, Reason: care.ReasonNotSaved, Text: words.Say("The picture cannot be read just now. Please try again in a little while.")}
)

// isArrival reports whether reading the request failed, and not the disk.
func isArrival(err error) bool {
	var large *http.MaxBytesError
	var timeout interface{ Timeout() bool }
	return errors.Is(err, photo.ErrAnew) || errors.Is(err, io.ErrUnexpectedEOF) || errors.As(err, &large) || errors.As(err, &timeout) && timeout.Timeout()
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
		s.writeError(w, r, notKept(r.Context(), err, errNotRead))
		return
	}
	defer blob.Close()
	s.looks.note(who.Actor, breederID, p.CaseID, "", care.LookPhoto, s.now())
	h := w.Header()
	h.Set("Content-Type", "image/jpeg")
	h.Set("Cache-Control", "private, max-age=3600")
	h.Set("ETag", `"`+p.Hash[:16]+"-"+string(variant)+`"`)
	http.ServeContent(w, r, "", time.Time{}, blob)
}
