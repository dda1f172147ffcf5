package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// A known object is one beyond Messier's list that photographers look for; the choice is ours. An empty name is
// the package's own.
type known struct{ id, name string }

// chosen are taken from the package's list of all bright objects, in its file of those down to magnitude 14.
var chosen = []known{
	{"NGC 55", ""}, {"NGC 253", "Sculptor Galaxy"}, {"NGC 281", ""}, {"NGC 300", ""}, {"NGC 362", ""},
	{"NGC 457", "Owl Cluster"}, {"NGC 663", ""}, {"NGC 752", ""}, {"NGC 891", ""}, {"NGC 1365", "Great Barred Spiral"},
	{"NGC 1499", "California Nebula"}, {"NGC 1977", "Running Man Nebula"}, {"NGC 2024", "Flame Nebula"},
	{"NGC 2070", "Tarantula Nebula"}, {"NGC 2359", "Thor’s Helmet"}, {"NGC 2392", "Eskimo Nebula"}, {"NGC 2403", ""},
	{"NGC 2477", ""}, {"NGC 2808", ""}, {"NGC 3115", "Spindle"}, {"NGC 3201", ""}, {"NGC 3242", "Ghost of Jupiter"},
	{"NGC 3628", "Hamburger Galaxy"}, {"NGC 3766", "Pearl Cluster"}, {"NGC 4631", "Whale Galaxy"},
	{"NGC 4755", "Jewel Box"}, {"NGC 4945", ""}, {"NGC 5128", "Centaurus A"}, {"NGC 6334", "Cat’s Paw Nebula"},
	{"NGC 6357", "Lobster Nebula"}, {"NGC 6397", ""}, {"NGC 6541", ""}, {"NGC 6543", "Cat’s Eye Nebula"},
	{"NGC 6633", ""}, {"NGC 6752", "Pavo Globular Cluster"}, {"NGC 6822", "Barnard’s Galaxy"},
	{"NGC 6888", "Crescent Nebula"}, {"NGC 6946", "Fireworks Galaxy"}, {"NGC 6960", "West Veil Nebula"},
	{"NGC 6992", "East Veil Nebula"}, {"NGC 7000", "North America Nebula"}, {"NGC 7009", "Saturn Nebula"},
	{"NGC 7023", "Iris Nebula"}, {"NGC 7293", "Helix Nebula"}, {"NGC 7331", ""}, {"NGC 7635", "Bubble Nebula"},
	{"NGC 7662", "Blue Snowball"}, {"NGC 7789", "Caroline’s Rose"}, {"IC 342", ""}, {"IC 405", "Flaming Star Nebula"},
	{"IC 434", ""}, {"IC 443", "Jellyfish Nebula"}, {"IC 1396", "Elephant’s Trunk Nebula"}, {"IC 1805", "Heart Nebula"},
	{"IC 1848", "Soul Nebula"}, {"IC 2944", "Running Chicken Nebula"}, {"IC 4604", "ρ Ophiuchi Nebula"},
	{"IC 4665", ""}, {"IC 4756", ""}, {"IC 5070", "Pelican Nebula"}, {"IC 5146", "Cocoon Nebula"},
	{"B 33", "Horsehead Nebula"}, {"C 99", "Coalsack"}, {"Cr 69", "λ Orionis Cluster"}, {"Cr 70", "Orion’s Belt"},
	{"Sh2 103", "Cygnus Loop"}, {"Sh2 264", "λ Orionis Ring"}, {"Sh2 276", "Barnard’s Loop"},
}

// called are the names of objects of the package's hand-made list of bright ones, where it has none.
var called = map[string]string{
	"NGC 104": "47 Tucanae", "NGC 292": "Small Magellanic Cloud", "PGC 17223": "Large Magellanic Cloud",
	"NGC 869": "Double Cluster", "NGC 884": "χ Persei Cluster", "NGC 2244": "Rosette Nebula", "NGC 2264": "Christmas Tree Cluster",
	"NGC 3372": "Carina Nebula", "NGC 5139": "ω Centauri", "IC 2602": "Southern Pleiades", "C 41": "Hyades",
	"Cr 39": "α Persei Cluster", "Cr 256": "Coma Star Cluster", "Cr 399": "Coathanger", "GC": "Galactic Centre",
	"IC 2391": "ο Velorum Cluster", "NGC 2362": "τ Canis Majoris Cluster", "NGC 3532": "Wishing Well Cluster",
}

