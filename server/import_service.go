package server

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"unicode/utf8"

	"warmhand/internal/care"
	"warmhand/internal/followup"
	pb "warmhand/internal/gen/warmhand/v1"
	"warmhand/internal/sheet"
	"warmhand/internal/snake"
	"warmhand/internal/words"
)

type importService struct {
	pb.UnimplementedImportServiceServer
	s *Server
}

func (i *importService) GetImport(ctx context.Context, req *pb.GetImportRequest) (*pb.GetImportResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "imports")
	if err != nil {
		return nil, err
	}
	out, err := i.s.followup.GetImport(ctx, callOf(ctx).who.Actor, ids[0], ids[1])
	return &pb.GetImportResponse{Import: importToProto(&out, spoken(ctx))}, err
}

func (i *importService) ListImports(ctx context.Context, req *pb.ListImportsRequest) (*pb.ListImportsResponse, error) {
	ids, err := split("parent", req.GetParent(), "breeders")
	if err != nil {
		return nil, err
	}
	query := queryDigest("ListImports", req.GetParent())
	after, err := pageAfter(query, req.GetPageToken())
	if err != nil {
		return nil, err
	}
	list, next, err := i.s.followup.ListImports(ctx, callOf(ctx).who.Actor, ids[0], after, pageSize(req.GetPageSize(), 50))
	out := &pb.ListImportsResponse{NextPageToken: nextPage(query, next)}
	for j := range list {
		out.Imports = append(out.Imports, importToProto(&list[j], spoken(ctx)))
	}
	return out, err
}

func (i *importService) PreviewImport(ctx context.Context, req *pb.PreviewImportRequest) (*pb.PreviewImportResponse, error) {
	ids, t, m, err := i.table(ctx, req.GetName(), req.GetMapping())
	if err != nil {
		return nil, err
	}
	v, err := i.s.followup.PreviewImport(ctx, callOf(ctx).who.Actor, i.s.now(), ids[0], ids[1], t, m, ints(req.GetLeaveRows()))
	if err != nil {
		return nil, err
	}
	return previewToProto(&v, spoken(ctx)), nil
}

func (i *importService) ConfirmImport(ctx context.Context, req *pb.ConfirmImportRequest) (*pb.ConfirmImportResponse, error) {
	who := callOf(ctx).who.Actor
	ids, t, m, err := i.table(ctx, req.GetName(), req.GetMapping())
	if errors.Is(err, errListGone) { // a repeat, when it is done already
		in, other := i.s.followup.GetImport(ctx, who, ids[0], ids[1])
		if other == nil && in.State != care.ImportDone {
			other = err
		}
		return &pb.ConfirmImportResponse{Import: importToProto(&in, spoken(ctx))}, other
	}
	if err != nil {
		return nil, err
	}
	out, err := i.s.followup.ConfirmImport(ctx, who, i.s.now(), ids[0], ids[1], t, m, ints(req.GetLeaveRows()), req.GetLeaveWrong())
	if err != nil {
		return nil, err
	}
	i.s.importsDue()
	return &pb.ConfirmImportResponse{Import: importToProto(&out, spoken(ctx))}, nil
}

func (i *importService) UndoImport(ctx context.Context, req *pb.UndoImportRequest) (*pb.UndoImportResponse, error) {
	ids, err := split("name", req.GetName(), "breeders", "imports")
	if err != nil {
		return nil, err
	}
	out, err := i.s.followup.UndoImport(ctx, callOf(ctx).who.Actor, i.s.now(), ids[0], ids[1])
	if err != nil {
		return nil, err
	}
	i.s.importsDue()
	return &pb.UndoImportResponse{Import: importToProto(&out, spoken(ctx))}, nil
}

// table opens the sheet that a mapping names, once the import is known to be the
// caller's.
func (i *importService) table(ctx context.Context, name string, mapping *pb.ImportMapping) (ids []string, t *sheet.Table, m sheet.Mapping, err error) {
	if ids, err = split("name", name, "breeders", "imports"); err != nil {
		return nil, nil, m, err
	}
	if _, err := i.s.followup.GetImport(ctx, callOf(ctx).who.Actor, ids[0], ids[1]); err != nil {
		return ids, nil, m, err
	}
	if m, err = mappingFromProto(mapping); err != nil {
		return ids, nil, m, err
	}
	if t, err = i.s.lists.open(ctx, ids[0], ids[1], m.Sheet); err != nil {
		return ids, nil, m, err
	}
	if n := len(m.Columns); n > 0 && n != t.Width {
		return ids, nil, m, care.BadField("mapping.columns", "The list has {columns} columns, and {described} were described. Leave them out to have them guessed.", t.Width, n)
	}
	return ids, t, m, nil
}

