package track

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/drift/frame"
	"trueturn/ephem"
)

// columns are a table's, as its first line names them.
type columns struct {
	names   []string
	at      map[string]int
	unknown []string
	stars   bool
}

// Columns that mean something, of both kinds of table and of either.
var (
	bothColumns      = []string{"file", "mid_utc", "start_utc", "exposure_s"}
	starColumns      = []string{"x", "y", "flux", "mag", "sigma_px", "fwhm_px", "width", "height", "star"}
	directionColumns = []string{"ra", "dec", "ra_deg", "dec_deg", "roll", "roll_deg", "sigma_arcsec", "roll_sigma_deg"}
)

// readColumns takes the first line apart.
func readColumns(record []string, line int) (columns, error) {
	c := columns{at: map[string]int{}}
	fault := func(cause, hint string) (columns, error) {
		return c, badTable(ErrTableHeader, line, cause, hint, nil)
	}
	if len(record) == 1 && strings.ContainsAny(record[0], ";\t") {
		return fault("the columns are not parted by commas", "write commas between columns, and points in numbers")
	}
	for i, name := range record {
		name = strings.ToLower(strings.TrimSpace(name))
		c.names = append(c.names, name)
		if _, twice := c.at[name]; twice && name != "" {
			return fault(fmt.Sprintf("two columns are called %s", short(name)), "leave one out")
		}
		c.at[name] = i
	}
	c.stars = c.has("x") && c.has("y")
	directions := c.has("ra") && c.has("dec") || c.has("ra_deg") && c.has("dec_deg")
	switch {
	case c.stars && directions:
		return fault("both x, y and ra, dec are named", "a table holds stars in pixels or directions, not both")
	case !c.stars && !directions:
		return fault("the first line must name the columns; it names neither x and y nor ra and dec"+c.unheardOf(), hintStars+"; "+hintDirections)
	case !c.has("mid_utc") && !(c.has("start_utc") && c.has("exposure_s")):
		return fault("no column mid_utc names the times"+c.unheardOf(), "add mid_utc, the middle of the exposure in UTC, or start_utc with exposure_s")
	}
	for _, pair := range [][2]string{{"mid_utc", "start_utc"}, {"flux", "mag"}, {"ra", "ra_deg"}, {"dec", "dec_deg"}, {"roll", "roll_deg"}} {
		if c.has(pair[0]) && c.has(pair[1]) {
			return fault(fmt.Sprintf("both %s and %s are named", pair[0], pair[1]), "leave one out")
		}
	}
	if c.has("width") != c.has("height") {
		return fault("width and height go together", "add the other, in pixels, or leave both out")
	}
	return c.sorted(), nil
}

// sorted notes the columns that mean nothing in a table of this kind.
func (c columns) sorted() columns {
	own := directionColumns
	if c.stars {
		own = starColumns
	}
	c.unknown = c.strange(bothColumns, own)
	return c
}

// strange are the names that stand in none of some lists; of many, the first.
func (c columns) strange(known ...[]string) (list []string) {
	for _, name := range c.names {
		if slices.Contains(slices.Concat(known...), name) {
			continue
		}
		if len(list) == 5 {
			list[4] = "…"
			break
		}
		list = append(list, short(name))
	}
	return list
}

// unheardOf tells of names that no table has: one of them may be a slip of the pen.
func (c columns) unheardOf() string {
	switch list := c.strange(bothColumns, starColumns, directionColumns); len(list) {
	case 0:
		return ""
	case 1:
		return "; " + list[0] + " is no name known here"
	default:
		return "; " + strings.Join(list, ", ") + " are no names known here"
	}
}

func (c columns) has(name string) bool { _, ok := c.at[name]; return ok }

// least is how many cells a line must have: those of the columns needed.
func (c columns) least() int {
	need := []string{"ra", "dec", "ra_deg", "dec_deg", "mid_utc", "start_utc"}
	if c.stars {
		need = []string{"x", "y", "mid_utc", "start_utc"}
	}
	least := 0
	for _, name := range need {
		if i, ok := c.at[name]; ok {
			least = max(least, i+1)
		}
	}
	return least
}

// short quotes what stands in a cell, and no more of it than a line can hold.
func short(s string) string {
	if r := []rune(s); len(r) > 30 {
		return strconv.Quote(string(r[:30])) + "…"
	}
	return strconv.Quote(s)
}

// cells are one line's; the first fault met is kept.
type cells struct {
	col    columns
	record []string
	line   int
	err    error
}

