package server

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"warmhand/internal/care"
	"warmhand/internal/photo"
	"warmhand/internal/sheet"
	"warmhand/internal/words"
)

// Lists that breeders bring in: their files wait beside the pictures until they are
// confirmed, or for a day. They are no part of a backup.

const (
	listsBegin = "imports/" // the names that they wait under
	// listTime is how long a list may take to arrive: 20 MB on a slow phone line.
	listTime = 5 * time.Minute
	// listsKept is how many lists of one breeder wait at once; a further one puts
	// out the oldest.
	listsKept = 5
	// listsRead is how many are read at once: a large one takes 100 MB.
	listsRead = 2
)

// lists are the files that wait.
type lists struct {
	waiting *photo.Waiting
	reading chan struct{}
}

// of begins the names of a breeder's own.
func (l *lists) of(breederID string) string {
	sum := sha256.Sum256([]byte(breederID))
	return listsBegin + hex.EncodeToString(sum[:16]) + "-"
}

func (l *lists) name(breederID, importID string) string { return l.of(breederID) + importID }

// receive takes in what comes, and returns its digest and size. The caller closes the file.
func (l *lists) receive(in io.Reader) (f *os.File, digest string, size int64, err error) {
	if f, err = l.waiting.Spool(); err != nil {
		return nil, "", 0, err
	}
	sum := sha256.New()
	if size, err = io.Copy(io.MultiWriter(f, sum), in); err != nil {
		return nil, "", 0, errors.Join(err, f.Close())
	}
	return f, hex.EncodeToString(sum.Sum(nil)), size, nil
}

var errListGone = &care.Error{Code: care.Precondition, Reason: care.ReasonImportState, Text: words.Say("The list is not here any more: it is kept for a day. Choose the file again; what was added is not doubled.")}

// open reads one sheet of a list that waits.
func (l *lists) open(ctx context.Context, breederID, importID, name string) (*sheet.Table, error) {
	f, err := l.waiting.Open(ctx, l.name(breederID, importID))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, errListGone
	}
	if err != nil {
		return nil, notKept(ctx, err, errNotRead)
	}
	defer f.Close()
	return l.read(ctx, f, name)
}

// read reads one sheet of a list.
func (l *lists) read(ctx context.Context, f *os.File, name string) (*sheet.Table, error) {
	select {
	case l.reading <- struct{}{}:
		defer func() { <-l.reading }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("opening a list: %w", err)
	}
	return sheet.Open(f, info.Size(), name)
}

func (l *lists) remove(ctx context.Context, breederID, importID string) error {
	return l.waiting.Delete(ctx, l.name(breederID, importID))
}

// removeAll removes a breeder's.
func (l *lists) removeAll(ctx context.Context, breederID string) error {
	for list, err := range l.waiting.List(ctx, l.of(breederID)) {
		if err == nil {
			err = l.waiting.Delete(ctx, list.Name)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// putList takes in a list. A repeat gets the first answer.
func (s *Server) putList(w http.ResponseWriter, r *http.Request) {
	in, err := s.takeList(w, r)
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	body, err := wireJSON.Marshal(importToProto(&in, asked(r)))
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	w.Write(body)
}

func (s *Server) takeList(w http.ResponseWriter, r *http.Request) (none care.Import, err error) {
	breederID, id := r.PathValue("breeder"), r.PathValue("import")
	who, err := s.admit(w, r, routeListPut, breederID)
	if err != nil {
		return none, err
	}
	ctx := r.Context()
	// Others' lists do not exist, and their bytes are not read.
	if _, err := s.followup.GetBreeder(ctx, who.Actor, breederID); err != nil {
		return none, err
	}
	if u, err := uuid.Parse(id); err != nil || u.String() != id {
		return none, care.BadField("import", "The list's id has to be a UUID in small letters.")
	}
	name := []rune(strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == '\ufffd' {
			return -1
		}
		return r
	}, filepath.Base(strings.ToValidUTF8(r.URL.Query().Get("name"), ""))))
	if r.ContentLength > sheet.MaxBytes {
		return none, sheet.TooLarge()
	}
	comes, end, err := s.arriving.begin(callerKey(who.Actor), s.lists.name(breederID, id), http.MaxBytesReader(w, r.Body, sheet.MaxBytes), http.NewResponseController(w), listTime)
	if err != nil {
		return none, err
	}
	defer end()
	file, digest, size, err := s.lists.receive(comes)
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return none, sheet.TooLarge()
	case err != nil && !errors.Is(err, ctx.Err()) && isArrival(err):
		return none, care.BadField("file", "The list did not arrive whole. Send it again.")
	case err != nil:
		return none, notKept(ctx, err, errNotKept)
	}
	defer file.Close()
	in := care.Import{BreederID: breederID, ID: id, File: string(name[:min(len(name), 200)]), Digest: digest, Bytes: size}
	if _, err := s.lists.read(ctx, file, ""); err != nil {
		return none, err
	}
	if in, err = s.followup.AddImport(ctx, who.Actor, s.now(), in); err != nil {
		return none, err
	}
	if err := s.waiting.Put(ctx, s.lists.name(breederID, id), io.NewSectionReader(file, 0, size)); err != nil {
		return none, notKept(ctx, err, errNotKept) // sent again, it is the same list
	}
	return in, s.putOutOldest(ctx, who.Actor, breederID)
}