func mappingFromProto(in *pb.ImportMapping) (m sheet.Mapping, err error) {
	m = sheet.Mapping{Sheet: in.GetSheet(), HeadingRow: int(in.GetHeadingRow()), Decimal: sheet.Decimal(in.GetDecimal()), Species: in.GetSpecies(),
		OtherSpecies: in.GetOtherSpecies(), FillDown: in.GetFillDown(), BlankResult: in.GetBlankResult(), UndatedOn: in.GetUndatedOn()}
	if _, known := snake.ByID(m.Species); m.Species != "" && m.Species != care.OtherSnake && !known {
		return m, care.BadField("mapping.species", "“{species}” is not in the species table. Choose one of the listed species, or {other}.", m.Species, care.OtherSnake)
	}
	known := sheet.Meanings()
	for i, c := range in.GetColumns() {
		if c.GetMeaning() != "" && !slices.Contains(known, sheet.Meaning(c.GetMeaning())) {
			return m, care.BadField(fmt.Sprintf("mapping.columns[%d].meaning", i), "“{meaning}” is nothing that a column can mean. Choose one of the listed meanings.", c.GetMeaning())
		}
		m.Columns = append(m.Columns, sheet.Column{Meaning: sheet.Meaning(c.GetMeaning()), Unit: sheet.Unit(c.GetUnit()), Order: sheet.Order(c.GetOrder())})
	}
	return m, nil
}

func mappingToProto(m *sheet.Mapping) *pb.ImportMapping {
	out := &pb.ImportMapping{Sheet: m.Sheet, HeadingRow: int32(m.HeadingRow), Decimal: string(m.Decimal), Species: m.Species,
		OtherSpecies: m.OtherSpecies, FillDown: m.FillDown, BlankResult: m.BlankResult, UndatedOn: m.UndatedOn}
	for _, c := range m.Columns {
		out.Columns = append(out.Columns, &pb.ImportColumn{Meaning: string(c.Meaning), Unit: string(c.Unit), Order: string(c.Order)})
	}
	return out
}

// Rows and letters of a cell that a preview shows.
const (
	previewRows = 6
	previewText = 80
)

func previewToProto(v *followup.Preview, in *words.Language) *pb.PreviewImportResponse {
	out := &pb.PreviewImportResponse{Import: importToProto(&v.Import, in), Sheets: v.Table.Sheets, Mapping: mappingToProto(&v.Mapping), Wrong: int32(v.Wrong), Warnings: int32(v.Warnings),
		RowCount: int32(v.Rows), Animals: int32(v.Animals), Entries: int32(v.Entries), Already: int32(v.Already), EarlierTime: maybeTime(v.Earlier)}
	headings := v.Table.Headings(v.Mapping.HeadingRow)
	for i := range headings {
		out.Headings = append(out.Headings, firstLetters(in.Say(sheet.Title(headings, i))))
	}
	for _, m := range sheet.Meanings() {
		out.Meanings = append(out.Meanings, &pb.ImportMeaning{Code: string(m), Label: in.Form(m.Label())})
	}
	rows := v.Table.Data(v.Mapping)
	for _, r := range rows[:min(len(rows), previewRows)] {
		row := &pb.ImportRow{Number: int32(r.N)}
		for _, c := range r.Cells {
			row.Cells = append(row.Cells, firstLetters(c.Text))
		}
		out.Rows = append(out.Rows, row)
	}
	for _, q := range v.Questions {
		question := &pb.ImportQuestion{Code: q.Code, Column: int32(q.Column), Text: firstLetters(in.Say(q.Text))}
		for _, c := range q.Choices {
			question.Choices = append(question.Choices, &pb.ImportChoice{Code: c.Code, Label: in.Say(c.Label)})
		}
		out.Questions = append(out.Questions, question)
	}
	for _, p := range v.Problems {
		out.Problems = append(out.Problems, &pb.ImportProblem{Row: int32(p.Row), Column: firstLetters(in.Say(p.Title)), Value: p.Value, Text: in.Say(p.Text), Warning: p.Warning})
	}
	return out
}

func firstLetters(s string) string {
	if utf8.RuneCountInString(s) > previewText {
		return string([]rune(s)[:previewText]) + "…"
	}
	return s
}

func ints(list []int32) []int {
	out := make([]int, len(list))
	for i, n := range list {
		out[i] = int(n)
	}
	return out
}

var importStates = enum[care.ImportState, pb.ImportState]{
	{care.ImportDraft, pb.ImportState_IMPORT_STATE_DRAFT}, {care.ImportRunning, pb.ImportState_IMPORT_STATE_RUNNING}, {care.ImportDone, pb.ImportState_IMPORT_STATE_DONE},
	{care.ImportUndoing, pb.ImportState_IMPORT_STATE_UNDOING}, {care.ImportUndone, pb.ImportState_IMPORT_STATE_UNDONE}, {care.ImportFailed, pb.ImportState_IMPORT_STATE_FAILED},
}

func importToProto(i *care.Import, in *words.Language) *pb.Import {
	out := &pb.Import{Name: under(i.BreederID, "imports", i.ID), File: i.File, State: importStates.proto(i.State), CreateTime: timeToProto(i.CreatedAt),
		ConfirmTime: maybeTime(i.ConfirmedAt), EndTime: maybeTime(i.EndedAt), Animals: int32(i.Animals), Entries: int32(i.Entries),
		Done: int32(i.Done), Total: int32(i.Total), Trouble: in.Say(i.Trouble)}
	for _, k := range i.Kept {
		out.Kept = append(out.Kept, &pb.KeptByUndo{Animal: animalName(i.BreederID, k.AnimalID), DisplayName: k.Name, Why: in.Say(k.Why)})
	}
	return out
}
