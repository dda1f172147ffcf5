package track

import (
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/soniakeys/unit"

	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

func parse(t *testing.T, text string) Table {
	t.Helper()
	table, err := ParseTable(strings.NewReader(text))
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return table
}

// Rows of one time are one picture, brightest first, whatever the order of columns and lines; times come sorted.
func TestParseTableOfStars(t *testing.T) {
	table := parse(t, "\ufeff# measured by hand\r\n Y , X,Mag,MID_UTC,Width,height,exposure_s,colour\r\n"+
		"20,10.25,5.0,2026-11-25T21:31:00Z,400,300,8,red\r\n\r\n"+
		"40,30.5,2.5,2026-11-25 21:30:00.5,400,300,8,\r\n"+
		"60,50,0,2026-11-25T23:31:00+02:00,400,300,8,\r\n")
	if len(table.Fields) != 2 || len(table.Directions) != 0 {
		t.Fatalf("%d pictures, %d directions", len(table.Fields), len(table.Directions))
	}
	a, b := table.Fields[0], table.Fields[1]
	if a.Label != "line 5" || b.Label != "line 3" || len(a.Stars) != 1 || len(b.Stars) != 2 {
		t.Errorf("pictures %q with %d, %q with %d stars", a.Label, len(a.Stars), b.Label, len(b.Stars))
	}
	if s := b.Stars[0]; s.X != 50 || s.Y != 60 || s.Flux != 1 { // magnitude 0 is flux 1 (N. R. Pogson, 1856)
		t.Errorf("the brightest of the second is %+v", s)
	}
	if s := a.Stars[0]; s.Flux != 0.1 || float64(s.ResolutionPx) != 1 {
		t.Errorf("magnitude 2.5 gave flux %g, y in whole pixels a step of %g", s.Flux, s.ResolutionPx)
	}
	mid := time.Date(2026, 11, 25, 21, 30, 0, 5e8, time.UTC)
	if !a.Clock.Mid().Equal(mid) || a.Clock.Exposure != 8*time.Second || a.Width != 400 || a.Height != 300 {
		t.Errorf("clock %v, size %d × %d", a.Clock, a.Width, a.Height)
	}
	if len(table.Notes) != 1 || !table.Notes[0].Same(say.Of("columns passed over", []string{`"colour"`})) {
		t.Errorf("notes %q", table.Notes)
	}
}

// Right ascension counts in hours where it is written in sixtieths, in degrees where not. Betelgeuse in the
// Hipparcos catalogue (ESA, 1997): 05h 55m 10.31s, +07° 24′ 25.4″, or 88.79294°, 7.40706°.
func TestParseTableOfDirections(t *testing.T) {
	for _, row := range []string{
		"ra,dec\n2026-11-25T21:30:00Z,05:55:10.31,+07:24:25.4",
		"ra,dec\n2026-11-25T21:30:00Z,5 55 10.31,7 24 25.4",
		"ra,dec\n2026-11-25T21:30:00Z,88.79294,7.40706",
		"ra_deg,dec_deg\n2026-11-25T21:30:00Z,88.79294,7.40706",
	} {
		d := parse(t, "mid_utc,"+row).Directions[0]
		const written = 0.1 // arcseconds, the last digits of the coarser form
		if math.Abs(d.RA.Rad()-unit.AngleFromDeg(88.79294).Rad()) > unit.AngleFromSec(written).Rad() || math.Abs(d.Dec.Sec()-7.40706*3600) > written {
			t.Errorf("%q: %.5f° %.5f°", row, d.RA.Deg(), d.Dec.Deg())
		}
		if r := d.Resolution.Sec(); r < 0.03 || r > 0.16 {
			t.Errorf("%q: written to %.3f″", row, r)
		}
	}
	d := parse(t, "start_utc,exposure_s,ra,dec,roll,sigma_arcsec,roll_sigma_deg,file\n2026-11-25T21:30:00Z,10,88,-0:30:00,350,4,0.1,\"a, b\"\n").Directions[0]
	if !d.HasRoll || math.Abs(d.Roll.Deg()-350) > 1e-9 || math.Abs(d.Sigma.Sec()-4) > 1e-9 || d.Label != "a, b" || math.Abs(d.Dec.Deg()+0.5) > 1e-12 ||
		d.Clock.Mid().Second() != 5 {
		t.Errorf("%+v", d)
	}
}

// Every refusal has its kind, the line, and a way out.
func TestParseTableRefuses(t *testing.T) {
	const stars, look = "mid_utc,x,y\n", "mid_utc,ra,dec\n"
	at := "2026-11-25T21:30:00Z,"
	for name, c := range map[string]struct {
		text string
		kind error
		line int
	}{
		"nothing":              {"", ErrTableEmpty, 0},
		"only comments":        {"# one\n# two\n", ErrTableEmpty, 0},
		"no rows":              {stars, ErrTableEmpty, 0},
		"no header":            {at + "1,2\n", ErrTableHeader, 1},
		"semicolons":           {"mid_utc;x;y\n", ErrTableHeader, 1},
		"no times":             {"x,y\n1,2\n", ErrTableHeader, 1},
		"start alone":          {"start_utc,x,y\n", ErrTableHeader, 1},
		"two kinds":            {"mid_utc,x,y,ra,dec\n", ErrTableHeader, 1},
		"a column twice":       {"mid_utc,x,y,X\n", ErrTableHeader, 1},
		"ra in two units":      {"mid_utc,ra,ra_deg,dec\n", ErrTableHeader, 1},
		"both times":           {"mid_utc,start_utc,x,y\n", ErrTableHeader, 1},
		"width alone":          {"mid_utc,x,y,width\n", ErrTableHeader, 1},
		"not a number":         {stars + at + "1,2\n" + at + "1,two\n", ErrTableRow, 3},
		"NaN":                  {stars + at + "NaN,2\n", ErrTableRow, 2},
		"infinite":             {stars + at + "1,+Inf\n", ErrTableRow, 2},
		"far out":              {stars + at + "1e9,2\n", ErrTableRow, 2},
		"empty":                {stars + at + ",2\n", ErrTableRow, 2},
		"short":                {stars + at + "1\n", ErrTableRow, 2},
		"long":                 {stars + at + "1,2,3\n", ErrTableRow, 2},
		"no date":              {stars + "21:30,1,2\n", ErrTableRow, 2},
		"year":                 {stars + "1726-11-25T21:30:00Z,1,2\n", ErrTableRow, 2},
		"quotes":               {stars + at + "1,\"2\"3\n", ErrTableRow, 2},
		"declination":          {look + at + "10,91\n", ErrTableRow, 2},
		"minutes":              {look + at + "5:61:00,1\n", ErrTableRow, 2},
		"two signs":            {look + at + "5:-1:00,1\n", ErrTableRow, 2},
		"outside":              {"mid_utc,x,y,width,height\n" + at + "500,2,400,300\n", ErrTableRow, 2},
		"too large":            {"mid_utc,x,y,width,height\n" + at + "5,2,60000,60000\n", ErrTableRow, 2},
		"direction twice":      {look + at + "1,2\n" + at + "1,2\n", ErrTableTwice, 3},
		"label at two times":   {"file,mid_utc,x,y\na," + at + "1,2\na,2026-11-25T21:31:00Z,1,2\n", ErrTableTwice, 3},
		"size changes":         {"mid_utc,x,y,width,height\n" + at + "5,2,60,60\n" + at + "5,2,60,61\n", ErrTableTwice, 3},
		"too many stars":       {stars + strings.Repeat(at+"1,2\n", maxTableStars+1), ErrTableSize, maxTableStars + 2},
		"a line without end":   {stars + strings.Repeat("1", 17*maxTableCell), ErrTableRow, 2},
		"a picture, not table": {"\xff\xd8\xff\xe0" + strings.Repeat("\x00\x01", 100), ErrTableHeader, 1},
	} {
		_, err := ParseTable(strings.NewReader(c.text))
		if !errors.Is(err, c.kind) || strings.Contains(err.Error(), fmt.Sprintf(", line %d:", c.line)) != (c.line > 0) || amiss.Ways(err) == nil {
			t.Errorf("%s: %v, want %v on line %d with a hint", name, err, c.kind, c.line)
		}
	}
}

// A column misspelt is named, so that the slip is seen.
func TestParseTableNamesStrangers(t *testing.T) {
	for text, want := range map[string]string{
		"midutc,x,y\n":          `no column mid_utc names the times; "midutc" is no name known here`,
		"mid_utc,xx,y,flux\n":   `it names neither x and y nor ra and dec; "xx" is no name known here`,
		"midutc,ra,dec,sigma\n": `"midutc", "sigma" are no names known here`,
		"x,y\n":                 `no column mid_utc names the times`,
		"a,b,c,d,e,f,mid_utc\n": `"a", "b", "c", "d", … are no names known here`,
		"start_utc,x,y,exp_s\n": `"exp_s" is no name known here`,
	} {
		if _, err := ParseTable(strings.NewReader(text)); err == nil || !strings.HasSuffix(err.Error(), want) {
			t.Errorf("%q: %v; want …%s", text, err, want)
		}
	}
}

type brokenReader struct{ r io.Reader }

func (b brokenReader) Read(p []byte) (int, error) {
	n, err := b.r.Read(p)
	if err == io.EOF {
		err = io.ErrUnexpectedEOF
	}
	return n, err
}

func TestParseTableReaderFails(t *testing.T) {
	_, err := ParseTable(brokenReader{strings.NewReader("mid_utc,x,y\n2026-11-25T21:30:00Z,1,2\n")})
	if !errors.Is(err, ErrTableRead) || !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("%v", err)
	}
}

