package server

import (
	"encoding/json"
	"errors"
	"net/http"
	"strconv"

	"warmhand/internal/access"
	"warmhand/internal/care"
)

// signer signs with this server's key and names its origin.
type signer struct{ s *Server }

func (g signer) NewSigningKey(breederID string) (care.SigningKey, error) {
	return g.s.key.NewSigningKey(breederID)
}

func (g signer) Sign(by *care.SigningKey, payload []byte) (jws string, ok bool, err error) {
	jws, err = g.s.key.Sign(by, payload)
	if errors.Is(err, access.ErrSealed) {
		return "", false, nil
	}
	return jws, err == nil, err
}

func (g signer) Issuer() string { return g.s.Origin() }

// signedRecord answers with the record of a handover as its breeder's key signed
// it, for those who have the record anyway.
func (s *Server) signedRecord(w http.ResponseWriter, r *http.Request) {
	breederID := r.PathValue("breeder")
	who, err := s.admit(w, r, routeSigned, breederID)
	var jws string
	if err == nil {
		jws, err = s.followup.SignedRecord(r.Context(), who.Actor, breederID, r.PathValue("handover"))
	}
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "application/jose") // RFC 7515, 9.2.1
	h.Set("Content-Disposition", `attachment; filename="handover-record.jws"`)
	h.Set("Content-Length", strconv.Itoa(len(jws)))
	h.Set("Cache-Control", "no-store")
	w.Write([]byte(jws))
}

// publicKeys answers anybody with the keys by which a breeder's records are
// checked, as a JWK Set (RFC 7517).
func (s *Server) publicKeys(w http.ResponseWriter, r *http.Request) {
	s.tell(w, r, routeKeys, "application/jwk-set+json", func() (any, error) {
		keys, err := s.followup.PublicKeys(r.Context(), r.PathValue("breeder"))
		set := struct {
			Keys []json.RawMessage `json:"keys"`
		}{[]json.RawMessage{}}
		for _, k := range keys {
			set.Keys = append(set.Keys, k)
		}
		return set, err
	})
}

// revoked answers whoever shows a record's digest, and says nothing of it but
// whether the handover was revoked.
func (s *Server) revoked(w http.ResponseWriter, r *http.Request) {
	s.tell(w, r, routeRevoked, "application/json", func() (any, error) {
		revoked, err := s.followup.Revoked(r.Context(), r.PathValue("breeder"), r.PathValue("handover"), r.PathValue("digest"))
		return map[string]bool{"revoked": revoked}, err
	})
}

// tell answers a question that anybody may ask who checks a record.
func (s *Server) tell(w http.ResponseWriter, r *http.Request, route, kind string, answer func() (any, error)) {
	_, err := s.admit(w, r, route, r.PathValue("breeder"))
	if err == nil {
		err = s.checks.Try(access.AddressKey(s.fromHTTP(r).remote), s.now())
	}
	var v any
	if err == nil {
		v, err = answer()
	}
	var out []byte
	if err == nil {
		out, err = json.Marshal(v)
	}
	if err != nil {
		s.writeError(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", kind)
	h.Set("Content-Length", strconv.Itoa(len(out)))
	h.Set("Cache-Control", "no-store")
	w.Write(out)
}
