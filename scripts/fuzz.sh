#!/usr/bin/env bash
# fuzz.sh TIME: runs every fuzz target of the module for TIME, one after the other.
set -euo pipefail

for package in $(go list ./...); do
	dir=$(go list -f '{{.Dir}}' "$package")
	grep -qs '^func Fuzz' "$dir"/*_test.go || continue
	for target in $(sed -n 's/^func \(Fuzz[A-Za-z0-9_]*\)(.*/\1/p' "$dir"/*_test.go); do
		echo "fuzz $package $target"
		go test -run '^$' -fuzz "^$target\$" -fuzztime "$1" -fuzzminimizetime 10x "$package"
	done
done