// repeated gives the same line for ever.
type repeated struct {
	head, line string
	at         int
}

func (r *repeated) Read(p []byte) (n int, err error) {
	for n < len(p) {
		if r.at < len(r.head) {
			p[n] = r.head[r.at]
		} else {
			p[n] = r.line[(r.at-len(r.head))%len(r.line)]
		}
		r.at++
		n++
	}
	return n, nil
}

func TestParseTableWithoutEnd(t *testing.T) {
	_, err := ParseTable(&repeated{head: "mid_utc,x,y\n", line: "# nothing at all\n"})
	if !errors.Is(err, ErrTableSize) {
		t.Errorf("%v", err)
	}
}

// The error found in a table that states none is that put in: unevenly spaced, on a declination that drifts,
// with one wild point; and digits that hide it set the floor.
func TestScatterOfTable(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 5))
	const sigmaSec = 6.0
	var ratios []float64
	for range 200 {
		var b strings.Builder
		b.WriteString("mid_utc,ra_deg,dec_deg,roll_deg\n")
		at := time.Date(2026, 11, 25, 21, 30, 0, 0, time.UTC)
		for i := range 30 {
			at = at.Add(time.Duration(20+rng.IntN(80)) * time.Second)
			dec := 30 + 0.002*float64(i) + rng.NormFloat64()*sigmaSec/3600
			if i == 11 {
				dec += 1
			}
			fmt.Fprintf(&b, "%s,%.5f,%.6f,%.3f\n", at.Format(time.RFC3339), 80.0, dec, math.Mod(359.99+0.001*float64(i)+rng.NormFloat64()*0.02, 360))
		}
		d := parse(t, b.String()).WithErrors().Directions[0]
		ratios = append(ratios, d.Sigma.Sec()/sigmaSec)
		if r := d.RollSigma.Deg() / 0.02; r < 0.4 || r > 2.2 {
			t.Errorf("a roll's σ is %.2f times what was put in", r)
		}
	}
	var mean, square float64
	for _, r := range ratios {
		mean += r / float64(len(ratios))
		square += r * r / float64(len(ratios))
	}
	// Twenty-eight overlapping differences, cut: their root mean square scatters by 20 to 25 % and is low by a few.
	if mean < 0.9 || mean > 1.1 || math.Sqrt(square-mean*mean) > 0.3 {
		t.Errorf("σ found is %.3f ± %.3f of that put in", mean, math.Sqrt(square-mean*mean))
	}
	coarse := parse(t, "mid_utc,ra_deg,dec_deg\n"+strings.Join(func() (rows []string) {
		for i := range 20 {
			rows = append(rows, fmt.Sprintf("2026-11-25T21:%02d:00Z,80.0,30.1", i))
		}
		return rows
	}(), "\n")).WithErrors()
	if got, want := coarse.Directions[0].Sigma.Sec(), 360/math.Sqrt(12); math.Abs(got-want) > 1 {
		t.Errorf("a table written to 0.1° claims ± %.0f″, want %.0f″", got, want)
	}
}

