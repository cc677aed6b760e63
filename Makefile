SHELL := /bin/bash
export PATH := $(CURDIR)/.build/node/bin:$(PATH)
# SQLite is C.
export CGO_ENABLED := 1
need := internal/tools/prereq.sh
tools := .build/tools

.PHONY: help run build web test test-go test-web test-browser test-browser-all lighthouse bench load faults acme soak cohort scenes proto proto-check sbom vulns icons fmt clean

help: ## this list
	@sed -n 's/^\([a-z-]*\):.*## /\1\t/p' Makefile | expand -t 16

run: build ## start the demonstration on a fresh folder; it prints its addresses. ARGS="--listen localhost:8081"
	.build/warmhand demo $(ARGS)

build: web ## the program with the web app in it: .build/warmhand
	@$(need) go cc
	go build -o .build/warmhand ./server/cmd/warmhand

web: $(tools)/webbuild pwa/node_modules/.installed ## the web app alone: pwa/dist
	$(tools)/webbuild

test: ## everything that has to hold before a change goes in
	@$(need) go cc node chromium postgres exiftool reference print
	@internal/tools/test.sh

test-go: ## Go tests with the race detector, on SQLite and PostgreSQL
	@$(need) go cc postgres exiftool reference print
	internal/tools/with-postgres.sh internal/tools/go-tests.sh
	cd internal/tools && go test ./...

test-web: pwa/node_modules/.installed ## types, lint and unit tests of the web app
	cd pwa && npm run -s check && npm run -s lint && npm run -s test

test-browser: build ## the web app in a browser against the program; ARGS="e2e/x.spec.ts --project phone"
	@$(need) chromium
	cd pwa && npm run -s e2e -- $(ARGS)

test-browser-all: build ## all browser tests at both widths, the longest too
	@$(need) chromium
	cd pwa && WARMHAND_E2E_ALL=1 npm run -s e2e

lighthouse: build ## keeper's home and triage list as Lighthouse sees them; fails below 95. Wants a machine at rest
	@$(need) node chromium
	internal/tools/lighthouse.sh

bench: build ## benchmarks, and how they stand to each other
	@$(need) go cc vips chromium
	@internal/tools/bench.sh

load: build .build/tools/peer ## what the real program bears, on both engines: table of server/load. ARGS="-cases 1000000"
	@$(need) go cc postgres
	go build -o .build/tools/load ./server/load
	internal/tools/with-postgres.sh .build/tools/load -program .build/warmhand -peer .build/tools/peer -out server/load/results.md -plans server/load/plans.md $(ARGS)

.build/tools/peer: internal/tools/peer/main.go internal/tools/peer/go.mod
	cd internal/tools/peer && go build -o $(CURDIR)/$@ .

faults: ## kill servers, PostgreSQL and a bucket, cut and delay what is between, fill the disk: nothing is lost or doubled. TIME=10m
	@$(need) go cc postgres
	WARMHAND_FAULTS=$(or $(TIME),3m) internal/tools/with-postgres.sh go test ./server -count 1 -v -timeout 2h -run '^TestFaults'

acme: web ## certificates: the program as it is shipped, one and several, against a real authority for tests
	@$(need) go cc postgres
	cd internal/tools/acme && ../with-postgres.sh go test -count 1 -parallel 8 .

soak: ## the same load for half an hour: memory, goroutines and open files do not grow. TIME=2h
	@$(need) go cc postgres
	WARMHAND_SOAK=$(or $(TIME),30m) internal/tools/with-postgres.sh go test ./server -count 1 -v -timeout 4h -run '^TestSoak$$'

cohort: ## judge the assessment on simulated animals: table and plots of internal/cohort. ARGS="-world base"
	@$(need) go
	nice go run ./internal/cohort/judge -out internal/cohort $(ARGS)

scenes: ## measure in hundreds of rendered photos: table of internal/measure
	@$(need) go
	nice go test ./internal/measure -count 1 -timeout 2h -run '^(TestScenes|TestNoFalseCards)$$' -scenes 500 -table results.md

proto: $(tools)/.proto pwa/node_modules/.installed ## make the generated code from proto/
	$(tools)/buf format -w proto
	internal/tools/generate.sh

proto-check: $(tools)/.proto pwa/node_modules/.installed ## lint the contract, compare it with the one before and with the generated code
	internal/tools/proto-check.sh

sbom: ## what the program is made of, with licences: .build/sbom.cdx.json (CycloneDX)
	@$(need) go
	@mkdir -p .build
	cd internal/tools && go run ./sbom ../.. > ../../.build/sbom.part && mv ../../.build/sbom.part ../../.build/sbom.cdx.json

vulns: ## ask the public lists of known weaknesses about all that it is made of; wants network, or GOVULNDB=file:///copy
	@$(need) go node
	@cd internal/tools && go run ./vulns ../..

icons: ## draw the PNG icons from their SVGs (needs rsvg-convert)
	for n in 192 512; do \
	  rsvg-convert -w $$n pwa/public/icons/icon.svg -o pwa/public/icons/icon-$$n.png && \
	  rsvg-convert -w $$n pwa/icon-maskable.svg -o pwa/public/icons/maskable-$$n.png || exit 1; done
	rsvg-convert -w 180 pwa/icon-maskable.svg -o pwa/public/icons/apple-touch-icon.png

fmt: pwa/node_modules/.installed ## format Go, TypeScript, CSS and JSON
	gofmt -w $$(git ls-files -co --exclude-standard '*.go')
	cd pwa && npm run -s format

clean: ## delete what was built and installed here
	rm -rf .build pwa/node_modules pwa/test-results pwa/playwright-report
	find pwa/dist -mindepth 1 ! -name .keep -delete

$(tools)/webbuild: internal/tools/go.mod internal/tools/go.sum $(wildcard internal/tools/webbuild/*.go)
	@$(need) go
	@mkdir -p $(tools)
	cd internal/tools && go build -o ../../$(tools)/ ./webbuild

# buf is large: compiling it takes minutes, once.
$(tools)/.proto: internal/tools/go.mod internal/tools/go.sum internal/tools/protodeps/main.go
	@$(need) go
	@mkdir -p $(tools)
	cd internal/tools && go build -o ../../$(tools)/ tool ./protodeps
	$(tools)/protodeps .build/proto-deps
	@touch $@

pwa/node_modules/.installed: pwa/package-lock.json
	@$(need) node
	cd pwa && npm ci --no-audit --no-fund
	@touch $@