// putOutOldest removes lists of a breeder beyond those that may wait.
func (s *Server) putOutOldest(ctx context.Context, who care.Actor, breederID string) error {
	var all []photo.Waits
	for list, err := range s.waiting.List(ctx, s.lists.of(breederID)) {
		if err != nil {
			return notKept(ctx, err, errNotKept)
		}
		all = append(all, list)
	}
	slices.SortFunc(all, func(a, b photo.Waits) int { return b.Since.Compare(a.Since) })
	for _, old := range all[min(len(all), listsKept):] {
		in, err := s.followup.GetImport(ctx, who, breederID, strings.TrimPrefix(old.Name, s.lists.of(breederID)))
		if err == nil && in.State == care.ImportRunning {
			continue
		}
		if err := s.waiting.Delete(ctx, old.Name); err != nil {
			return notKept(ctx, err, errNotKept)
		}
	}
	return nil
}

// importsDue wakes the worker on imports.
func (s *Server) importsDue() {
	select {
	case s.importDue <- struct{}{}:
	default:
	}
}

// workOnImports takes all imports that were confirmed, or are to be undone, to
// their end.
func (s *Server) workOnImports(ctx context.Context) error {
	for {
		pending, err := s.followup.PendingImports(ctx)
		if err != nil || len(pending) == 0 {
			return err
		}
		for _, in := range pending {
			err := s.workOnImport(ctx, in)
			if care.IsCode(err, care.Stale) {
				return nil // another server is at it
			}
			if care.IsCode(err, care.Unavailable) || ctx.Err() != nil {
				return err
			}
			if err == nil {
				continue
			}
			why := words.Say("Something went wrong here. Confirm the list again: what was added is not doubled. Or undo it.")
			var known *care.Error
			if errors.As(err, &known) {
				why = known.Text
			} else {
				s.log.Error("An import failed.", "breeder", in.BreederID, "import", in.ID, "error", err)
			}
			if err := s.followup.FailImport(ctx, s.now(), in, why); err != nil {
				return err
			}
		}
	}
}

func (s *Server) workOnImport(ctx context.Context, in care.Import) error {
	if in.State == care.ImportUndoing {
		return s.followup.RunUndo(ctx, s.now(), in)
	}
	name, err := s.followup.SheetOf(in)
	if err != nil {
		return err
	}
	t, err := s.lists.open(ctx, in.BreederID, in.ID, name)
	if err != nil {
		return err
	}
	if err := s.followup.RunImport(ctx, s.now(), in, t); err != nil {
		return err
	}
	return s.lists.remove(ctx, in.BreederID, in.ID)
}

// sweepLists removes the lists that nobody confirmed in a day.
func (s *Server) sweepLists(ctx context.Context) error {
	pending, err := s.followup.PendingImports(ctx)
	if err != nil {
		return err
	}
	before := time.Now().Add(-care.ImportDraftLife)
	for list, err := range s.waiting.List(ctx, listsBegin) {
		busy := slices.ContainsFunc(pending, func(in care.Import) bool { return s.lists.name(in.BreederID, in.ID) == list.Name })
		if err == nil && list.Since.Before(before) && !busy {
			err = s.waiting.Delete(ctx, list.Name)
		}
		if err != nil {
			return fmt.Errorf("sweeping lists: %w", err)
		}
	}
	return nil
}

// exportStock answers with the stock book and its logs, as CSV files in a zip or
// as a workbook.
func (s *Server) exportStock(w http.ResponseWriter, r *http.Request) {
	breederID, file := r.PathValue("breeder"), r.PathValue("file")
	kinds := map[string]string{
		"stock.zip":  "application/zip",
		"stock.xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
	}
	s.export(w, r, routeStock, file, kinds[file], func(who care.Actor) (func(io.Writer) error, error) {
		if kinds[file] == "" {
			return nil, care.Missing("file")
		}
		stock, err := s.followup.StockBook(r.Context(), who, breederID)
		if err != nil {
			return nil, err
		}
		if file == "stock.zip" {
			return stock.WriteCSV, nil
		}
		return stock.WriteXLSX, nil
	})
}

// export admits the caller and streams a file. What goes wrong once it has begun
// cuts the answer off, so that half a file is not taken for a whole one.
func (s *Server) export(w http.ResponseWriter, r *http.Request, route, name, kind string, what func(who care.Actor) (func(io.Writer) error, error)) {
	who, err := s.admit(w, r, route, r.PathValue("breeder"))
	if err == nil {
		err = s.prints.Try(callerKey(who.Actor), s.now())
	}
	var write func(io.Writer) error
	if err == nil {
		write, err = what(who.Actor)
	}
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", kind)
	h.Set("Content-Disposition", `attachment; filename="`+name+`"`)
	h.Set("Cache-Control", "no-store")
	if err := write(w); err != nil {
		s.log.Warn("An export broke off.", "file", name, "error", err)
		panic(http.ErrAbortHandler)
	}
}
