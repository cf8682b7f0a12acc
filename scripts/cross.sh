#!/usr/bin/env bash
# cross.sh: the program builds without cgo for three systems, and what a view can ask for a browser, with all that it
# needs: what has no device in it stays free of devices.
set -euo pipefail

for os in linux darwin windows; do
	echo "build $os without cgo"
	CGO_ENABLED=0 GOOS=$os GOARCH=amd64 go build -o /dev/null ./cmd/tunerd
done
echo "build bench and what it needs, tension and journal for wasm"
CGO_ENABLED=0 GOOS=js GOARCH=wasm go build ./internal/bench ./internal/pitch/... ./internal/tension ./internal/journal
