package face

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"trueturn/align"
	"trueturn/cmd/kit"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/catalog"
)

// value is a flag that checks what it is given while the line is read.
type value struct {
	kind string // placeholder in the help
	text string // what it holds, as typed; at first the default
	set  func(string) error
}

func (v *value) String() string { return v.text }
func (v *value) Type() string   { return v.kind }

func (v *value) Set(s string) error {
	v.text = s
	return v.set(s)
}

// parseNumber reads a plain decimal number; nobody types NaN, infinity or
// hexadecimal for a lens on purpose.
func parseNumber(s string) (float64, error) {
	s = strings.Replace(strings.TrimSpace(s), "−", "-", 1) // as this program prints it
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || strings.Trim(s, "+-.0123456789eE") != "" || math.IsInf(x, 0) {
		return 0, amiss.New(nil, "not a number", "write a decimal number, as in 12.5")
	}
	return x, nil
}

// between is a flag's number from low to high.
func between(kind string, p *float64, low, high float64) *value {
	v := &value{kind: kind, set: func(s string) error {
		x, err := parseNumber(s)
		if err != nil {
			return err
		}
		if x < low || x > high {
			return outside(low, high)
		}
		*p = x
		return nil
	}}
	if *p != 0 {
		v.text = strconv.FormatFloat(*p, 'g', -1, 64)
	}
	return v
}

// given is a flag's number from low to high that may also not be given at all.
func given(kind string, p **float64, low, high float64) *value {
	var x float64
	v := between(kind, &x, low, high)
	read := v.set
	v.set = func(s string) error {
		if err := read(s); err != nil {
			return err
		}
		*p = &x
		return nil
	}
	return v
}

func outside(low, high float64) error {
	return amiss.New(nil, "out of range", fmt.Sprintf("choose a value from %g to %g", low, high))
}

// seconds is a flag's time, in seconds, from low to high.
func seconds(p *time.Duration, low, high float64) *value {
	v := &value{kind: "SECONDS", set: func(s string) error {
		x, err := parseNumber(s)
		if err != nil {
			return err
		}
		if x < low || x > high {
			return outside(low, high)
		}
		*p = time.Duration(math.Round(x * float64(time.Second)))
		return nil
	}}
	if *p != 0 {
		v.text = strconv.FormatFloat(p.Seconds(), 'g', -1, 64)
	}
	return v
}

// numbers reads a list of decimal numbers parted by commas.
func numbers(s string) ([]float64, error) {
	var list []float64
	for _, field := range strings.Split(s, ",") {
		x, err := parseNumber(field)
		if err != nil {
			return nil, err
		}
		list = append(list, x)
	}
	return list, nil
}

// target is a flag's place in the sky.
func target(p **align.Target) *value {
	return &value{kind: "RA,Dec|NAME", set: func(s string) error {
		t, err := place(s)
		if err != nil {
			return err
		}
		*p = &align.Target{}
		(*p).RA, (*p).Dec = ephem.RADec(t.Direction)
		return nil
	}}
}

// placeWords say in a flag's help how a place in the sky is written.
const placeWords = `degrees, h:m:s,d:m:s, or a name like M42, "orion nebula", Vega`

// place takes what has a comma for right ascension and declination, and all else for a name.
func place(s string) (catalog.Showpiece, error) {
	if !strings.Contains(s, ",") {
		return catalog.Place(s)
	}
	t, err := align.ParseTarget(s)
	if err != nil {
		return catalog.Showpiece{}, err
	}
	return catalog.Showpiece{Designation: strings.TrimSpace(s), Kind: "place", Direction: ephem.Direction(t.RA, t.Dec)}, nil
}

// instant is a flag's date and time.
func instant(p *time.Time) *value {
	return &value{kind: "UTC", set: func(s string) error {
		at, err := time.Parse(time.RFC3339Nano, s)
		if err != nil {
			return amiss.New(nil, "not a date and time", "write it as 2026-11-25T21:30:00Z")
		}
		if y := at.UTC().Year(); y < 1900 || y > 2100 {
			return amiss.New(nil, "out of range", "choose a date from 1900 to 2100")
		}
		*p = at.UTC()
		return nil
	}}
}

// air is a flag's temperature and pressure.
func air(p **ephem.Air) *value {
	return &value{kind: "T_C,HPA", set: func(s string) error {
		a, err := ephem.ParseAir(s)
		*p = &a
		return err
	}}
}

// fNumber is a flag's f-number.
func fNumber(p *float64) *value { return between("N", p, 0.3, 128) }

// parseWobble reads the size and the period of an uneven gear.
func parseWobble(s string) (arcsec float64, period time.Duration, err error) {
	v, err := numbers(s)
	switch {
	case err != nil:
		return 0, 0, err
	case len(v) != 2 || v[0] < 0 || v[0] > 36000 || v[1] < 1 || v[1] > 1e6:
		return 0, 0, amiss.New(nil, "not a size and a period", "write arcseconds peak to peak and a period of a second or more, as in 60,480")
	}
	return v[0], time.Duration(v[1] * float64(time.Second)), nil
}

// zone is a flag's time zone.
func zone(p **time.Location) *value {
	return &value{kind: "+HH:MM|NAME", set: func(s string) (err error) {
		*p, err = kit.Zone(s)
		return err
	}}
}
