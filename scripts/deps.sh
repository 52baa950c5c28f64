#!/bin/sh
# Installs what portmatch needs on Debian 12, and only what is missing; a second run installs nothing.
set -eu
cd "$(dirname "$0")/.."

fail() {
	printf 'deps: %s\n' "$*" >&2
	exit 1
}

need=$(sed -n 's/^go \([0-9.]*\)$/\1/p' go.mod)
if ! command -v go >/dev/null 2>&1; then
	fail "Go is not installed (no 'go' on the PATH). Go $need or newer is needed; Debian 12's own golang package is too old. See https://go.dev/doc/install"
fi
# Asked outside the module: inside it an older Go stops at go.mod's first line with a message of its own.
have=$(cd / && GOTOOLCHAIN=local go env GOVERSION 2>/dev/null | sed 's/^go//; s/[^0-9.].*//')
if [ -z "$have" ] || [ "$(printf '%s\n%s\n' "$need" "$have" | sort -V | head -n 1)" != "$need" ]; then
	fail "Go ${have:-of unknown version} is too old: Go $need or newer is needed. See https://go.dev/doc/install"
fi

# libopencv-dev, libjpeg62-turbo-dev: pictures; libapriltag-dev: the strips' tags; poppler-utils: the tests that read the PDFs back.
missing=
for p in libopencv-dev libjpeg62-turbo-dev libapriltag-dev poppler-utils pkg-config; do
	case $(dpkg-query -W -f='${Status}' "$p" 2>/dev/null) in
	"install ok installed") ;;
	*) missing="$missing $p" ;;
	esac
done
for tool in gcc g++; do
	command -v $tool >/dev/null 2>&1 || missing="$missing $tool"
done
[ -z "$missing" ] && exit 0

command -v apt-get >/dev/null 2>&1 || fail "missing:$missing. There is no apt-get here; install them by hand"
sudo=
if [ "$(id -u)" != 0 ]; then
	command -v sudo >/dev/null 2>&1 || fail "missing:$missing. Run as root: apt-get install$missing"
	sudo=sudo
fi
printf 'deps: installing%s\n' "$missing" >&2
$sudo apt-get update -qq
# shellcheck disable=SC2086 # the list is meant to split
$sudo env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing
