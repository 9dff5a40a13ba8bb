# One set of flags everywhere: go-sqlite3 takes a minute to compile for each new set.
export CGO_ENABLED := 1
TAGS := sqlite_omit_load_extension,osusergo,netgo
GO   := go
export GOFLAGS := -tags=$(TAGS)

.PHONY: help run test check bench soak dist dist-check clean

help: ## print this list
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 12

run: ## build, and watch an invented overnight cook
	$(GO) run ./cmd/stallkeeper demo

test: check ## check, then every test
	$(GO) test -timeout 20m ./...

check: ## formatting, vet and the map of the project
	@test -z "$$(gofmt -l . | tee /dev/stderr)" || { echo "gofmt -w these files" >&2; exit 1; }
	$(GO) vet ./...

bench: ## measure: forecasts, store and intake on this machine
	$(GO) test -run '^$$' -bench . -benchmem ./...

soak: ## a day of readings and a hundred kills for each broker
	STALLKEEPER_SOAK=1 STALLKEEPER_REQUIRE=1 $(GO) test -timeout 90m -count=1 -v -run 'Soak|Kill' ./...

dist: ## static stallkeeper for this machine, and the probe program for amd64, arm64 and armv7, with the licences, in dist/
	$(GO) build -trimpath -ldflags '-s -w -linkmode external -extldflags -static' -o dist/stallkeeper ./cmd/stallkeeper
	dist/stallkeeper licences > dist/licences.txt # goes along with every binary
	CGO_ENABLED=0 GOARCH=amd64 $(GO) build -trimpath -ldflags '-s -w' -o dist/stallkeeper-probe-amd64 ./cmd/stallkeeper-probe
	CGO_ENABLED=0 GOARCH=arm64 $(GO) build -trimpath -ldflags '-s -w' -o dist/stallkeeper-probe-arm64 ./cmd/stallkeeper-probe
	CGO_ENABLED=0 GOARCH=arm GOARM=7 $(GO) build -trimpath -ldflags '-s -w' -o dist/stallkeeper-probe-armv7 ./cmd/stallkeeper-probe

PROBE := ./cmd/stallkeeper-probe/... ./internal/convert ./internal/calibrate
STATIC := -s -w -linkmode external -extldflags -static
ARM64 := CC=aarch64-linux-gnu-gcc GOARCH=arm64
ARMV7 := CC=arm-linux-gnueabihf-gcc GOARCH=arm GOARM=7
# What runs on a board: store and intake, and what a reading passes. Tests that start their own binary again (kills, the file limit) cannot, emulated.
BOARD := ./internal/store ./internal/ingest ./internal/cook ./internal/sense ./internal/record
SKIP  := Kill|FileLimit

dist-check: ## both programs for arm64 and armv7, and their tests emulated (needs qemu-user-static, gcc-aarch64-linux-gnu, gcc-arm-linux-gnueabihf)
	CGO_ENABLED=0 GOARCH=arm64 $(GO) test -exec qemu-aarch64-static $(PROBE)
	CGO_ENABLED=0 GOARCH=arm GOARM=7 $(GO) test -exec qemu-arm-static $(PROBE)
	$(ARM64) $(GO) build -trimpath -ldflags '$(STATIC)' -o dist/stallkeeper-arm64 ./cmd/stallkeeper
	$(ARMV7) $(GO) build -trimpath -ldflags '$(STATIC)' -o dist/stallkeeper-armv7 ./cmd/stallkeeper
	qemu-aarch64-static dist/stallkeeper-arm64 probe convert --kind pt100 --ohms 138.51
	qemu-arm-static dist/stallkeeper-armv7 probe convert --kind pt100 --ohms 138.51
	$(ARM64) $(GO) test -short -skip '$(SKIP)' -ldflags '$(STATIC)' -exec qemu-aarch64-static $(BOARD)
	$(ARMV7) $(GO) test -short -skip '$(SKIP)' -ldflags '$(STATIC)' -exec qemu-arm-static $(BOARD)

clean: ## remove what was built
	rm -rf dist stallkeeper stallkeeper-probe
