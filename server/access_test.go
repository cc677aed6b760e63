package server_test

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/dynamicpb"

	"warmhand/internal/access"
	"warmhand/internal/care"
	"warmhand/server/servertest"
)

// methods are those of the contract.
func methods(t *testing.T) (all []protoreflect.MethodDescriptor) {
	t.Helper()
	protoregistry.GlobalFiles.RangeFilesByPackage("warmhand.v1", func(file protoreflect.FileDescriptor) bool {
		for i := range file.Services().Len() {
			m := file.Services().Get(i).Methods()
			for j := range m.Len() {
				all = append(all, m.Get(j))
			}
		}
		return true
	})
	if len(all) < 40 {
		t.Fatalf("only %d methods found", len(all))
	}
	return all
}

var pathField = regexp.MustCompile(`\{[^}]*\}`)

// Every JSON route, and every route beside them, asks a visitor to sign in,
// except the ones named here.
func TestRoutesWithoutCredentials(t *testing.T) {
	t.Parallel()
	public := map[string]bool{"GetMe": true, "RedeemSignInLink": true, "BeginPasskeySignIn": true, "FinishPasskeySignIn": true, "UseRecoveryCode": true, "UseKeeperCode": true,
		"SignOut": true, "LookUpClaim": true, "ClaimHandover": true, "ClaimCard": true, "ListSpecies": true, "ListGenes": true, "ListSigns": true, "ListSetupPoints": true, "ListTables": true}
	f := servertest.Start(t, servertest.Options{})
	f.NewBreeder("b1")
	routes := map[string]bool{"GET /v1/breeders/b1/live": false, "GET /v1/keepers/me/live": false,
		"PUT /v1/breeders/b1/cases/c1/photos/p1": false, "GET /v1/breeders/b1/cases/c1/photos/p1/320": false}
	for _, m := range methods(t) {
		rule, ok := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
		if !ok || rule == nil {
			if !m.IsStreamingServer() {
				t.Errorf("%s has no route", m.FullName())
			}
			continue
		}
		verb, path := "", ""
		switch p := rule.GetPattern().(type) {
		case *annotations.HttpRule_Get:
			verb, path = "GET", p.Get
		case *annotations.HttpRule_Post:
			verb, path = "POST", p.Post
		case *annotations.HttpRule_Patch:
			verb, path = "PATCH", p.Patch
		case *annotations.HttpRule_Delete:
			verb, path = "DELETE", p.Delete
		}
		path = pathField.ReplaceAllStringFunc(path, func(field string) string {
			_, pattern, ok := strings.Cut(strings.Trim(field, "{}"), "=")
			if !ok {
				return "x1"
			}
			pattern = strings.Replace(pattern, "breeders/*", "breeders/b1", 1)
			return strings.ReplaceAll(pattern, "*", "x1")
		})
		routes[verb+" "+path] = public[string(m.Name())]
	}
	for route, open := range routes {
		verb, path, _ := strings.Cut(route, " ")
		var body any
		if verb == "POST" || verb == "PATCH" {
			body = map[string]any{}
		}
		for name, c := range map[string]*servertest.Client{"nothing": f.Page(), "a wrong token": f.Program("wht_" + strings.Repeat("A", 43))} {
			got := c.Call(verb, path, body)
			reason, _, _ := got.Problem()
			if denied := got.Status == http.StatusUnauthorized && reason == "SIGN_IN_NEEDED"; denied == (open && name == "nothing") {
				t.Errorf("%s with %s: %d %s", route, name, got.Status, got.Body)
			}
		}
	}
}

