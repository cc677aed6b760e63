package server

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"sort"
	"strings"
)

//go:embed api.html
var apiHTML string

//go:embed api.css
var apiStyle []byte

// style serves the style of a page of the server's own.
func style(css []byte) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/css; charset=utf-8")
		w.Header().Set("Cache-Control", "no-cache")
		w.Write(css)
	}
}

// What is read of the OpenAPI document.
type (
	openAPI struct {
		Info       struct{ Title, Description string }
		Tags       []struct{ Name, Description string }
		Paths      map[string]map[string]openCall
		Components struct{ Schemas map[string]openSchema }
	}
	openCall struct {
		Tags        []string
		Summary     string
		OperationID string
		Parameters  []struct {
			Name, In, Description string
			Required              bool
			Schema                openSchema
		}
		RequestBody struct {
			Content map[string]struct{ Schema openSchema }
		}
		Responses map[string]struct {
			Content map[string]struct{ Schema openSchema }
		}
	}
	openSchema struct {
		Ref         string `json:"$ref"`
		Type        any
		Format      string
		Description string
		Properties  map[string]openSchema
		Required    []string
		Items       *openSchema
		Enum        []string
		AllOf       []openSchema
	}
)

// What the page shows.
type (
	apiTable struct {
		Caption string
		Rows    []apiRow
	}
	apiRow struct {
		Name, Form, Link, Text string
		Required               bool
	}
	apiCall struct {
		ID, Name, Method, Path, Summary, Answer string
		Parameters, Body                        apiTable
	}
	apiGroup struct {
		Name, Description string
		Calls             []apiCall
	}
	apiMessage struct {
		Name, Description string
		Values            []string
		Fields            apiTable
	}
)

