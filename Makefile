# One set of flags everywhere: go-sqlite3 takes a minute to compile for each new set.
export CGO_ENABLED := 1
TAGS := sqlite_omit_load_extension,osusergo,netgo
GO   := go
export GOFLAGS := -tags=$(TAGS)

.PHONY: help run test check bench soak dist clean

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

dist: ## static binary for this machine, in dist/
	$(GO) build -trimpath -ldflags '-s -w -linkmode external -extldflags -static' -o dist/stallkeeper ./cmd/stallkeeper

clean: ## remove what was built
	rm -rf dist stallkeeper stallkeeper-probe
