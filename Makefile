# tunerd: build, run, test. `make help` lists the targets.

SHELL    := /bin/bash
FUZZTIME ?= 5s
SEED     ?= 1
TRIALS   ?= 100
DIR      ?= testdata/wav/wide
ARGS     ?=
FLAPS    ?= 1000
COUNT    ?= 100
STATIC   := go tool -modfile=tools/go.mod staticcheck

.DEFAULT_GOAL := help
.PHONY: help run build need need-test test virtual-mic race flaps bench accuracy accuracy-full \
	accuracy-doc accuracy-strings accuracy-wide instructions intonation coupling soak screenshots lint fmt fuzz cross clean

help: ## list the targets
	@awk -F ':.*## ' '/^[a-z-]+:.*## /{printf "  make %-14s %s\n", $$1, $$2}' $(MAKEFILE_LIST)

run: build ## build and start the tuner: microphone, or the demo where there is none (ARGS="--tuning 31edo")
	@bin/tunerd listen $(ARGS)

build: need ## build bin/tunerd (CGO_ENABLED=0: without microphone and loudspeaker)
	@go build -o bin/tunerd ./cmd/tunerd

need:
	@scripts/need.sh build

need-test:
	@scripts/need.sh test

test: need-test ## run all tests, also those that listen to a virtual microphone
	go test ./...
	@$(MAKE) --no-print-directory virtual-mic

# A server for each package: some of the tests take the microphone away.
virtual-mic: LISTENERS = $$(grep -rl --include='*_test.go' '^//go:build virtualmic' internal | xargs -n 1 dirname | sort -u)
virtual-mic: need-test ## only the tests that listen to a virtual microphone
	@set -e; for package in $(LISTENERS); do \
		echo scripts/virtual-mic.sh -r 48000 -- go test $(DETECT) -v -tags virtualmic -run VirtualMic ./$$package; \
		scripts/virtual-mic.sh -r 48000 -- go test $(DETECT) -count=1 -v -tags virtualmic -run VirtualMic ./$$package; \
	done

race: need-test ## run the tests of everything concurrent under the race detector
	go test -race ./internal/capture/... ./internal/device/... ./internal/engine/... ./internal/display/... ./internal/command/... ./internal/bench/... ./internal/server/...
	go test -race -short ./internal/journal ./internal/clock
	@GORACE=atexit_sleep_ms=0 $(MAKE) --no-print-directory virtual-mic DETECT=-race LISTENERS="internal/capture/mic internal/device internal/engine internal/sound/play"

# Four servers side by side, for the sake of time. A busy computer is late by itself.
flaps: need-test ## take the virtual microphone away 1000 times, as a loose plug does (FLAPS=1000 SEED=1)
	@mkdir -p out; go test -c -tags virtualmic -o out/flaps.test ./internal/command
	@cd internal/command; for part in 0 1 2 3; do \
		../../scripts/virtual-mic.sh -- ../../out/flaps.test -test.v -test.timeout 3h -test.run VirtualMicFlaps \
			-flaps $$(($(FLAPS) / 4)) -flap-seed $$(($(SEED) + part)) >../../out/flaps-$$part.txt 2>&1 & parts="$$parts $$!"; \
	done; status=0; for part in $$parts; do wait $$part || status=1; done; \
	cat ../../out/flaps-?.txt; exit $$status

bench: need-test ## benchmarks, and the CPU time of the live path against aubio
	go test -run '^$$' -bench . -benchmem ./...

accuracy: need-test ## accuracy tables: recordings and synthetic strings (SEED=1 TRIALS=100); fails where a goal is missed
	go test -count=1 -v -run 'Recordings|Readers' ./internal/evidence
	go run ./internal/tools/accuracy -seed $(SEED) -trials $(TRIALS)

accuracy-full: TRIALS := 400
accuracy-full: need-test ## all cells with 400 trials each: about a quarter of an hour on two cores
	go run ./internal/tools/accuracy -set full -seed $(SEED) -trials $(TRIALS)

accuracy-doc: TRIALS := 400
accuracy-doc: need-test ## the same, written to docs/accuracy.md with its picture
	go run ./internal/tools/accuracy -set full -seed $(SEED) -trials $(TRIALS) -write docs

accuracy-strings: need-test ## several strings at once: 30 chords of each kind, written to docs/accuracy-strings.md
	go test -count=1 -timeout 1h -run 'Reach|Muted|Recorded' ./internal/ensemble -args -trials 30 -write $(CURDIR)/docs/accuracy-strings.md

accuracy-wide: need-test ## recorded notes of any folder with a manifest.csv, also spoilt (DIR=testdata/wav/wide)
	go run ./internal/tools/recordings -variants $(DIR)

instructions: need-test ## strums read by builds for two instruction sets: the same strings, and the same pitch within 0.1 of σ
	@scripts/instructions.sh testdata/wav/strums

intonation: need-test ## intonation checks of 500 invented instruments: frets falsely accused, frets found, moves covered
	go test -count=1 -v -timeout 1h -run Fleet ./internal/setup -args -instruments 500

coupling: need-test ## moves until strings that pull on each other are in tune, simulated (SEED=1 COUNT=100); fails where a goal is missed
	go run ./internal/tools/coupling -seed $(SEED) -count $(COUNT)

soak: need-test ## ten minutes of sound: speed and memory against one minute
	go test -count=1 -v -run Soak ./internal/evidence -args -soak

screenshots: need-test ## pictures of every view of the page at three sizes, to docs/screens
	go test -count=1 -run Screenshots ./internal/pagetest -args -screenshots $(CURDIR)/docs/screens

lint: ## gofmt, go vet, staticcheck
	@files=$$(gofmt -l cmd internal); [ -z "$$files" ] || { echo "not gofmt'ed:" $$files >&2; exit 1; }
	go vet ./...
	go vet -tags virtualmic ./...
	$(STATIC) ./...

fmt: ## gofmt everything
	gofmt -w cmd internal

fuzz: ## every fuzz target for FUZZTIME each (default 5s)
	@scripts/fuzz.sh $(FUZZTIME)

cross: ## builds without cgo for linux, darwin and windows; the bench for wasm
	@scripts/cross.sh

clean: ## remove what was built
	rm -rf bin out