// newAPIPage makes the readable page of the API from its OpenAPI document, once
// and without any script.
func newAPIPage(document []byte, version string) (http.Handler, error) {
	var doc openAPI
	if err := json.Unmarshal(document, &doc); err != nil {
		return nil, fmt.Errorf("the OpenAPI document: %w", err)
	}
	groups := map[string]*apiGroup{}
	for _, t := range doc.Tags {
		groups[t.Name] = &apiGroup{Name: t.Name, Description: t.Description}
	}
	for path, calls := range doc.Paths {
		for method, c := range calls {
			name := "Other"
			if len(c.Tags) > 0 {
				name = c.Tags[0]
			}
			g := groups[name]
			if g == nil {
				g = &apiGroup{Name: name}
				groups[name] = g
			}
			_, short, _ := strings.Cut(c.OperationID, "_")
			call := apiCall{ID: c.OperationID, Name: short, Method: strings.ToUpper(method), Path: path, Summary: c.Summary}
			call.Parameters.Caption, call.Body.Caption = "Parameters", "Body"
			for _, p := range c.Parameters {
				row := rowOf(p.Name, p.Schema)
				row.Required = p.Required
				row.Text = strings.TrimSpace(p.Description + " In the " + p.In + ".")
				call.Parameters.Rows = append(call.Parameters.Rows, row)
			}
			for _, b := range c.RequestBody.Content {
				call.Body.Rows = rowsOf(b.Schema)
				if b.Schema.Ref != "" {
					call.Body.Rows = []apiRow{rowOf("(the whole body)", b.Schema)}
				}
			}
			for _, a := range c.Responses["200"].Content {
				call.Answer = refName(a.Schema.Ref)
			}
			g.Calls = append(g.Calls, call)
		}
	}
	page := struct {
		Description, Version string
		Groups               []*apiGroup
		Plain                []struct{ Route, Text string }
		Messages             []apiMessage
	}{Description: doc.Info.Description, Version: version}
	for _, g := range groups {
		sort.Slice(g.Calls, func(i, j int) bool {
			a, b := g.Calls[i], g.Calls[j]
			return a.Path < b.Path || a.Path == b.Path && a.Method < b.Method
		})
		if len(g.Calls) > 0 {
			page.Groups = append(page.Groups, g)
		}
	}
	sort.Slice(page.Groups, func(i, j int) bool { return page.Groups[i].Name < page.Groups[j].Name })
	for route, text := range map[string]string{
		routeBreederLive: "Server-sent events: each is named change and holds a WatchCasesResponse. After resync, read the list again.",
		routeKeeperLive:  "The same for the calling keeper's own cases.",
		routePhotoPut:    "Takes the bytes of a JPEG, PNG or WebP picture, at most 25 MB, and answers with the Photo. X-Taken-At may say when it was taken; what the file says of itself is not kept. With Upload-Complete: ?0 more follows. A repeat is fine.",
		routePhotoPatch:  "Goes on with a picture at the byte that Upload-Offset names, after Upload-Complete: ?0 or a cut. Elsewhere than where it ends is a 409 that says where. What arrived waits for an hour: of one account, and of one case, at most 24 pictures and 64 MB, a piece counting as 32 kB at least. Beyond that the answer is 429; finish one first.",
		routePhotoHead:   "How much of a picture has arrived: Upload-Offset in bytes, or Upload-Complete: ?1.",
		routePhotoGet:    "The picture as JPEG; size is 320 or 1600.",
		routeCards:       `Handover cards as PDF, 1 to 40: {"form": "credit" or "a6", "paper": "a4" or "letter", "cards": [{"handover": its name, "claimCode": its code}]}. A code that is not the handover's is refused.`,
		routeLabels:      "Labels for tubs as PDF, 1 to 100: ?animal={id}&animal={id}&paper=a4 or letter.",
		routeRecord:      "The handover record as PDF, for the breeder and the animal's keeper: ?paper=a4 or letter.",
		routeGuide:       "The keeper's guide for one animal as it is now, as PDF: ?paper=a4 or letter, ?page=not_eating (see GetGuide) for one page of it.",
		routeLetterLink:  `The same by the secret of a link (CreateLetterLink), for anybody who has it: {"secret": …, "paper": "a4" or "letter"}.`,
		routeLetter:      `A letter for the vet about a case as PDF, for the breeder and the keeper: {"paper": "a4" or "letter", "concern": what worries you, "pictures": 0 to 8}.`,
		routeCaseFile:    "The case as a case file, JSON Lines, for the breeder; ?texts=false leaves out notes, messages and names.",
		routeCaseFiles:   "All cases of a breeder as one case file, with notes, messages and names.",
		routeListPut:     "Takes the bytes of a list, CSV or XLSX, at most 20 MB, and answers with the Import; the id is a UUID of the caller's, ?name= the file's name. See ImportService. A repeat is fine.",
		routeStock:       "The stock book with what the breeder logged: stock.xlsx, or stock.zip with two CSV files. Brought in again it adds nothing.",
		routeEverything:  "All that an account holds, for its owner, as a ZIP: the account, the stock book as a workbook, handovers, cases, who looked at what, and pictures.",
		routeTakeaway:    "All that the calling keeper shares, as a ZIP: for each animal a case file, a table and the pictures, and a page to read it all.",
		"GET /healthz":   "Says ok while the database answers and the server does not stop.",
		"GET /livez":     "Says ok while the program runs.",
	} {
		page.Plain = append(page.Plain, struct{ Route, Text string }{route, text})
	}
	sort.Slice(page.Plain, func(i, j int) bool { return page.Plain[i].Route < page.Plain[j].Route })
	for name, schema := range doc.Components.Schemas {
		page.Messages = append(page.Messages, apiMessage{Name: name, Description: schema.Description, Values: schema.Enum,
			Fields: apiTable{Caption: "Fields", Rows: rowsOf(schema)}})
	}
	sort.Slice(page.Messages, func(i, j int) bool { return page.Messages[i].Name < page.Messages[j].Name })

	t, err := template.New("api").Parse(apiHTML)
	if err != nil {
		return nil, fmt.Errorf("the API page: %w", err)
	}
	var out bytes.Buffer
	if err := t.Execute(&out, page); err != nil {
		return nil, fmt.Errorf("the API page: %w", err)
	}
	return http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Cache-Control", "no-cache")
		w.Write(out.Bytes())
	}), nil
}

func rowsOf(s openSchema) (rows []apiRow) {
	for name, field := range s.Properties {
		row := rowOf(name, field)
		row.Required = slices.Contains(s.Required, name)
		rows = append(rows, row)
	}
	sort.SliceStable(rows, func(i, j int) bool { return rows[i].Name < rows[j].Name })
	return rows
}

func rowOf(name string, s openSchema) apiRow {
	row := apiRow{Name: name, Text: s.Description}
	target := &s
	list := ""
	if s.Items != nil {
		target, list = s.Items, "list of "
	}
	for _, part := range target.AllOf {
		if part.Ref != "" {
			target = &part
		}
	}
	switch {
	case target.Ref != "":
		row.Link = refName(target.Ref)
		row.Form = list + row.Link
	case target.Format != "":
		row.Form = list + target.Format
	default:
		row.Form = list + fmt.Sprint(target.Type)
	}
	return row
}

func refName(ref string) string { return strings.TrimPrefix(ref, "#/components/schemas/") }
