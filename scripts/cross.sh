#!/usr/bin/env bash
# cross.sh: the program builds without cgo for three systems, and the engine's arithmetic for
# a browser: what has no device in it stays free of devices.
set -euo pipefail

for os in linux darwin windows; do
	echo "build $os without cgo"
	CGO_ENABLED=0 GOOS=$os GOARCH=amd64 go build -o /dev/null ./cmd/tunerd
done
echo "build pitch, targets, beats, setup, detune, coupling, tension and journal for wasm"
CGO_ENABLED=0 GOOS=js GOARCH=wasm go build ./internal/pitch/... ./internal/ensemble ./internal/targets/... ./internal/beats ./internal/setup ./internal/detune ./internal/coupling/... ./internal/tension ./internal/journal
