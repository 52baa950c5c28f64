GO       ?= go
# -buildvcs=false: a clone owned by someone else must still build.
GOFLAGS  += -buildvcs=false
# HEIC is decoded by the code in the binary, never by a library that happens to be installed: one file, one picture.
TAGS      = nodynamic
STATICCHECK = honnef.co/go/tools/cmd/staticcheck@v0.8.2
GOVULNCHECK = golang.org/x/vuln/cmd/govulncheck@v1.9.0
export GOFLAGS

.PHONY: all deps build demo test bench accuracy torture fuzz asan lint clean
all: build

deps:
	@scripts/deps.sh

build: deps
	$(GO) build -tags $(TAGS) -o bin/portmatch ./cmd/portmatch

# The main job on the sample photos: a card, then the gasket against the manifold before grinding.
demo: build
	@scripts/demo.sh

test: deps
	$(GO) vet -tags $(TAGS) ./...
	$(GO) test -tags $(TAGS) -timeout 20m ./...

bench: deps
	@scripts/bench.sh

# N scenes (320 if not set) from number SEED on; CLASS names the classes, KEEP a folder for what goes wrong.
accuracy: build
	@scripts/accuracy.sh

# Processes killed, disks full, photos spoilt: ROUNDS (50) of each fault, SPOILT (99) photos. make test runs a few of each.
torture: build
	@scripts/torture.sh

fuzz: deps
	@scripts/fuzz.sh

# The C code under the address sanitizer.
asan: deps
	$(GO) test -asan -tags $(TAGS) -timeout 60m ./internal/photo ./internal/scalecard

lint: deps
	@out=$$(gofmt -l cmd internal); test -z "$$out" || { echo "gofmt: $$out"; exit 1; }
	$(GO) vet -tags $(TAGS) ./...
	$(GO) run $(STATICCHECK) -tags $(TAGS) ./...
	@scripts/vulncheck.sh "$(GO) run $(GOVULNCHECK) -tags $(TAGS) ./..."

clean:
	rm -rf bin demo-out
