#!/bin/sh
# Measures portmatch on N synthetic scenes, first one SEED, and on the ray-traced samples; one line a port goes to accuracy.csv.
set -eu
cd "$(dirname "$0")/.."
pairs=$(mktemp -d)
trap 'rm -rf "$pairs"' EXIT
for f in samples/*.jpg testdata/photos/*.jpg testdata/truth/*.json; do
	ln -s "$PWD/$f" "$pairs/"
done
go run -tags nodynamic ./internal/synth/accuracy -tool bin/portmatch -n "${N:-320}" -seed "${SEED:-1}" -csv accuracy.csv -pairs "$pairs"
