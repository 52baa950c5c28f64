#!/bin/sh
# Runs govulncheck. Where its database can't be reached (no network), that is said and is not a failure: nothing was
# found wrong, nothing was checked either.
set -u
out=$($1 2>&1)
rc=$?
printf '%s\n' "$out"
case $out in
*"fetching vulnerabilities"*)
	echo "vulncheck: NOT CHECKED, the vulnerability database can't be reached from here" >&2
	exit 0
	;;
esac
exit $rc
