package frame

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"

	"stallkeeper/internal/cook"
)

//go:embed assets
var assetFiles embed.FS

// asset is an embedded file as it goes out.
type asset struct {
	kind   string
	etag   string
	plain  []byte
	zipped []byte // nil when it would not be smaller
}

// readAssets packs every asset once.
func readAssets() (map[string]asset, error) {
	out := map[string]asset{}
	err := fs.WalkDir(assetFiles, "assets", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := assetFiles.ReadFile(name)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(data)
		a := asset{kind: kindOf(name), etag: `"` + hex.EncodeToString(sum[:8]) + `"`, plain: data}
		var small bytes.Buffer
		z, err := gzip.NewWriterLevel(&small, gzip.BestCompression)
		if err != nil {
			return err
		}
		if _, err := z.Write(data); err != nil {
			return err
		}
		if err := z.Close(); err != nil {
			return err
		}
		if small.Len() < len(data) {
			a.zipped = small.Bytes()
		}
		out[strings.TrimPrefix(name, "assets/")] = a
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read embedded assets: %w", err)
	}
	return out, nil
}

// kindOf is the media type by the name alone: what the machine says about extensions must not change an answer.
func kindOf(name string) string {
	switch path.Ext(name) {
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".css":
		return "text/css; charset=utf-8"
	case ".svg":
		return "image/svg+xml"
	}
	return mime.FormatMediaType("text/plain", map[string]string{"charset": "utf-8"})
}

// Asset sends an embedded file, packed where the browser takes it, and not again while it is the same.
func (p *Pages) Asset(w http.ResponseWriter, r *http.Request) {
	a, ok := p.assets[r.PathValue("name")]
	if !ok {
		p.Fail(w, r, fmt.Errorf("asset %q: %w", r.PathValue("name"), cook.ErrNotFound))
		return
	}
	h := w.Header()
	h.Set("Content-Type", a.kind)
	h.Set("Cache-Control", "no-cache")
	h.Set("ETag", a.etag)
	h.Set("Vary", "Accept-Encoding")
	if r.Header.Get("If-None-Match") == a.etag {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	body := a.plain
	if a.zipped != nil && strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		body = a.zipped
	}
	if _, err := w.Write(body); err != nil {
		p.Log.Debug("asset not taken", "path", r.URL.Path, "error", err)
	}
}