func (c *cells) fault(cause, hint string) error {
	if c.err == nil {
		c.err = badTable(ErrTableRow, c.line, cause, hint, nil)
	}
	return c.err
}

// text is a cell; empty where there is none.
func (c *cells) text(name string) string {
	i, ok := c.col.at[name]
	if !ok || i >= len(c.record) {
		return ""
	}
	return strings.TrimSpace(c.record[i])
}

// limits of a number.
type limits struct {
	low, high float64
	need      bool // it must not be empty
}

// number is a cell's number within limits, and the step of its last digit; 0 and 0 where empty.
func (c *cells) number(name string, l limits) (v, step float64) {
	s := c.text(name)
	if s == "" {
		if l.need {
			c.fault(name+" is empty", "write a number, or leave the line out")
		}
		return 0, 0
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		c.fault(fmt.Sprintf("%s is %s, no number", name, short(s)), "write numbers with a decimal point, as in 123.45")
		return 0, 0
	}
	if v < l.low || v > l.high {
		c.fault(fmt.Sprintf("%s is %s, out of range", name, short(s)), fmt.Sprintf("it must lie from %g to %g", l.low, l.high))
		return 0, 0
	}
	return v, lastDigit(s)
}

// lastDigit is the step a number is written in: 0.01 for 3.25.
func lastDigit(s string) float64 {
	exponent := 0
	if i := strings.IndexAny(s, "eE"); i >= 0 {
		exponent, _ = strconv.Atoi(s[i+1:])
		s = s[:i]
	}
	if i := strings.IndexByte(s, '.'); i >= 0 {
		exponent -= len(s) - i - 1
	}
	return math.Pow(10, float64(max(-12, min(exponent, 3))))
}

// clock is a line's time.
func (c *cells) clock() frame.Clock {
	name := "mid_utc"
	if !c.col.has(name) {
		name = "start_utc"
	}
	text := c.text(name)
	at, step, err := frame.ParseUTC(text)
	if err != nil || at.Year() < 1900 || at.Year() > 2100 {
		c.fault(fmt.Sprintf("%s is %s, no date and time", name, short(text)), "write it as 2026-11-25T21:30:00.5Z, a date from 1900 to 2100")
		return frame.Clock{}
	}
	exposure, _ := c.number("exposure_s", limits{0, 86400, name == "start_utc"})
	k := frame.Clock{Start: at, Step: step, Exposure: time.Duration(math.Round(exposure * 1e9)), Source: "table of positions", Told: frame.Told{Zone: frame.ZoneTable}}
	if name == "mid_utc" {
		k.Start = at.Add(-k.Exposure / 2)
	}
	return k
}

// star takes a star's line in.
func (p *tableParser) star(c *cells, label string, clock frame.Clock) error {
	var s TableStar
	var step, stepY, mag float64
	s.X, step = c.number("x", limits{-1, maxTableSide, true})
	s.Y, stepY = c.number("y", limits{-1, maxTableSide, true})
	s.ResolutionPx = float32(max(step, stepY))
	s.SigmaPx, _ = c.number("sigma_px", limits{0, 100, false})
	s.FWHMPx, _ = c.number("fwhm_px", limits{0, 1000, false})
	s.Flux, _ = c.number("flux", limits{-1e30, 1e30, false})
	if mag, _ = c.number("mag", limits{-100, 100, false}); c.text("mag") != "" {
		s.Flux = math.Pow(10, -0.4*mag)
	}
	width, _ := c.number("width", limits{0, maxTableSide, false})
	height, _ := c.number("height", limits{0, maxTableSide, false})
	if width*height > maxTablePixels || width != math.Trunc(width) || height != math.Trunc(height) || (width == 0) != (height == 0) {
		c.fault("width and height make no picture", "give both in whole pixels, 200 million at most in all")
	}
	if width > 0 && (s.X > width || s.Y > height) {
		c.fault("the star stands outside the picture", "check x, y, width and height; pixels count from 0 at the top left")
	}
	if c.err != nil {
		return c.err
	}
	s.ID = strings.Clone(c.text("star"))
	return p.addStar(c, s, TableField{Label: label, Line: c.line, Clock: clock, Width: int(width), Height: int(height)})
}

// maxTablePixels is that of pictures (drift/frame).
const maxTablePixels = 200e6

