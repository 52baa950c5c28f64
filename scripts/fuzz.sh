#!/bin/sh
# Runs every fuzzer of the tree for a while each (FUZZTIME, a minute if not set); the first finding ends it.
set -eu
cd "$(dirname "$0")/.."
n=0
for file in $(grep -rl --include='*_test.go' '^func Fuzz' cmd internal | sort); do
	for name in $(sed -n 's/^func \(Fuzz[A-Za-z0-9_]*\)(.*/\1/p' "$file"); do
		echo "$name in $(dirname "$file")"
		# Inputs that reach new code are made smaller for a whole minute each unless told otherwise: nothing else would be tried.
		go test -tags nodynamic -run '^$' -fuzz "^$name\$" -fuzztime "${FUZZTIME:-60s}" -fuzzminimizetime 20x "./$(dirname "$file")"
		n=$((n + 1))
	done
done
echo "$n fuzzers, nothing found"
