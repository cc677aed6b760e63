package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
)

// What is handed on is known, and may be.
func TestWhatIsHandedOn(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	if err := write(&out, "../../.."); err != nil {
		t.Fatal(err)
	}
	var bom struct {
		BOMFormat, SpecVersion string
		Components             []component
	}
	if err := json.Unmarshal(out.Bytes(), &bom); err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, c := range bom.Components {
		if seen[c.Purl] || c.Purl == "" || c.Version == "" {
			t.Errorf("%+v is there twice or has no version", c)
		}
		seen[c.Purl] = true
	}
	for _, want := range []string{"pkg:golang/std@", "pkg:golang/github.com/mattn/go-sqlite3@", "pkg:golang/google.golang.org/grpc@", "pkg:npm/preact@", "pkg:npm/idb@"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%s is missing", want)
		}
	}
	if bom.BOMFormat != "CycloneDX" || len(bom.Components) < 40 {
		t.Errorf("%s with %d components", bom.BOMFormat, len(bom.Components))
	}
}

func TestLicencesThatMayNotBe(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"GNU AFFERO GENERAL PUBLIC LICENSE\nVersion 3, 19 November 2007": "AGPL-3.0-only",
		"GNU GENERAL PUBLIC LICENSE\n Version 3, 29 June 2007":           "GPL-3.0-only",
		"Business Source License 1.1":                                    "BUSL-1.1",
		"All rights reserved.":                                           "not known",
	} {
		err := check([]component{{Ref: "pkg:golang/x@1", Licenses: licenses(licencesOf(text)...)}})
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
	for text, want := range map[string]string{
		"Apache License\n Version 2.0, January 2004":                                    "Apache-2.0",
		"Permission is hereby granted, free of charge, to any person\nobtaining a copy": "MIT",
		"Redistribution and use in source and binary forms ... Neither the name of":     "BSD-3-Clause",
	} {
		if got := licencesOf(text); len(got) != 1 || got[0] != want {
			t.Errorf("%q is %v, want %s", text, got, want)
		}
	}
}
