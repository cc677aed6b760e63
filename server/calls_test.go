package server_test

import (
	"net/http"
	"strconv"
	"strings"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"warmhand/internal/care"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/server"
	"warmhand/server/servertest"
)

// One account that calls too much is told when to go on, in its language, by JSON, gRPC
// and the routes beside them; others, and what it does of another kind, go on.
func TestCallsOfOneAccount(t *testing.T) {
	t.Parallel()
	const each = 40 // changes; 80 reads, 2 of what goes through all records
	f := servertest.Start(t, servertest.Options{Configure: func(c *server.Config) { c.CallsEach = each }})
	page := f.NewBreeder("b1")
	animal := page.NewAnimal()
	caseID, code := page.HandOver(animal)
	keeper := f.Page()
	keeper.Claim(code).OK()

	entry := func(language string) *servertest.Answer {
		return keeper.Call("POST", "/v1/breeders/b1/animals/"+animal+"/entries?entryId="+f.ID("weight"),
			map[string]any{"happenTime": f.Clock.Now(), "confirmed": true, "weighIn": map[string]any{"massG": 400}}, "Accept-Language", language)
	}
	taken := 0
	for ; taken <= each; taken++ {
		if got := entry("en"); got.Status == http.StatusTooManyRequests {
			break
		} else if got.Status != http.StatusOK {
			t.Fatalf("%d %s", got.Status, got.Body)
		}
	}
	if taken > each || taken < each-5 {
		t.Errorf("%d of %d changes were taken", taken, each)
	}
	for language, says := range map[string]string{"en": "Too much came from this account at once. Please try again in 2 seconds.", "de": "Von diesem Konto kam zu viel auf einmal. "} {
		got := entry(language)
		reason, _, _ := got.Problem()
		if wait, err := strconv.Atoi(got.Header.Get("Retry-After")); got.Status != http.StatusTooManyRequests || reason != string(care.ReasonTooManyTries) || err != nil || wait < 1 || wait > 2 || !strings.Contains(string(got.Body), says) {
			t.Errorf("%s: %d %v %s", language, got.Status, got.Header, got.Body)
		}
	}
	if got := keeper.Call("PUT", "/v1/breeders/b1/cases/"+caseID+"/photos/photo-1", picture(t, 16, 16), "Content-Type", "image/jpeg"); got.Status != http.StatusTooManyRequests || got.Header.Get("Retry-After") == "" {
		t.Errorf("a picture: %d %v %s", got.Status, got.Header, got.Body)
	}
	keeper.Call("GET", "/v1/breeders/b1/animals/"+animal+"/entries", nil).OK() // reading goes on
	page.Weigh("b1", animal, 410)                                              // and the breeder
	f.Clock.Advance(2 * time.Second)
	entry("en").OK() // after the wait that was named

	ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+f.Session(care.Actor{Kind: care.BreederOwner, BreederID: "b1", UserID: "b1-owner"}))
	insights := pb.NewInsightServiceClient(f.GRPC())
	for range each / 20 {
		if _, err := insights.GetInsight(ctx, &pb.GetInsightRequest{Parent: "breeders/b1"}); err != nil {
			t.Fatal(err)
		}
	}
	_, err := insights.GetInsight(ctx, &pb.GetInsightRequest{Parent: "breeders/b1"})
	var retry *errdetails.RetryInfo
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.RetryInfo); ok {
			retry = info
		}
	}
	if status.Code(err) != codes.ResourceExhausted || retry == nil || retry.RetryDelay.AsDuration() != 30*time.Second {
		t.Errorf("by gRPC: %v, %v", err, retry)
	}
}
