package server

import (
	"net/http"
	"time"
)

const (
	// takes is how many times Config.Patience a caller may take to accept a piece
	// of an answer.
	takes = 3
	piece = 32 << 10
)

// patientWriter waits for who reads slowly, but not for ever: each piece of an answer has
// a time to be accepted in, and what takes hours as a whole has as many of them. Without
// it, somebody who reads nothing would hold an answer, and what it is made from, until
// they hang up.
type patientWriter struct {
	http.ResponseWriter
	rc    *http.ResponseController
	each  time.Duration
	http2 bool
}

// patient wraps a request's writer. done is to be called when it is answered: what is
// still on its way then has a piece's time, too.
func (s *Server) patient(w http.ResponseWriter, r *http.Request) (p *patientWriter, done func()) {
	p = &patientWriter{w, http.NewResponseController(w), takes * s.cfg.Patience, r.ProtoMajor == 2}
	return p, p.begin
}

func (w *patientWriter) begin() {
	w.rc.SetWriteDeadline(time.Now().Add(w.each)) //nolint:errcheck // a connection without deadlines has none
}

// end takes the deadline back between two pieces: in HTTP/2 it ends a stream on which
// nothing is waiting to be sent, too.
func (w *patientWriter) end() {
	if w.http2 {
		w.rc.SetWriteDeadline(time.Time{}) //nolint:errcheck // as above
	}
}

func (w *patientWriter) Write(p []byte) (n int, err error) {
	for {
		w.begin()
		some, err := w.ResponseWriter.Write(p[n:min(len(p), n+piece)])
		w.end()
		if n += some; err != nil || n >= len(p) {
			return n, err
		}
	}
}

// FlushError is for http.ResponseController, and Flush for grpc.
func (w *patientWriter) FlushError() error {
	w.begin()
	defer w.end()
	return w.rc.Flush()
}

func (w *patientWriter) Flush() { w.FlushError() } //nolint:errcheck // the next write fails, too

// Unwrap lets http.ResponseController reach what reads.
func (w *patientWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }
