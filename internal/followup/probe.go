package followup

import (
	"context"
	"errors"
	"strings"
	"time"

	"warmhand/internal/assess"
	"warmhand/internal/care"
	"warmhand/internal/words"
)

// Probe says what would follow in a case if body were its next entry, at an
// instant or, when that is zero, at the next fitting one; nothing is saved. A
// nil body asks what would change the case most: three things for the breeder;
// for the keeper one at most, and only what would help. A weight that would be
// enough is not for the keeper: the number would read as a verdict.
func (s *Service) Probe(ctx context.Context, who care.Actor, now time.Time, breederID, caseID string, body care.Body, at time.Time) (list []assess.Try, err error) {
	now, at = care.Instant(now), care.Instant(at)
	const furthest = 60 * 24 * time.Hour
	if !at.IsZero() && (at.Before(now.Add(-time.Hour)) || at.After(now.Add(furthest))) {
		return nil, care.BadField("happen_time", "Choose a day from today to 60 days ahead. What has happened goes into the log.")
	}
	err = s.store.Read(ctx, func(tx care.Tx) error {
		c, err := caseOf(tx, who, breederID, caseID)
		if err != nil {
			return err
		}
		if c.ClosedAt != nil {
			return &care.Error{Code: care.Precondition, Reason: care.ReasonCaseClosed, Text: words.Say("This follow-up has ended. The breeder can open it again.")}
		}
		about, log, err := story(tx, &c)
		if err != nil {
			return err
		}
		if body != nil {
			if err := checkProbe(body, now, log); err != nil {
				return err
			}
			list = []assess.Try{assess.Suppose(about, log, now, body, at)}
			return nil
		}
		if who.OfBreeder(breederID) {
			list = assess.WhatWouldChange(about, log, now, 3)
			return nil
		}
		list = nil
		for _, t := range assess.WhatWouldChange(about, log, now, 10) {
			if t.Better() && t.Code != assess.TryWord && t.Code != assess.TryWeighs {
				list = []assess.Try{t}
				break
			}
		}
		return nil
	})
	return list, err
}

// checkProbe checks what is supposed as an entry is checked, by the names of
// the request's fields.
func checkProbe(body care.Body, now time.Time, log []care.Entry) error {
	e := care.Entry{HappenedAt: now, Body: body}
	err := care.CheckEntry(&e, now)
	if err == nil {
		err = care.CheckSlip(&e, log)
		if care.IsCode(err, care.Precondition) { // a slip: there is nothing to confirm here
			return care.BadField("what", "That is more than such an animal changes. Check the number and the unit, or try one nearer to the last.")
		}
	}
	var wrong *care.Error
	if errors.As(err, &wrong) {
		for i := range wrong.Fields {
			wrong.Fields[i].Field = strings.TrimPrefix(wrong.Fields[i].Field, "entry.")
		}
	}
	return err
}
