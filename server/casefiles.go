package server

import (
	"io"
	"net/http"
	"strconv"

	"warmhand/internal/care"
	"warmhand/internal/casefile"
)

// caseFile answers with one case as a case file, for its breeder.
func (s *Server) caseFile(w http.ResponseWriter, r *http.Request) {
	breederID := r.PathValue("breeder")
	who, err := s.admit(w, r, routeCaseFile, breederID)
	texts := true
	if v := r.URL.Query().Get("texts"); err == nil && v != "" {
		if texts, err = strconv.ParseBool(v); err != nil {
			err = care.BadField("texts", "Say true or false: whether notes, messages and names go along.")
		}
	}
	var lines []casefile.Line
	if err == nil {
		lines, err = s.followup.ExportCase(r.Context(), who.Actor, breederID, r.PathValue("case"), texts)
	}
	var out []byte
	for i := 0; err == nil && i < len(lines); i++ {
		out, err = casefile.Append(out, &lines[i])
	}
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	s.looks.note(who.Actor, breederID, r.PathValue("case"), "", care.LookFile, s.now())
	h := w.Header()
	h.Set("Content-Type", "application/jsonl")
	h.Set("Content-Disposition", `attachment; filename="case.jsonl"`)
	h.Set("Content-Length", strconv.Itoa(len(out)))
	h.Set("Cache-Control", "no-store")
	w.Write(out)
}

// caseFiles streams all cases of a breeder as case files, with their texts.
func (s *Server) caseFiles(w http.ResponseWriter, r *http.Request) {
	breederID := r.PathValue("breeder")
	s.export(w, r, routeCaseFiles, "cases.jsonl", "application/jsonl", func(who care.Actor) (func(io.Writer) error, error) {
		if _, err := s.followup.GetBreeder(r.Context(), who, breederID); err != nil {
			return nil, err
		}
		ids, err := casesOf(r.Context(), s.store, breederID)
		return func(out io.Writer) error {
			_, err := writeCases(r.Context(), out, s.followup, who, breederID, ids, true, true)
			for _, id := range ids {
				s.looks.note(who, breederID, id, "", care.LookFile, s.now())
			}
			return err
		}, err
	})
}
