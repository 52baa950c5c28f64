#!/bin/sh
# Times match beside OpenCV's bare decode and adds the rows to BENCHMARKS.md. RUNS and MP may be set.
set -eu
cd "$(dirname "$0")/.."
tmp=$(mktemp -d)
trap 'rm -rf "$tmp"' EXIT
go build -tags nodynamic -o "$tmp/portmatch" ./cmd/portmatch
go test -tags nodynamic -c -o "$tmp/photo.test" ./internal/photo
go run scripts/bench.go -portmatch "$tmp/portmatch" -decode "$tmp/photo.test" -runs "${RUNS:-10}" -mp "${MP:-3,12,48}" >"$tmp/rows"
{
	printf '\n## %s\n\n' "$(date -u +%Y-%m-%d)"
	cat "$tmp/rows"
} | tee -a BENCHMARKS.md
