#!/bin/sh
# Measures portmatch on N synthetic scenes, first one SEED, and on the ray-traced samples; one line a port goes to CSV. With
# SPOILT the samples are spoilt in so many ways instead. CLASS names the classes or kinds, with commas between; what went wrong
# is copied into KEEP.
set -eu
cd "$(dirname "$0")/.."
pairs=$(mktemp -d)
trap 'rm -rf "$pairs"' EXIT
for f in samples/*.jpg testdata/photos/*.jpg testdata/truth/*.json; do
	ln -s "$PWD/$f" "$pairs/"
done
go run -tags nodynamic ./internal/synth/accuracy -tool bin/portmatch -n "${N:-320}" -seed "${SEED:-1}" -class "${CLASS:-}" -spoilt "${SPOILT:-0}" \
	-keep "${KEEP:-}" -csv "${CSV:-accuracy.csv}" -pairs "$pairs" -v
