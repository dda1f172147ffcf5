package track

import (
	"bufio"
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/soniakeys/unit"

	"trueturn/drift/frame"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// Table holds positions that were measured elsewhere: stars in pixels, picture by picture, or directions.
// One of Fields and Directions is empty.
type Table struct {
	Fields     []TableField // in the order of time
	Directions []TableDirection
	Notes      []say.Line // what was passed over, or taken for granted
}

// TableField is one picture's stars.
type TableField struct {
	Label         string // the table's name for it; else where it stands, as "line 12"
	Line          int    // of its first star
	Clock         frame.Clock
	Width, Height int // of the picture, pixels; 0 where the table does not say
	Stars         []TableStar
}

// TableStar is one star: x to the right, y down, pixel centres at integers, (0,0) top left. What the table does not
// say is 0 or empty.
type TableStar struct {
	X, Y         float64
	Flux         float64 // in any unit, the same for the whole table; of magnitudes, 10^(−0.4 m)
	SigmaPx      float64 // standard error of X and of Y
	FWHMPx       float64
	ID           string  // the same star in other pictures
	ResolutionPx float32 // the last digit written
	place        int32   // among the picture's lines, to keep an order among equals
}

// TableDirection is where a picture's middle looked, or any other fixed pixel of it. Right ascension and declination
// are ICRS. What the table does not say is 0.
type TableDirection struct {
	Label      string
	Line       int
	Clock      frame.Clock
	RA         unit.RA
	Dec        unit.Angle
	Sigma      unit.Angle // standard error on the sky, along each of two directions at right angles
	Resolution unit.Angle // of the digits written, on the sky
	HasRoll    bool
	Roll       unit.Angle // position angle of "up", north through east
	RollSigma  unit.Angle
	RollStep   unit.Angle // of the digits written
}

// Kinds of failure of [ParseTable], for errors.Is.
var (
	// ErrTableHeader: the line that names the columns is missing, or does not name those needed.
	ErrTableHeader = errors.New("the table's columns are not named as needed")
	// ErrTableRow: a line does not hold what its column should.
	ErrTableRow = errors.New("a line of the table is faulty")
	// ErrTableTwice: two directions at one time, or one label at two.
	ErrTableTwice = errors.New("the table contradicts itself")
	// ErrTableSize: more than the bounds allow.
	ErrTableSize = errors.New("the table is too large")
	// ErrTableEmpty: no row.
	ErrTableEmpty = errors.New("the table is empty")
	// ErrTableRead: the reader failed.
	ErrTableRead = errors.New("the table cannot be read")
)

// badTable says what is wrong with a table, and in which line, from 1; 0: with the table as a whole.
func badTable(kind error, line int, cause, act string, from error) error {
	where := "table of positions"
	if line > 0 {
		where += fmt.Sprintf(", line %d", line)
	}
	return &amiss.Error{Kind: kind, Text: where + ": " + cause, Ways: amiss.Do(act), From: from}
}

// Bounds of a table. The stars of a whole night of pictures stay under them.
const (
	maxTableBytes    = 64 << 20
	maxTablePictures = 10_000
	maxTableStars    = 2000 // a picture
	maxTableAllStars = 500_000
	maxTableSide     = 1 << 16 // pixels; larger than any picture's
	maxTableCell     = 4096    // bytes
)

const (
	hintStars      = "for stars name mid_utc,x,y (one star a line; those of one time are one picture)"
	hintDirections = "for directions name mid_utc,ra,dec or mid_utc,ra_deg,dec_deg, with roll where it is known"
)

// ParseTable reads a table of positions: text, columns parted by commas, the first line naming them in any order and
// case. Lines that are empty or begin with # are skipped, unknown columns as well, with a note.
//
// Of stars: mid_utc (or start_utc and exposure_s), x, y; and where known file, exposure_s, flux or mag, sigma_px, fwhm_px,
// width and height (of the picture), star (a name kept across pictures). Rows of one time and file are one picture.
//
// Of directions: mid_utc (or start_utc and exposure_s), ra and dec (degrees, or h:m:s and d:m:s) or ra_deg and dec_deg, ICRS;
// and where known file, exposure_s, roll or roll_deg (position angle of "up", north through east, degrees), sigma_arcsec, roll_sigma_deg.
//
// The error is of one of the kinds above. Memory stays within twice the table and 100 MB.
func ParseTable(r io.Reader) (Table, error) {
	limited := &io.LimitedReader{R: r, N: maxTableBytes + 1}
	p := &tableParser{text: csv.NewReader(&guardedReader{r: bufio.NewReader(limited)})}
	p.text.FieldsPerRecord = -1
	p.text.Comment = '#'
	p.text.ReuseRecord = true
	p.text.TrimLeadingSpace = true
	err := p.read()
	if limited.N <= 0 {
		err = badTable(ErrTableSize, 0, "larger than 64 MB", "leave out the faintest stars: some hundred a picture are plenty", nil)
	}
	if err != nil {
		return Table{}, err
	}
	return p.table()
}

// guardedReader takes away the mark some programs put before a text, and ends lines that never end: none of a
// table's is longer than a few kilobytes, and the csv reader would hold all of it. A cell in quotes may hold ends of lines.
type guardedReader struct {
	r      *bufio.Reader
	begun  bool
	quoted bool
	length int
}

var errLongLine = errors.New("a line longer than any table's")

func (g *guardedReader) Read(b []byte) (int, error) {
	if !g.begun {
		g.begun = true
		if mark, err := g.r.Peek(3); err == nil && string(mark) == "\ufeff" {
			g.r.Discard(3)
		}
	}
	n, err := g.r.Read(b)
	for _, c := range b[:n] {
		g.length++
		switch {
		case c == '"':
			g.quoted = !g.quoted
		case c == '\n' && !g.quoted:
			g.length = 0
		}
		if g.length > 16*maxTableCell {
			return 0, errLongLine
		}
	}
	return n, err
}

// tableParser reads a table line by line.
type tableParser struct {
	text   *csv.Reader
	col    columns
	line   int
	stars  int
	byName map[string]int // picture by label or time
	fields []TableField
	look   []TableDirection
	notes  []say.Line
}

func (p *tableParser) read() error {
	record, err := p.next()
	switch {
	case errors.Is(err, io.EOF):
		return badTable(ErrTableEmpty, 0, "it is empty", hintStars+"; "+hintDirections, nil)
	case err != nil:
		return err
	}
	if p.col, err = readColumns(record, p.line); err != nil {
		return err
	}
	if len(p.col.unknown) > 0 {
		p.notes = append(p.notes, say.Of("columns passed over", p.col.unknown))
	}
	p.byName = map[string]int{}
	for {
		record, err := p.next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err == nil {
			err = p.row(record)
		}
		if err != nil {
			return err
		}
	}
}

// next is the next line's cells; io.EOF after the last.
func (p *tableParser) next() ([]string, error) {
	record, err := p.text.Read()
	var broken *csv.ParseError
	switch {
	case err == nil:
		p.line, _ = p.text.FieldPos(0)
		return record, nil
	case errors.Is(err, io.EOF):
		return nil, io.EOF
	case errors.As(err, &broken):
		return nil, badTable(ErrTableRow, broken.StartLine, "a quotation mark stands where none can", "double quotes enclose a whole cell; leave them out where no comma is within", err)
	case errors.Is(err, errLongLine):
		return nil, badTable(ErrTableRow, p.line+1, "the line does not end", "a table is text with one star or picture a line; this may be another kind of file", err)
	}
	return nil, badTable(ErrTableRead, 0, fmt.Sprintf("it cannot be read after line %d", p.line), "check the file and that you may read it", err)
}

// row takes one line in.
func (p *tableParser) row(record []string) error {
	if len(record) == 1 && strings.TrimSpace(record[0]) == "" {
		return nil
	}
	c := cells{col: p.col, record: record, line: p.line}
	if len(record) > len(p.col.names) || len(record) < p.col.least() {
		return c.fault(fmt.Sprintf("%d cells where %d columns are named", len(record), len(p.col.names)), "write one cell for each column, empty where not known")
	}
	clock := c.clock()
	label := strings.Clone(c.text("file"))
	if c.err != nil {
		return c.err
	}
	if p.col.stars {
		return p.star(&c, label, clock)
	}
	return p.direction(&c, label, clock)
}

// table is what was read, in order.
func (p *tableParser) table() (Table, error) {
	if len(p.fields)+len(p.look) == 0 {
		return Table{}, badTable(ErrTableEmpty, 0, "it names its columns, but has no row", "add a line for each star or direction", nil)
	}
	slices.SortStableFunc(p.fields, func(a, b TableField) int { return a.Clock.Mid().Compare(b.Clock.Mid()) })
	slices.SortStableFunc(p.look, func(a, b TableDirection) int { return a.Clock.Mid().Compare(b.Clock.Mid()) })
	for i := range p.fields {
		f := &p.fields[i]
		slices.SortFunc(f.Stars, func(a, b TableStar) int {
			return cmp.Or(cmp.Compare(b.Flux, a.Flux), cmp.Compare(a.place, b.place))
		})
	}
	return Table{Fields: p.fields, Directions: p.look, Notes: p.notes}, nil
}
