package catalog

import "testing"

// Names and designations as commonly known (from memory; HIP numbers as in
// TestKnownStars and the package's starnames.json).
func TestName(t *testing.T) {
	for _, row := range []struct {
		hip               int32
		name, designation string
	}{
		{11767, "Polaris", "α UMi"},
		{32349, "Sirius", "α CMa"},
		{60718, "Acrux", "α¹ Cru"},
		{104214, "61 Cyg", "61 Cyg"},
		{108870, "ε Ind", "ε Ind"},
		{63, "CG And", "CG And"},
		{171, "85 Peg", "85 Peg"},
		{83389, "NSV 8148", "NSV 8148"}, // the package breaks the number in two
		{20535, "Beemim", "43 Eri"},     // the package lost its letter, υ³
		{87937, "Barnard's Star", ""},
		{1, "", ""}, {-1, "", ""}, {0, "", ""}, {1 << 30, "", ""},
	} {
		if got := Name(row.hip); got != row.name {
			t.Errorf("Name(%d) = %q, want %q", row.hip, got, row.name)
		}
		if got := Designation(row.hip); got != row.designation {
			t.Errorf("Designation(%d) = %q, want %q", row.hip, got, row.designation)
		}
	}
}

func TestByName(t *testing.T) {
	for _, row := range []struct {
		name string
		hip  int32 // 0: none
	}{
		{"Polaris", 11767}, {"POLARIS", 11767}, {"  polaris ", 11767}, {"α UMi", 11767}, {"Α umi", 11767},
		{"alpha UMi", 11767}, {"Alpha  umi", 11767}, {"1 UMi", 11767}, {"HIP 11767", 11767}, {"hip11767", 11767},
		{"α¹ Cru", 60718}, {"α1 Cru", 60718}, {"alpha cru", 60718},
		{"61 cyg", 104214}, // both stars have it: the brighter
		{"menkar", 14135},  // α Cet, not the fainter λ Cet
		{"barnard’s star", 87937}, {"belenos", 6643}, {"BÉLÉNOS", 6643}, {"nsv 8148", 83389}, {"gj 820a", 104214},
		{"", 0}, {" ", 0}, {"nowhere", 0}, {"HIP 672", 0}, {"HIP", 0}, {"HIP -1", 0}, {"HIP 99999999999", 0},
	} {
		i, ok := ByName(row.name)
		if ok != (row.hip != 0) {
			t.Errorf("ByName(%q): found %v", row.name, ok)
		} else if ok && Stars()[i].HIP != row.hip {
			t.Errorf("ByName(%q) is HIP %d, want %d", row.name, Stars()[i].HIP, row.hip)
		}
	}
}

// Latin letters differ by case where both are in use: A and a in Centaurus.
func TestByNameLatinLetters(t *testing.T) {
	capital, ok1 := ByName("A Cen")
	small, ok2 := ByName("a Cen")
	if !ok1 || !ok2 || capital == small {
		t.Errorf("A Cen is star %d (%v), a Cen %d (%v)", capital, ok1, small, ok2)
	}
}

// Every name leads to a star that has it.
func TestNamesReturn(t *testing.T) {
	for _, e := range loadNames() {
		if _, ok := Index(e.hip); !ok {
			t.Errorf("%v is not in the catalogue", e)
		}
		for _, name := range append([]string{e.proper}, e.designations...) {
			if name == "" {
				continue
			}
			i, ok := ByName(name)
			if !ok || !called(Stars()[i].HIP, name) {
				t.Errorf("ByName(%q) is not a star of that name", name)
			}
		}
	}
}

func called(hip int32, name string) bool {
	e, _ := named(hip)
	for _, n := range append([]string{e.proper}, e.designations...) {
		if plain(n) == plain(name) {
			return true
		}
	}
	return false
}

func FuzzByName(f *testing.F) {
	for _, s := range []string{"Polaris", "α UMi", "HIP 11767", "HIP", "hip -9", "\xff\xce", ""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, name string) {
		if i, ok := ByName(name); ok && (i < 0 || i >= len(Stars())) {
			t.Errorf("ByName(%q) = %d", name, i)
		}
	})
}

func BenchmarkNames(b *testing.B) {
	for b.Loop() {
		if _, err := unpackNames(packedNames); err != nil {
			b.Fatal(err)
		}
	}
}