// Who gets through to each method: o the owner, h a helper, t a program, r a
// program that may only read, b another breeder, k the case's keeper, x the
// keeper of another case, n nobody. The names in the requests are the owner's;
// where a method names nobody's thing, b and x act on what is their own.
var matrix = map[string]struct{ request, who string }{
	"GetMe":                     {`{}`, "ohtrbkxn"},
	"RedeemSignInLink":          {`{"secret":"x"}`, "ohtbkxn"},
	"BeginPasskeySignIn":        {`{}`, "ohtbkxn"},
	"FinishPasskeySignIn":       {`{"ceremony":"x","credential":{}}`, "ohtbkxn"},
	"UseRecoveryCode":           {`{"code":"x"}`, "ohtbkxn"},
	"UseKeeperCode":             {`{"code":"0000000000","requestId":"{id}-{id}"}`, "ohtbkxn"},
	"CreateKeeperCode":          {`{"name":"breeders/b1/cases/{case}"}`, "oh"},
	"SetLanguage":               {`{"language":"de"}`, "ohbkx"},
	"CreateDeviceCode":          {`{}`, "kx"},
	"CreateCalendarLink":        {`{}`, "kx"},
	"GetCalendarLink":           {`{}`, "kx"},
	"DeleteCalendarLink":        {`{}`, "kx"},
	"CreatePassOn":              {`{"name":"breeders/b1/cases/{case}"}`, "k"},
	"GetPassOn":                 {`{"name":"breeders/b1/cases/{case}"}`, "k"},
	"RevokePassOn":              {`{"name":"breeders/b1/cases/{case}"}`, "k"},
	"GiveBack":                  {`{"name":"breeders/b1/cases/{case}","takeBack":true}`, "k"},
	"AcknowledgeMessages":       {`{"name":"breeders/b1/cases/{case}"}`, "k"},
	"AgreeReturn":               {`{"name":"breeders/b1/cases/{case}","how":"by car"}`, "oht"},
	"SendReturn":                {`{"name":"breeders/b1/cases/{case}"}`, "ohtk"},
	"ArriveReturn":              {`{"name":"breeders/b1/cases/{case}","quarantineTime":"2020-01-01T00:00:00Z","requestId":"{id}-{id}"}`, "oht"},
	"EndQuarantine":             {`{"name":"breeders/b1/cases/{case}"}`, "oht"},
	"SetCaseAside":              {`{"name":"breeders/b1/cases/{case}"}`, "oht"},
	"LookAfterCase":             {`{"name":"breeders/b1/cases/{case}","lookedAfterBy":"Ida"}`, "oht"},
	"ScheduleErasure":           {`{"name":"breeders/b1","confirm":"erase"}`, "o"},
	"CancelErasure":             {`{"name":"breeders/b1"}`, "o"},
	"CreateLetterLink":          {`{"name":"breeders/b1/cases/{case}"}`, "ohk"},
	"ListLetterLinks":           {`{"name":"breeders/b1/cases/{case}"}`, "ohk"},
	"EndLetterLink":             {`{"name":"breeders/b1/cases/{case}","id":"nope"}`, "ohk"},
	"ListLooks":                 {`{"parent":"breeders/b1/cases/{case}"}`, "ok"},
	"LeaveKeeper":               {`{"confirm":"not yet"}`, "kx"},
	"BeginPasskeyRegistration":  {`{}`, "ohb"},
	"FinishPasskeyRegistration": {`{"ceremony":"x","credential":{}}`, "ohb"},
	"ListPasskeys":              {`{}`, "ohb"},
	"DeletePasskey":             {`{"passkeyId":"x"}`, "ohb"},
	"CreateRecoveryCodes":       {`{}`, "ohb"},
	"ListPeople":                {`{}`, "ohb"},
	"CreateHelper":              {`{"displayName":"{id}"}`, "ob"},
	"RenamePerson":              {`{"personId":"b1-helper","displayName":"{id}"}`, "oh"},
	"DeleteHelper":              {`{"personId":"x"}`, "ob"},
	"CreateSignInLink":          {`{"personId":"b1-helper"}`, "oh"},
	"CreateToken":               {`{"label":"scale"}`, "ob"},
	"ListTokens":                {`{}`, "ob"},
	"DeleteToken":               {`{"tokenId":"x"}`, "ob"},

	"CreateAnimal":   {`{"parent":"breeders/b1","animal":{"species":"python_regius"}}`, "oht"},
	"GetAnimal":      {`{"name":"breeders/b1/animals/{animal}"}`, "ohtrk"},
	"ListAnimals":    {`{"parent":"breeders/b1"}`, "ohtr"},
	"ListStock":      {`{"parent":"breeders/b1"}`, "ohtr"},
	"GetStockAnimal": {`{"name":"breeders/b1/animals/{animal}"}`, "ohtr"},
	"UpdateAnimal":   {`{"animal":{"name":"breeders/b1/animals/{animal}","clutch":"26-1"},"updateMask":"clutch"}`, "oht"},
	"DeleteAnimal":   {`{"name":"breeders/b1/animals/{animal}"}`, "ot"},

	"GetBreeder":        {`{"name":"breeders/b1"}`, "ohtr"},
	"UpdateBreeder":     {`{"breeder":{"name":"breeders/b1","contact":"By the door"},"updateMask":"contact"}`, "o"},
	"GetThresholds":     {`{"name":"breeders/b1/thresholds"}`, "ohtr"},
	"UpdateThresholds":  {`{"thresholds":{"name":"breeders/b1/thresholds"}}`, "o"},
	"GetCheckInPlan":    {`{"name":"breeders/b1/checkInPlan"}`, "ohtr"},
	"UpdateCheckInPlan": {`{"checkInPlan":{"name":"breeders/b1/checkInPlan"}}`, "o"},
	"TryThresholds":     {`{"thresholds":{"name":"breeders/b1/thresholds"}}`, "oh"},

	"ListCases":       {`{"parent":"breeders/b1"}`, "ohtr"},
	"ListKeeperCases": {`{}`, "kx"},
	"GetCase":         {`{"name":"breeders/b1/cases/{case}"}`, "ohtrk"},
	"GetCourse":       {`{"name":"breeders/b1/cases/{case}/course"}`, "ohtrk"},
	"GetGuide":        {`{"name":"breeders/b1/cases/{case}/guide"}`, "ohtrk"},
	"ListFlags":       {`{"parent":"breeders/b1/cases/{case}"}`, "ohtr"},
	"ProbeCase":       {`{"name":"breeders/b1/cases/{case}","weighIn":{"massG":500}}`, "ohtrk"},
	"ListGatherings":  {`{"parent":"breeders/b1"}`, "ohtr"},
	"ListPhotos":      {`{"parent":"breeders/b1/cases/{case}"}`, "ohtrk"},
	"ListNewPhotos":   {`{"parent":"breeders/b1"}`, "ohtr"},
	"LookAtPhoto":     {`{"name":"breeders/b1/cases/{case}/photos/photo-1"}`, "oht"},
	"ReadCard":        {`{"name":"breeders/b1/cases/{case}/photos/photo-1"}`, "ohtr"},
	"MarkCaseSeen":    {`{"name":"breeders/b1/cases/{case}"}`, "oht"},
	"EndCase":         {`{"name":"breeders/b1/cases/{case}","outcome":"OUTCOME_SETTLED","requestId":"{id}"}`, "oht"},
	"ReopenCase":      {`{"name":"breeders/b1/cases/{case}","requestId":"{id}"}`, "oht"},
	"WatchCases":      {`{"parent":"breeders/b1"}`, "ohtr"},

	"CreateEntry":        {`{"parent":"breeders/b1/animals/{animal}","entryId":"{id}","entry":{"happenTime":"2026-06-01T12:00:00Z","weighIn":{"massG":500}}}`, "ohtk"},
	"BatchCreateEntries": {`{"parent":"breeders/b1/animals/{animal}","requests":[{"parent":"breeders/b1/animals/{animal}","entryId":"{id}","entry":{"happenTime":"2026-06-01T12:00:00Z","weighIn":{"massG":500}}}]}`, "ohtk"},
	"GetEntry":           {`{"name":"breeders/b1/animals/{animal}/entries/{entry}"}`, "ohtrk"},
	"ListEntries":        {`{"parent":"breeders/b1/animals/{animal}"}`, "ohtrk"},

	"CreateHandover":   {`{"parent":"breeders/b1","handover":{"animal":"breeders/b1/animals/{animal}"},"requestId":"{id}"}`, "oht"},
	"GetHandover":      {`{"name":"breeders/b1/handovers/{case}"}`, "ohtrk"},
	"ListHandovers":    {`{"parent":"breeders/b1"}`, "ohtr"},
	"RevokeHandover":   {`{"name":"breeders/b1/handovers/{case}"}`, "oht"},
	"ReplaceClaimCode": {`{"name":"breeders/b1/handovers/{case}"}`, "oht"},
	"LookUpClaim":      {`{"claimCode":"{code}"}`, "ohtrbkxn"},
	"ClaimHandover":    {`{"claimCode":"{code}","requestId":"{id}-{id}"}`, "ohtbkxn"},

	"CreateCards":      {`{"parent":"breeders/b1","count":1,"requestId":"{id}"}`, "oh"},
	"ListCards":        {`{"parent":"breeders/b1"}`, "oh"},
	"RevokeCard":       {`{"name":"breeders/b1/cards/1"}`, "oh"},
	"ClaimCard":        {`{"claimCode":"{card}","requestId":"{id}-{id}"}`, "ohtbkxn"},
	"ListWaitingCards": {`{}`, "kx"},

	"GetInsight": {`{"parent":"breeders/b1"}`, "ohtr"},

	"GetImport":     {`{"name":"breeders/b1/imports/{import}"}`, "ohtr"},
	"ListImports":   {`{"parent":"breeders/b1"}`, "ohtr"},
	"PreviewImport": {`{"name":"breeders/b1/imports/{import}"}`, "ohtr"},
	"ConfirmImport": {`{"name":"breeders/b1/imports/{import}"}`, "oht"},
	"UndoImport":    {`{"name":"breeders/b1/imports/{import}"}`, "ot"},

	"ListSpecies":     {`{}`, "ohtrbkxn"},
	"ListGenes":       {`{}`, "ohtrbkxn"},
	"ListSigns":       {`{}`, "ohtrbkxn"},
	"ListSetupPoints": {`{}`, "ohtrbkxn"},
	"ListTables":      {`{}`, "ohtrbkxn"},

	"GetReminders":      {`{}`, "ohbkx"},
	"SetReminderHours":  {`{"hours":{"zone":"UTC"}}`, "ohbkx"},
	"AddPushDevice":     {`{"endpoint":"https://push.example.org/x","p256dh":"` + devicePoint + `","auth":"AAAAAAAAAAAAAAAAAAAAAA"}`, "ohbkx"},
	"SetReminderMail":   {`{"address":"a@example.org"}`, "ohbkx"},
	"RemoveReminderWay": {`{"wayId":"x"}`, "ohbkx"},
	"TestReminder":      {`{"wayId":"x"}`, "ohbkx"},

	"EndOtherSignIns": {`{}`, "ohb"},

	"SignOut": {`{}`, "ohtbkxn"}, // ends the sessions of this test, so it comes last
}

