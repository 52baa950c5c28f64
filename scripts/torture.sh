#!/bin/sh
# Everything that can go wrong, often: processes killed, disks full, permissions taken away, two runs at once, in the job folder
# and in the whole program, then photos spoilt in every way. Ends with a status if anything is lost or anything crashes.
set -eu
cd "$(dirname "$0")/.."
rounds=${ROUNDS:-50}
echo "Faults, $rounds of each"
faults() {
	PORTMATCH_TORTURE=$rounds go test -tags nodynamic -count 1 -v -timeout 30m -run "$2" "./$1" >"$out" 2>&1 || {
		cat "$out"
		exit 1
	}
	sed -n 's/^ *\([a-z_]*_test.go\|torture.go\):[0-9]*: /  /p' "$out"
}
out=$(mktemp)
trap 'rm -f "$out"' EXIT
faults internal/job 'Killed|TwoProcesses|TwoMatches|FullDisk|PermissionTakenAway|ClockSetBack|CutOff'
faults cmd/portmatch 'KilledProgram|InterruptedRecheck|FullDiskProgram|TwoPrograms|PeakMemory'
echo "Spoilt photos"
N=0 SPOILT="${SPOILT:-99}" CSV=/dev/null scripts/accuracy.sh
