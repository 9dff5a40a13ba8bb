// Package licences holds the licence texts of everything that is linked or built into the programs: the project's own, Go's, each module's with
// its notices, the curve drawing of the pages and the font of the document. Most of them ask that their text goes along with a
// binary; here it is inside. Where a module leaves a choice, only the licence that is used stands here (of the MQTT client the Eclipse
// Distribution License 1.0).
package licences

import (
	"bytes"
	"embed"
	"fmt"
	"io"
	"io/fs"
	"path"
	"strings"
)

//go:embed texts
var texts embed.FS

// Write writes all texts, each under the name of what it is of, in the order of these names.
func Write(w io.Writer) error {
	return fs.WalkDir(texts, "texts", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := texts.ReadFile(name)
		if err != nil {
			return err
		}
		of := strings.TrimPrefix(path.Dir(name), "texts/")
		_, err = fmt.Fprintf(w, "== %s (%s)\n\n%s\n\n", of, path.Base(name), bytes.TrimSpace(text))
		return err
	})
}