// The matrix is tried by gRPC on the port, one caller after the other.
func TestWhoMayCallWhat(t *testing.T) {
	testOn(t, func(t *testing.T, f *servertest.Fixture) {
		owner := f.NewBreeder("b1")
		f.NewBreeder("b2")
		animal := owner.NewAnimal()
		entry := owner.Weigh("b1", animal, 500)
		caseID, code := owner.HandOver(animal)
		k := f.Program("").Claim(code).OK().Text("sessionToken")
		_, code = owner.HandOver(owner.NewAnimal())
		x := f.Program("").Claim(code).OK().Text("sessionToken")
		_, code = owner.HandOver(owner.NewAnimal())
		card := owner.NewCards(2)[1].Code
		list := uuid.NewString()
		owner.Call("PUT", "/v1/breeders/b1/imports/"+list+"/file", []byte("name,species\nBirch,corn\n")).OK()

		helper := care.Actor{Kind: care.Helper, BreederID: "b1", UserID: "b1-helper"}
		ownerOf := func(id string) care.Actor {
			return care.Actor{Kind: care.BreederOwner, BreederID: id, UserID: id + "-owner"}
		}
		secrets := map[rune]string{'k': k, 'x': x, 'n': ""}
		f.Write(func(tx care.Tx) error {
			if err := tx.InsertUser(care.User{BreederID: "b1", ID: helper.UserID, Name: "Helper", Role: care.Helper, CreatedAt: f.Clock.Now()}); err != nil {
				return err
			}
			if err := tx.InsertPhoto(care.Photo{BreederID: "b1", CaseID: caseID, ID: "photo-1", By: care.KeeperActor, Hash: "h", ReceivedAt: f.Clock.Now()}); err != nil {
				return err
			}
			for r, readOnly := range map[rune]bool{'t': false, 'r': true} {
				var err error
				if secrets[r], _, err = access.NewToken(tx, ownerOf("b1"), "test", readOnly, 24*time.Hour, f.Clock.Now()); err != nil {
					return err
				}
			}
			return nil
		})
		secrets['o'], secrets['h'], secrets['b'] = f.Session(ownerOf("b1")), f.Session(helper), f.Session(ownerOf("b2"))

		conn := f.GRPC()
		all := methods(t)
		last := -1
		for i, m := range all {
			if m.Name() == "SignOut" {
				last = i
			}
		}
		all[last], all[len(all)-1] = all[len(all)-1], all[last]
		for _, m := range all {
			row, ok := matrix[string(m.Name())]
			if !ok {
				t.Errorf("%s is not in the matrix: say who may call it", m.Name())
				continue
			}
			for _, who := range "nxbkrhto" { // those who must not come first
				f.Clock.Advance(20 * time.Second) // for the limits on guessing
				text := strings.NewReplacer("{animal}", animal, "{case}", caseID, "{entry}", entry, "{import}", list, "{code}", code, "{card}", card, "{id}", f.ID("matrix")).Replace(row.request)
				err := invoke(t, conn, m, text, secrets[who])
				let := throughTo(err, m)
				if want := strings.ContainsRune(row.who, who); let != want {
					t.Errorf("%s by %c: let in %v, should be %v (%v)", m.Name(), who, let, want, err)
				}
			}
		}
	})
}

