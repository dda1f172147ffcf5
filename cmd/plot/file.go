package plot

import (
	"bytes"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"trueturn/cmd/markup"
)

// File is drawings as an SVG file of their own, one beneath the other: with the style sheet and the night's black paper. Viewers that
// know no variables in style sheets see the night's colours as well; printed from a browser it is dark on white.
func File(title string, drawings ...markup.Safe) []byte {
	const gap = 16
	var parts bytes.Buffer
	width, height := 0.0, 0.0
	for _, d := range drawings {
		head, rest, w, h := opened(string(d))
		if head == "" {
			continue
		}
		if height > 0 {
			height += gap
		}
		fmt.Fprintf(&parts, "<svg x=\"0\" y=\"%s\" width=\"%s\" height=\"%s\" %s>%s", num(height), num(w), num(h), head, rest)
		width, height = max(width, w), height+h
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" class="plot sheet" width="%s" height="%s" viewBox="0 0 %[1]s %[2]s">`+"\n", num(width), num(height))
	fmt.Fprintf(&b, "<title>%s</title>\n<style>\n%s</style>\n", escape(title), literal(style)+sheetStyle)
	fmt.Fprintf(&b, "<rect class=\"paper\" x=\"0\" y=\"0\" width=\"%s\" height=\"%s\"/>\n%s</svg>\n", num(width), num(height), parts.String())
	return b.Bytes()
}

// sheetStyle: as large as its window is high, on paper up to the window's edge.
const sheetStyle = `svg.plot.sheet { width: auto; height: auto; max-width: 100%; margin: 0 auto; background: #000000; background: var(--paper); }
svg.plot.sheet rect.paper { fill: #000000; fill: var(--paper); stroke: none; }
`

var opening = regexp.MustCompile(`^<svg xmlns="[^"]*" class="[^"]*" (role="img" viewBox="0 0 ([\d.]+) ([\d.]+)" aria-label="[^"]*")>`)

// opened parts a drawing of this package from its opening tag: what of it stays when it stands within another, and its size.
func opened(drawing string) (head, rest string, width, height float64) {
	m := opening.FindStringSubmatch(drawing)
	if m == nil {
		return "", "", 0, 0
	}
	width, _ = strconv.ParseFloat(m[2], 64)
	height, _ = strconv.ParseFloat(m[3], 64)
	return m[1], drawing[len(m[0]):], width, height
}

var (
	variable = regexp.MustCompile(`--(\w+): (#[0-9a-f]{6});`)
	used     = regexp.MustCompile(`([\w-]+): var\(--(\w+)\);`)
)

// literal puts before every use of a variable the colour it has at night.
func literal(css string) string {
	night, _, _ := strings.Cut(css, "@media print")
	colour := map[string]string{}
	for _, m := range variable.FindAllStringSubmatch(night, -1) {
		colour[m[1]] = m[2]
	}
	return used.ReplaceAllStringFunc(css, func(s string) string {
		m := used.FindStringSubmatch(s)
		return m[1] + ": " + colour[m[2]] + "; " + s
	})
}
