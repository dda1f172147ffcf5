package catalog

import (
	"compress/flate"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/soniakeys/unit"
	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/catalog/spelling"
)

// A Showpiece is something in the sky people like to photograph: Messier's list, the brightest clusters, nebulae and
// galaxies of the southern sky, and large objects short lenses show. Places are of catalogues of several kinds: those of small objects are
// good to a minute of arc, the middle of a large cluster or nebula to a tenth of its width or 20′.
type Showpiece struct {
	Designation  string     // "M 42", "NGC 7000"
	Name         string     // what people call it; "" where they say the designation
	Kind         string     // "nebula", "open cluster", …, or "star"
	Direction    r3.Vec     // unit vector, ICRS, at J2000.0
	Magnitude    float64    // of all its light; NaN where it is not known
	Extent       unit.Angle // the longest; 0 where it is not known, and of a star
	Designations []string   // and further names
}

// String is the designation and the name: "M 42, Orion Nebula".
func (s Showpiece) String() string {
	switch {
	case s.Name == "" || s.Name == s.Designation:
		return s.Designation
	case s.Designation == "":
		return s.Name
	}
	return s.Designation + ", " + s.Name
}

//go:embed showpieces.bin
var packedShowpieces string

// loadShowpieces unpacks the list when it is first asked for.
var loadShowpieces = sync.OnceValue(func() []Showpiece {
	list, err := unpackShowpieces(packedShowpieces)
	if err != nil {
		// The bytes are part of the program: it was built from a broken file.
		panic("catalog: showpieces.bin: " + err.Error())
	}
	return list
})

// Showpieces are all of them, from d3-celestial's lists (pack/main.go); Messier's come first, which others is our choice. The slice is shared: do not write to it.
func Showpieces() []Showpiece { return loadShowpieces() }

// maxShowpieces bounds what a broken file can make the list take up, in bytes.
const maxShowpieces = 1 << 20

func unpackShowpieces(packed string) ([]Showpiece, error) {
	text, err := io.ReadAll(io.LimitReader(flate.NewReader(strings.NewReader(packed)), maxShowpieces))
	if err != nil {
		return nil, err
	}
	var list []Showpiece
	for line := range strings.Lines(string(text)) {
		s, err := showpiece(strings.Split(strings.TrimSuffix(line, "\n"), "\t"))
		if err != nil {
			return nil, err
		}
		list = append(list, s)
	}
	return list, nil
}

// showpiece reads the fields the command pack writes.
func showpiece(f []string) (Showpiece, error) {
	if len(f) < 7 {
		return Showpiece{}, errors.New("a line without a place")
	}
	v := [4]float64{math.NaN(), 0, 0, 0} // magnitude, extent, right ascension, declination
	for i, text := range f[3:7] {
		if text == "" && i < 2 {
			continue
		}
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return Showpiece{}, err
		}
		v[i] = x
	}
	return Showpiece{
		Designation: f[0], Name: f[1], Kind: f[2], Magnitude: v[0], Extent: unit.AngleFromMin(v[1]),
		Direction: ephem.Direction(unit.RAFromDeg(v[2]), unit.AngleFromDeg(v[3])), Designations: f[7:],
	}, nil
}

// ErrName: nothing in the sky that is known here is called so.
var ErrName = errors.New("no such name in the sky")

// unknown is a name nothing has; nearest is what was most likely meant, or empty.
func unknown(name, nearest string) error {
	act := "give right ascension and declination, in degrees as 83.82,-5.39 or as 5:35:17,-5:23:28"
	if nearest != "" {
		act = fmt.Sprintf("did you mean %s? Else %s", nearest, act)
	}
	return amiss.New(ErrName, "nothing known here is called "+name, act)
}

// longestName bounds what is looked at of a name, in bytes: nothing is called longer.
const longestName = 60