// kinds are the package's types of objects in words.
var kinds = map[string]string{
	"oc": "open cluster", "gc": "globular cluster", "sfr": "nebula", "bn": "nebula", "en": "nebula", "rn": "nebula",
	"dn": "dark nebula", "pn": "planetary nebula", "snr": "supernova remnant", "s": "galaxy", "s0": "galaxy", "sd": "galaxy",
	"i": "galaxy", "e": "galaxy", "pos": "patch of sky",
}

// object is a deep-sky object as the package has it, in three files of slightly different make.
type object struct {
	ID         string
	Properties struct {
		Desig, Alt, Type, Dim string
		Mag                   json.RawMessage // a number, or a number in quotes; 999 where unknown
	}
	Geometry struct{ Coordinates [2]float64 }
}

// packShowpieces turns the deep-sky lists into the payload of showpieces.bin: a line for each object, of fields parted
// by tabs: designation, name (may be empty), kind, magnitude (empty if unknown), longest extent in arcminutes (empty if
// unknown), right ascension and declination in degrees, and further names.
func packShowpieces(messier, bright, all, names []byte) ([]byte, error) {
	b := &showpieces{seen: map[string]bool{}}
	if err := json.Unmarshal(names, &b.names); err != nil {
		return nil, err
	}
	lists := make([][]object, 3)
	for i, js := range [][]byte{messier, bright, all} {
		var doc struct{ Features []object }
		if err := json.Unmarshal(js, &doc); err != nil {
			return nil, err
		}
		lists[i] = doc.Features
	}
	for _, o := range lists[0] {
		b.add(o, spaced(o.ID), o.Properties.Alt, o.Properties.Desig)
	}
	for _, o := range lists[1] {
		// The list's Messier objects are in the first one already; one of them (M 4) stands far off its place here.
		if !strings.HasPrefix(o.Properties.Desig, "M ") {
			b.add(o, o.ID, called[o.ID], o.Properties.Desig)
		}
	}
	for _, k := range chosen {
		i := slices.IndexFunc(lists[2], func(o object) bool { return o.ID == k.id })
		if i < 0 {
			return nil, fmt.Errorf("there is no %s", k.id)
		}
		b.add(lists[2][i], k.id, k.name, lists[2][i].Properties.Desig)
	}
	return []byte(b.text.String()), errors.Join(b.errs...)
}

// showpieces are the lines so far.
type showpieces struct {
	names map[string]struct{ Name string }
	seen  map[string]bool
	text  strings.Builder
	errs  []error
}

// add writes an object's line.
func (b *showpieces) add(o object, id, name string, others ...string) {
	lon, lat := o.Geometry.Coordinates[0], o.Geometry.Coordinates[1]
	kind := kinds[o.Properties.Type]
	if id == "NGC 6334" { // among the remnants in the package; but stars are being born there
		kind = "nebula"
	}
	if kind == "" || !(math.Abs(lon) <= 180) || !(math.Abs(lat) <= 90) || b.seen[id] {
		b.errs = append(b.errs, fmt.Errorf("%s: unknown type %q, place %v, %v out of range, or there twice", id, o.Properties.Type, lon, lat))
		return
	}
	b.seen[id] = true
	mag := magnitude(o.Properties.Mag)
	if kind == "dark nebula" { // the figure is its blackness
		mag = ""
	}
	if lon < 0 {
		lon += 360
	}
	fields := []string{id, typographic(name), kind, mag, longest(o.Properties.Dim),
		strconv.FormatFloat(lon, 'f', 4, 64), strconv.FormatFloat(lat, 'f', 4, 64)}
	for _, key := range append([]string{id}, others...) {
		if key != "" && !slices.Contains(fields, key) {
			fields = append(fields, key)
		}
		if n := typographic(b.names[key].Name); n != "" && !slices.Contains(fields, n) {
			fields = append(fields, n)
		}
	}
	b.text.WriteString(strings.Join(fields, "\t") + "\n")
}

// spaced parts a Messier number from its letter: M42 is M 42.
func spaced(id string) string { return "M " + strings.TrimPrefix(id, "M") }

func typographic(name string) string {
	return tidy(strings.NewReplacer("´", "’", "'", "’").Replace(name))
}

// magnitude is "" where it is unknown.
func magnitude(raw json.RawMessage) string {
	v, err := strconv.ParseFloat(strings.Trim(string(raw), `"`), 64)
	if err != nil || v > 30 {
		return ""
	}
	return strconv.FormatFloat(v, 'f', 1, 64)
}

// longest is the larger of an object's two extents.
func longest(dim string) string {
	most := 0.0
	for _, d := range strings.Split(dim, "x") {
		if v, err := strconv.ParseFloat(d, 64); err == nil {
			most = max(most, v)
		}
	}
	if most == 0 {
		return ""
	}
	return strconv.FormatFloat(most, 'f', -1, 64)
}
