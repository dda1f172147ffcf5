package ephem

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"
)

// row is one line of a reference file under testdata/authorities, by column. How
// the files were made, and by which library, stands in ephem_reference.py there.
type row struct {
	t     *testing.T
	place string // file and line, for messages
	value map[string]string
}

func reference(t *testing.T, name string) []row {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "testdata", "authorities", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	records, err := r.ReadAll()
	if err != nil || len(records) < 2 {
		t.Fatalf("%s: %d lines, %v", name, len(records), err)
	}
	var rows []row
	for i, record := range records[1:] {
		// One line of comment and one of names stand above the first.
		x := row{t, name + ":" + strconv.Itoa(i+3), map[string]string{}}
		for j, column := range records[0] {
			x.value[column] = record[j]
		}
		rows = append(rows, x)
	}
	return rows
}

func (r row) number(column string) float64 {
	r.t.Helper()
	x, err := strconv.ParseFloat(r.value[column], 64)
	if err != nil {
		r.t.Fatalf("%s: column %s: %v", r.place, column, err)
	}
	return x
}

func (r row) angle(column string) unit.Angle { return unit.AngleFromDeg(r.number(column)) }

func (r row) time() time.Time {
	r.t.Helper()
	t, err := time.Parse(time.RFC3339, r.value["utc"])
	if err != nil {
		r.t.Fatalf("%s: %v", r.place, err)
	}
	return t
}

func (r row) sky() Sky {
	r.t.Helper()
	site, err := NewSite(r.number("lat"), r.number("lon"), r.number("height_m"))
	if err != nil {
		r.t.Fatal(err)
	}
	sky, err := NewSky(site, Air{r.number("temperature_c"), r.number("pressure_hpa")}, r.time())
	if err != nil {
		r.t.Fatal(err)
	}
	return sky
}

func (r row) star() r3.Vec { return Direction(unit.RA(r.angle("ra")), r.angle("dec")) }

// separation is the angle between two directions, exact for small ones.
func separation(a, b r3.Vec) unit.Angle {
	return unit.Angle(math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b)))
}

// worst keeps the largest of many differences, and where it was met.
type worst struct {
	size  float64
	place string
}

func (w *worst) see(size float64, place string) {
	if size = math.Abs(size); size > w.size || math.IsNaN(size) {
		*w = worst{size, place}
	}
}

func (w *worst) under(t *testing.T, what string, toleranceArcsec float64) {
	t.Helper()
	t.Logf("%s: at most %.3g″, at %s", what, w.size, w.place)
	if !(w.size <= toleranceArcsec) {
		t.Errorf("%s: %.4g″ at %s, tolerance %g″", what, w.size, w.place, toleranceArcsec)
	}
}