// Place finds a showpiece, or else a star, by any of its names: "M42", "messier 42", "ngc 7000", "north america",
// "Vega", "α Lyr". Small and capital letters are the same, spaces, hyphens and apostrophes may be left out, and so may
// "nebula", "galaxy" or "cluster" at the end where that leaves no doubt. The error is of the kind [ErrName]; its way out
// names what is spelt most alike.
func Place(name string) (Showpiece, error) {
	if len(name) > longestName {
		return Showpiece{}, unknown(strconv.Quote(strings.ToValidUTF8(name[:longestName], ""))+"…", "")
	}
	index := loadPlaces()
	if i, ok := index.by[key(name)]; ok {
		return Showpieces()[i], nil
	}
	if i, ok := ByName(name); ok {
		return asShowpiece(Stars()[i]), nil
	}
	return Showpiece{}, unknown(strconv.Quote(name), index.nearest(name))
}

// asShowpiece is a star as a place to point at.
func asShowpiece(s Star) Showpiece {
	p := Showpiece{Name: Name(s.HIP), Designation: Designation(s.HIP), Kind: "star", Direction: s.Direction, Magnitude: float64(s.Magnitude)}
	if p.Designation == "" && p.Name == "" {
		p.Designation = fmt.Sprintf("HIP %d", s.HIP)
	}
	return p
}

// places are the ways from names to showpieces.
type places struct {
	by    map[string]int
	names []string // everything that may be meant, as people write it, stars' proper names last
}

var loadPlaces = sync.OnceValue(func() places {
	p := places{by: map[string]int{}}
	claim := func(name string, i int) {
		if k := key(name); k != "" {
			if _, taken := p.by[k]; !taken {
				p.by[k] = i
			}
		}
	}
	list := Showpieces()
	for i, s := range list {
		for _, n := range s.names() {
			claim(n, i)
			p.names = append(p.names, n)
		}
	}
	shared := map[string]int{} // how many objects a short name fits
	for _, s := range list {
		for _, k := range s.short() {
			shared[k]++
		}
	}
	for i, s := range list {
		for _, k := range s.short() {
			if _, star := ByName(k); shared[k] == 1 && !star {
				claim(k, i)
			}
		}
	}
	for _, e := range loadNames() {
		if e.proper != "" {
			p.names = append(p.names, e.proper)
		}
	}
	return p
})

// names are all names of an object.
func (s Showpiece) names() []string {
	names := append([]string{s.Designation}, s.Designations...)
	if number, ok := strings.CutPrefix(s.Designation, "M "); ok {
		names = append(names, "Messier "+number)
	}
	if s.Name != "" {
		names = append(names, s.Name)
	}
	return names
}

// short are its names without the kind at their end, once each.
func (s Showpiece) short() []string {
	var short []string
	for _, n := range s.names() {
		first, last := n, ""
		if k := strings.LastIndexByte(n, ' '); k > 0 {
			first, last = n[:k], n[k+1:]
		}
		known := last == "Nebula" || last == "Galaxy" || last == "Cluster"
		if k := key(first); known && k != "" && !slices.Contains(short, k) {
			short = append(short, k)
		}
	}
	return short
}

// key is a name as it is looked up.
func key(name string) string {
	return strings.NewReplacer(" ", "", "-", "", "'", "", ".", "").Replace(strings.ToLower(plain(name)))
}

// nearest is the name most likely meant; "" where none is close. What differs in a number is another object, not a
// slip.
func (p places) nearest(name string) string {
	word := key(name)
	var names, keys []string
	for _, n := range p.names {
		if k := key(n); numbers(k) == numbers(word) {
			names, keys = append(names, n), append(keys, k)
		}
	}
	if i := spelling.Nearest(word, keys); i >= 0 {
		return names[i]
	}
	return ""
}

// numbers are the digits of a name.
func numbers(s string) string {
	return strings.Map(func(r rune) rune {
		if r < '0' || r > '9' {
			return -1
		}
		return r
	}, s)
}
