#!/usr/bin/env bash
# instructions.sh DIR: reads the strums of DIR with builds for two sets of amd64 instructions, of which one multiplies
# and adds in one rounding (FMA) and the other in two, as wasm does. At most one string in a thousand may be said to
# sound by one and not by the other, or differ by more than 0.1 of its σ.
set -euo pipefail

dir=$(mktemp -d)
trap 'rm -rf "$dir"' EXIT
for set in v1 v3; do
	GOAMD64=$set go build -o "$dir/$set" ./internal/tools/recordings
	fused=$(GOAMD64=$set go build -gcflags=-S ./internal/ensemble 2>&1 | grep -c VFMADD || true)
	echo "GOAMD64=$set: $fused fused instructions in internal/ensemble"
	"$dir/$set" -readings "$1" >"$dir/$set.txt"
done
paste -d ' ' "$dir/v1.txt" "$dir/v3.txt" | awk '
	$1 != $6 || $2 != $7 { print "not the same strings: " $0; exit 2 }
	$3 != $8 { print $1, $2 ": " $3 ", " $8; other++; next }
	$4 > 0 { off = 1200 / log(2) * log($9 / $4); if (off < 0) off = -off; if (off > 0.1 * $5) { print $1, $2 ": " off " cents apart, σ " $5; other++ } }
	END { printf "%d strings, %d differ\n", NR, other; exit other > NR / 1000 }'
