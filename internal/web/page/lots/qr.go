package lots

import (
	"fmt"
	"image/color"
	"net/http"
	"net/url"
	"strings"

	"github.com/boombuler/barcode/qr"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/visitor"
)

// quietZone is the white border of a QR code, in modules: four are asked for (ISO/IEC 18004, from memory).
const quietZone = 4

// qrSVG draws a text as a QR code that survives a quarter of its area being spoiled, as labels in a freezer are.
func qrSVG(text string) (string, error) {
	code, err := qr.Encode(text, qr.Q, qr.Auto)
	if err != nil {
		return "", fmt.Errorf("draw QR code: %w", err)
	}
	box := code.Bounds()
	size := box.Dx() + 2*quietZone
	var path strings.Builder
	for y := box.Min.Y; y < box.Max.Y; y++ {
		for x := box.Min.X; x < box.Max.X; x++ {
			if gray, ok := color.GrayModel.Convert(code.At(x, y)).(color.Gray); ok && gray.Y < 128 {
				fmt.Fprintf(&path, "M%d %dh1v1h-1z", x+quietZone, y+quietZone)
			}
		}
	}
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" shape-rendering="crispEdges"><rect width="%d" height="%d" fill="#fff"/><path d="%s" fill="#000"/></svg>`,
		size, size, size, size, path.String()), nil
}

// lotMark is what the code of a lot says: its page where another device can reach it, else its name.
func (p *Set) lotMark(r *http.Request, id cook.LotID) string {
	if visitor.LoopbackHost(r.Host) {
		return "LOT " + string(id)
	}
	scheme := "http"
	if p.Secure {
		scheme = "https"
	}
	return (&url.URL{Scheme: scheme, Host: r.Host, Path: "/lots/" + string(id)}).String()
}

func (p *Set) getQR(w http.ResponseWriter, r *http.Request) error {
	lot, err := p.Records.Lot(r.Context(), cook.LotID(r.PathValue("lot")))
	if err != nil {
		return err
	}
	text, err := qrSVG(p.lotMark(r, lot.ID))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	w.Header().Set("Cache-Control", "no-store")
	if _, err := w.Write([]byte(text)); err != nil {
		p.Log.Debug("QR code not taken", "error", err)
	}
	return nil
}