// throughTo reports whether an answer came from behind the doors: success, or
// an error about the request and not about who sent it.
func throughTo(err error, m protoreflect.MethodDescriptor) bool {
	switch status.Code(err) {
	case codes.PermissionDenied:
		return false
	case codes.Unauthenticated:
		// These say that the secret or the ceremony is wrong, which is what they
		// are there for; the policy's own answer says "Please sign in first."
		return strings.Contains("RedeemSignInLink UseRecoveryCode UseKeeperCode FinishPasskeySignIn FinishPasskeyRegistration", string(m.Name())) &&
			!strings.Contains(err.Error(), "sign in first")
	case codes.NotFound:
		return m.Name() == "DeletePasskey" || m.Name() == "DeleteToken" || m.Name() == "DeleteHelper" || m.Name() == "RemoveReminderWay" || m.Name() == "TestReminder" // of a name that nobody has
	}
	return true
}

func invoke(t *testing.T, conn *grpc.ClientConn, m protoreflect.MethodDescriptor, text, secret string) error {
	t.Helper()
	_, err := call(t, conn, m, text, secret)
	return err
}

// call returns the first answer, which of a stream comes with its first change
// only.
func call(t *testing.T, conn *grpc.ClientConn, m protoreflect.MethodDescriptor, text, secret string) (out *dynamicpb.Message, err error) {
	t.Helper()
	in, out := dynamicpb.NewMessage(m.Input()), dynamicpb.NewMessage(m.Output())
	if err := protojson.Unmarshal([]byte(text), in); err != nil {
		t.Fatalf("%s: %v", m.Name(), err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	// What only the gateway may say must not help a caller on the port.
	ctx = metadata.AppendToOutgoingContext(ctx, "warmhand-cookie-breeder", secret, "warmhand-browser", "1", "warmhand-remote", "192.0.2.1")
	if secret != "" {
		ctx = metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+secret)
	}
	name := fmt.Sprintf("/%s/%s", m.Parent().FullName(), m.Name())
	if !m.IsStreamingServer() {
		return out, conn.Invoke(ctx, name, in, out)
	}
	stream, err := conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, name)
	if err != nil {
		return out, err
	}
	if err := stream.SendMsg(in); err != nil {
		return out, err
	}
	if err := stream.CloseSend(); err != nil {
		return out, err
	}
	// The header comes as soon as the watch has begun, or never.
	md, err := stream.Header()
	if err == nil && len(md.Get("warmhand-watching")) == 0 {
		err = stream.RecvMsg(out)
	}
	return out, err
}

