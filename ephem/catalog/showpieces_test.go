package catalog

import (
	"errors"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"trueturn/ephem/amiss"
)

// Where showpieces stand, against stars of the Hipparcos catalogue (ESA, 1997) that lie in them or beside them:
// which star and how near is common knowledge of the sky (from memory), the star's place is not.
func TestShowpiecesStandByTheirStars(t *testing.T) {
	const (
		inside   = 0.0       // within half the object's extent, give or take
		placeDeg = 20.0 / 60 // what the places of large objects are good to, as Showpiece says
	)
	for _, row := range []struct {
		object string
		star   string
		within float64 // degrees, or inside
		why    string
	}{
		{"M45", "Alcyone", inside, "the brightest Pleiad"},
		{"hyades", "Aldebaran", inside, "in front of the cluster"},
		{"α Persei Cluster", "Mirfak", inside, "its brightest star"},
		{"Orion Nebula", "θ1 Ori", 0.15, "the Trapezium lights it"},
		{"M43", "θ1 Ori", 0.25, "its neighbour in the north"},
		{"Flame Nebula", "Alnitak", 0.4, "beside it, in the east"},
		{"horsehead", "σ Ori", 0.7, "south-east of the star"},
		{"Orion's Belt", "Alnilam", inside, "the middle one of three"},
		{"Southern Pleiades", "θ Car", inside, "its brightest star"},
		{"NGC 2362", "τ CMa", 0.1, "its brightest star"},
		{"NGC 2264", "15 Mon", 0.1, "S Monocerotis, its brightest star"},
		{"Jewel Box", "κ Cru", 0.1, "the κ Crucis cluster"},
		{"West Veil Nebula", "52 Cyg", 0.2, "before the western arc"},
		{"California", "ξ Per", inside, "lights the nebula"},
		{"North America", "Deneb", 4, "three degrees east of it"},
		{"λ Orionis Cluster", "Meissa", 0.2, "λ Orionis"},
		{"Rho Ophiuchi Nebula", "ρ Oph", 0.3, "in its northern part"},
		{"Andromeda", "ν And", 1.6, "the way there by eye"},
		{"M4", "Antares", 1.5, "a degree west of it"},
		{"M22", "λ Sgr", 2.8, "north-east of the teapot's lid"},
		{"M57", "Sheliak", 1.2, "between β and γ Lyrae"},
		{"M13", "η Her", 2.8, "a third of the way to ζ"},
		{"M97", "Merak", 2.5, "south-east of the Bear's β"},
	} {
		p, err := Place(row.object)
		if err != nil {
			t.Errorf("%s: %v", row.object, err)
			continue
		}
		i, ok := ByName(row.star)
		if !ok {
			t.Errorf("there is no star %s", row.star)
			continue
		}
		if row.within == inside {
			row.within = p.Extent.Deg()/2 + placeDeg
		}
		if d := apart(p.Direction, Stars()[i].Direction); d > row.within {
			t.Errorf("%s (%v) is %.2f° from %s, want at most %g° (%s)", row.object, p, d, row.star, row.within, row.why)
		}
	}
}

func apart(a, b r3.Vec) float64 {
	return math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b)) * 180 / math.Pi
}

// Names as people type them; designations as commonly known (from memory).
func TestPlace(t *testing.T) {
	for _, row := range []struct{ name, want string }{
		{"M42", "M 42"}, {"m 42", "M 42"}, {"Messier 42", "M 42"}, {"M-42", "M 42"}, {"ngc1976", "M 42"}, {"NGC 1976", "M 42"},
		{"orion nebula", "M 42"}, {"Andromeda", "M 31"}, {"andromeda galaxy", "M 31"}, {"pleiades", "M 45"}, {"M1", "M 1"},
		{"M 110", "M 110"}, {"ngc 7000", "NGC 7000"}, {"north america", "NGC 7000"}, {"NorthAmericaNebula", "NGC 7000"},
		{"double cluster", "NGC 869"}, {"lmc", "PGC 17223"}, {"47 tuc", "NGC 104"}, {"omega centauri", "NGC 5139"},
		{"ω Cen", "NGC 5139"}, {"Thor's Helmet", "NGC 2359"}, {"thors helmet", "NGC 2359"}, {"rosette", "NGC 2244"},
		{"Vega", "α Lyr"}, {"alpha lyr", "α Lyr"}, {"polaris", "α UMi"}, {"HIP 1", "HIP 1"}, {"barnard's loop", "Sh2 276"},
	} {
		p, err := Place(row.name)
		if err != nil || p.Designation != row.want {
			t.Errorf("Place(%q) is %q (%v), want %q", row.name, p.Designation, err, row.want)
		}
	}
}