// addStar puts a star into the picture it belongs to.
func (p *tableParser) addStar(c *cells, s TableStar, own TableField) error {
	key := own.Label
	if key == "" {
		key = "\x00" + own.Clock.Mid().Format(time.RFC3339Nano)
	}
	i, known := p.byName[key]
	if !known {
		if len(p.fields) == maxTablePictures {
			return p.tooMany(c, fmt.Sprintf("more than %d pictures", maxTablePictures))
		}
		if own.Label == "" {
			own.Label = fmt.Sprintf("line %d", c.line)
		}
		i = len(p.fields)
		p.byName[key] = i
		p.fields = append(p.fields, own)
	}
	f := &p.fields[i]
	switch {
	case !f.Clock.Start.Equal(own.Clock.Start) || f.Clock.Exposure != own.Clock.Exposure:
		return p.twice(c, fmt.Sprintf("%s has another time or exposure than on line %d", short(f.Label), f.Line), "give all stars of a picture the same time and exposure")
	case f.Width != own.Width || f.Height != own.Height:
		return p.twice(c, fmt.Sprintf("the picture has another size than on line %d", f.Line), "give all stars of a picture the same width and height")
	case len(f.Stars) == maxTableStars:
		return p.tooMany(c, fmt.Sprintf("more than %d stars in one picture", maxTableStars))
	case p.stars == maxTableAllStars:
		return p.tooMany(c, fmt.Sprintf("more than %d stars", maxTableAllStars))
	}
	s.place = int32(len(f.Stars))
	f.Stars = append(f.Stars, s)
	p.stars++
	return nil
}

func (p *tableParser) tooMany(c *cells, cause string) error {
	return badTable(ErrTableSize, c.line, cause, "leave out the faintest stars, or every other picture", nil)
}

func (p *tableParser) twice(c *cells, cause, hint string) error {
	return badTable(ErrTableTwice, c.line, cause, hint, nil)
}

// direction takes a direction's line in.
func (p *tableParser) direction(c *cells, label string, clock frame.Clock) error {
	d := TableDirection{Label: label, Line: c.line, Clock: clock}
	ra, raStep := c.angle("ra", "ra_deg", 15, limits{-360, 360, true})
	dec, decStep := c.angle("dec", "dec_deg", 1, limits{-90, 90, true})
	d.RA, d.Dec = unit.RAFromDeg(ra), unit.AngleFromDeg(dec)
	d.Resolution = unit.AngleFromDeg(max(raStep*math.Cos(dec*math.Pi/180), decStep))
	sigma, _ := c.number("sigma_arcsec", limits{0, 36000, false})
	d.Sigma = unit.AngleFromSec(sigma)
	for _, name := range []string{"roll", "roll_deg"} {
		if c.text(name) != "" {
			roll, step := c.number(name, limits{-360, 360, true})
			d.HasRoll, d.Roll, d.RollStep = true, unit.AngleFromDeg(roll), unit.AngleFromDeg(step)
		}
	}
	rollSigma, _ := c.number("roll_sigma_deg", limits{0, 180, false})
	d.RollSigma = unit.AngleFromDeg(rollSigma)
	if c.err != nil {
		return c.err
	}
	key := clock.Mid().Format(time.RFC3339Nano)
	if i, twice := p.byName[key]; twice {
		return p.twice(c, fmt.Sprintf("the time is that of line %d", p.look[i].Line), "one time, one direction: leave one out, or mend the times")
	}
	if len(p.look) == maxTablePictures {
		return p.tooMany(c, fmt.Sprintf("more than %d directions", maxTablePictures))
	}
	if d.Label == "" {
		d.Label = fmt.Sprintf("line %d", c.line)
	}
	p.byName[key] = len(p.look)
	p.look = append(p.look, d)
	return nil
}

// angle is a cell's angle in degrees, and its last digit's: degrees in one number, or sexagesimal, of which each
// whole counts for so many degrees. The column that ends in _deg takes degrees alone.
func (c *cells) angle(name, inDegrees string, wholeDeg float64, l limits) (deg, step float64) {
	if c.col.has(inDegrees) {
		return c.number(inDegrees, l)
	}
	s := c.text(name)
	if !strings.ContainsAny(s, ": ") {
		return c.number(name, l)
	}
	v, parts, ok := ephem.Sexagesimal(s, ": ")
	if v *= wholeDeg; !ok || parts < 2 || v < l.low || v > l.high {
		c.fault(fmt.Sprintf("%s is %s, no angle", name, short(s)), "write degrees as 83.633, or hours and degrees in sixtieths: ra 5:34:31.9, dec +22:00:52")
		return 0, 0
	}
	step = lastDigit(s[strings.LastIndexAny(s, ": ")+1:]) / math.Pow(60, float64(parts-1))
	return v, step * wholeDeg
}