// A cookie's metadata from outside signs nobody in.
func TestForgedMetadata(t *testing.T) {
	t.Parallel()
	f := servertest.Start(t, servertest.Options{})
	page := f.NewBreeder("b1")
	secret := page.Cookies()["warmhand_b"]
	for _, m := range methods(t) {
		if m.Name() != "GetBreeder" {
			continue
		}
		in, out := dynamicpb.NewMessage(m.Input()), dynamicpb.NewMessage(m.Output())
		if err := protojson.Unmarshal([]byte(`{"name":"breeders/b1"}`), in); err != nil {
			t.Fatal(err)
		}
		ctx := metadata.AppendToOutgoingContext(t.Context(), "warmhand-cookie-breeder", secret, "warmhand-browser", "1")
		if err := f.GRPC().Invoke(ctx, "/warmhand.v1.BreederService/GetBreeder", in, out); status.Code(err) != codes.Unauthenticated {
			t.Errorf("by gRPC: %v", err)
		}
	}
	for _, header := range []string{"Grpc-Metadata-Warmhand-Cookie-Breeder", "Warmhand-Cookie-Breeder", "Grpcgateway-Cookie"} {
		if got := f.Page().Call("GET", "/v1/breeders/b1", nil, header, secret); got.Status != 401 {
			t.Errorf("by the header %s: %d", header, got.Status)
		}
	}
	if got := f.Program("").Call("POST", "/v1/breeders/b1/animals", bytes.NewReader([]byte("{}")), "X-HTTP-Method-Override", "GET", "Content-Type", "application/json", "Cookie", "warmhand_b="+secret); got.Status != 403 {
		t.Errorf("a method in a header: %d", got.Status)
	}
}
