#!/usr/bin/env bash
# fuzz.sh TIME: runs every fuzz target of the module for TIME, one after the other.
#
# When its time is up in the middle of an input, the go command sometimes reports "context deadline
# exceeded" as a failure. No input failed then: a failing one is always
# written to testdata and named.
set -euo pipefail

for package in $(go list ./...); do
	dir=$(go list -f '{{.Dir}}' "$package")
	grep -qs '^func Fuzz' "$dir"/*_test.go || continue
	for target in $(sed -n 's/^func \(Fuzz[A-Za-z0-9_]*\)(.*/\1/p' "$dir"/*_test.go); do
		echo "fuzz $package $target"
		if out=$(go test -run '^$' -fuzz "^$target\$" -fuzztime "$1" -fuzzminimizetime 10x "$package" 2>&1); then
			tail -n 2 <<<"$out"
		elif grep -q 'context deadline exceeded' <<<"$out" && ! grep -qE 'Failing input|panic:|_test\.go:' <<<"$out"; then
			echo "time was up; no input failed"
		else
			echo "$out"
			exit 1
		fi
	done
done