// FuzzParseTable: whatever the bytes, an answer within the bounds or an error with a way out.
func FuzzParseTable(f *testing.F) {
	for _, name := range []string{"positions_tracked_north.csv", "positions_swung_south.csv", "positions_stars_north.csv"} {
		text, err := os.ReadFile("testdata/" + name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text[:min(len(text), 700)])
	}
	f.Add([]byte("\ufeffFile,start_utc,exposure_s,x,y,flux,sigma_px,fwhm_px,width,height,star\n\"a\"\"b\",2026-11-25T21:30:00Z,8,1,2,3,.1,2,400,300,s1\n"))
	f.Add([]byte("mid_utc,ra,dec,roll,sigma_arcsec,roll_sigma_deg\n# x\n2026-11-25T21:30:60Z,5:34:31.9,-0:30:00,3,,\n"))
	f.Add([]byte("mid_utc;x;y\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		table, err := ParseTable(strings.NewReader(string(text)))
		if err != nil {
			if amiss.Ways(err) == nil || err.Error() == "" {
				t.Fatalf("%v has no way out", err)
			}
			return
		}
		if (len(table.Fields) == 0) == (len(table.Directions) == 0) {
			t.Fatal("stars and directions, or neither")
		}
		for _, d := range table.WithErrors().Directions {
			if !(d.Sigma > 0) || math.IsInf(d.Sigma.Rad(), 0) || d.HasRoll && !(d.RollSigma > 0) {
				t.Fatalf("direction without an error: %+v", d)
			}
		}
	})
}
