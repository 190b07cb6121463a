package sheet

import (
	"fmt"
	"html/template"
	"image/color"

	"github.com/boombuler/barcode/code128"
)

// codeDrawing is the kit's code as Code 128 (ISO/IEC 15417), which hand scanners and
// telephones read alike. "" for no code.
func codeDrawing(code string) (template.HTML, error) {
	if code == "" {
		return "", nil
	}
	bars, err := code128.Encode(code)
	if err != nil {
		return "", fmt.Errorf("code %q as a barcode: %w", code, err)
	}
	const quiet, height = 10, 50 // modules; the standard asks for 10 of white on each side
	modules := bars.Bounds().Dx()
	d := newDrawing("code", "Barcode of the kit's code")
	d.desc = "Code 128 of " + code + "."
	d.width, d.height = float64(modules+2*quiet), height
	dark := func(x int) bool { return x < modules && bars.At(x, 0) == color.Black }
	for x := 0; x < modules; {
		start := x
		for dark(x) {
			x++
		}
		if x > start {
			d.rect(float64(quiet+start), 0, float64(x-start), height, "module", "")
			continue
		}
		x++
	}
	return d.html(), nil
}