// What is not known is refused with the nearest name, and never with another number.
func TestPlaceSuggests(t *testing.T) {
	for _, row := range []struct{ name, suggests string }{
		{"Orion Nebual", "Orion Nebula"}, {"andromda", "Andromeda"}, {"plejades", "Pleiades"}, {"pliades", "Pleiades"},
		{"Betelgeuze", "Betelgeuse"}, {"horsehaed nebula", "Horsehead Nebula"}, {"Rosete Nebula", "Rosette Nebula"},
		{"M111", ""}, {"ngc 7001", ""}, {"", ""}, {"xyzzy plugh", ""}, {"orion neb", "Orion Nebula"}, {"?", ""}, {"12", "M 12"},
	} {
		_, err := Place(row.name)
		if !errors.Is(err, ErrName) || len(amiss.Ways(err)) != 1 {
			t.Errorf("Place(%q): error %v", row.name, err)
			continue
		}
		act := amiss.Ways(err)[0].Act
		asked, asks := strings.CutPrefix(act, "did you mean ")
		if asks != (row.suggests != "") || asks && !strings.HasPrefix(asked, row.suggests+"?") || !strings.Contains(act, "right ascension and declination") {
			t.Errorf("Place(%q): hint %q, want %q", row.name, act, row.suggests)
		}
	}
	if _, err := Place(strings.Repeat("é", 1e6)); err == nil || len(err.Error()) > 200 {
		t.Error("a name of a million letters is not refused in a line")
	}
}

// Every object can be found by each of its names, unless an earlier one has it too.
func TestShowpiecesAreFound(t *testing.T) {
	list := Showpieces()
	if len(list) < 150 {
		t.Fatalf("%d showpieces, want Messier's 110 and the best known others", len(list))
	}
	for i, s := range list {
		if d := r3.Norm(s.Direction); math.Abs(d-1) > 1e-12 {
			t.Errorf("%v: direction of length %v", s, d)
		}
		for _, n := range s.names() {
			p, err := Place(n)
			if err != nil {
				t.Errorf("Place(%q): %v", n, err)
			} else if p.Designation != s.Designation && indexOf(list, p.Designation) > i {
				t.Errorf("Place(%q) is %v, want %v", n, p, s)
			}
		}
	}
}

func indexOf(list []Showpiece, designation string) int {
	for i, s := range list {
		if s.Designation == designation {
			return i
		}
	}
	return len(list)
}

func TestUnpackShowpiecesRefuses(t *testing.T) {
	if _, err := unpackShowpieces("no deflated data"); err == nil {
		t.Error("no error for what is not packed")
	}
	for _, f := range [][]string{{"M 1"}, {"M 1", "", "nebula", "", "", "x", "1"}, {"M 1", "", "nebula", "", "", "", "1"}, {"M 1", "", "nebula", "9a", "", "1", "1"}} {
		if _, err := showpiece(f); err == nil {
			t.Errorf("%q: no error", f)
		}
	}
}

func FuzzPlace(f *testing.F) {
	for _, s := range []string{"M42", "orion nebula", "HIP 1", "", "\xff\xce", "nebula", "' - ."} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		p, err := Place(name)
		if err != nil && !errors.Is(err, ErrName) || err == nil && math.Abs(r3.Norm(p.Direction)-1) > 1e-12 {
			t.Errorf("Place(%q) = %v, %v", name, p, err)
		}
	})
}
