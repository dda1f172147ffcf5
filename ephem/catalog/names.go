package catalog

import (
	"compress/flate"
	_ "embed"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"
)

//go:embed names.bin
var packedNames string

// maxNames bounds what a broken file can make the names take up, in bytes.
const maxNames = 1 << 24

// An entry is what one star is called.
type entry struct {
	hip          int32
	proper       string   // "" if it has none
	designations []string // the best known first
}

// loadNames unpacks the names, in order of HIP number, when first asked for.
var loadNames = sync.OnceValue(func() []entry {
	es, err := unpackNames(packedNames)
	if err != nil {
		// The bytes are part of the program: it was built from a broken file.
		panic("catalog: names.bin: " + err.Error())
	}
	return es
})

// unpackNames reads lines of fields parted by tabs: HIP number, proper name,
// designations.
func unpackNames(packed string) ([]entry, error) {
	text, err := io.ReadAll(io.LimitReader(flate.NewReader(strings.NewReader(packed)), maxNames))
	if err != nil {
		return nil, err
	}
	var es []entry
	for line := range strings.Lines(string(text)) {
		f := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
		hip, err := strconv.ParseInt(f[0], 10, 32)
		if err != nil {
			return nil, err
		}
		if len(f) < 2 {
			return nil, errors.New("a line without a name")
		}
		es = append(es, entry{hip: int32(hip), proper: f[1], designations: f[2:]})
	}
	return es, nil
}

func named(hip int32) (entry, bool) {
	es := loadNames()
	i, ok := slices.BinarySearchFunc(es, hip, func(e entry, hip int32) int { return int(e.hip - hip) })
	if !ok {
		return entry{}, false
	}
	return es[i], true
}

// Name is what people call a star: its proper name ("Polaris") or else its
// [Designation] ("61 Cyg"); "" if it has neither.
func Name(hip int32) string {
	if e, _ := named(hip); e.proper != "" {
		return e.proper
	}
	return Designation(hip)
}

// Designation is the first there is of Bayer's letter ("α UMi", "α¹ Cru"),
// Flamsteed's number ("61 Cyg"), the variable star's letters ("V1803 Cyg") and
// the entry in a catalogue of nearby stars ("GJ 9"), the constellation by its
// three letters; "" if there is none. Stars of a wide pair may share one.
func Designation(hip int32) string {
	e, _ := named(hip)
	if len(e.designations) == 0 {
		return ""
	}
	return e.designations[0]
}

// ByName finds a star by a proper name, a designation or a HIP number:
// "polaris", "α UMi", "alpha umi", "1 UMi", "HIP 11767". Small and capital
// letters are the same, but for Latin Bayer letters ("a Cen", "A Cen"), and
// accents may be left out. Of several stars of one name it is the brightest,
// proper names going first. Stars()[i] is the star.
func ByName(name string) (i int, ok bool) {
	key := plain(name)
	lower := strings.ToLower(key)
	if number, ok := strings.CutPrefix(lower, "hip"); ok {
		if hip, err := strconv.ParseInt(strings.TrimSpace(number), 10, 32); err == nil {
			return Index(int32(hip))
		}
	}
	index := loadIndex()
	if i, ok := index[key]; ok {
		return int(i), true
	}
	j, ok := index[lower]
	return int(j), ok
}

// loadIndex makes the way from plain names to stars: proper names before
// designations before Bayer letters without their number, each from the
// brightest star down; the first to claim a name has it.
var loadIndex = sync.OnceValue(func() map[string]int32 {
	es := slices.Clone(loadNames())
	brightness := func(e entry) int32 { return load().byHIP[e.hip] }
	slices.SortFunc(es, func(a, b entry) int { return int(brightness(a) - brightness(b)) })
	index := make(map[string]int32, 4*len(es))
	claim := func(name string, e entry) {
		key := plain(name)
		for _, k := range []string{key, strings.ToLower(key)} {
			if _, taken := index[k]; !taken && k != "" {
				index[k] = brightness(e)
			}
		}
	}
	for _, e := range es {
		claim(e.proper, e)
	}
	for _, e := range es {
		for _, d := range e.designations {
			claim(d, e)
		}
	}
	for _, e := range es {
		for _, d := range e.designations {
			claim(unnumbered(d), e)
		}
	}
	return index
})

// unnumbered is a Bayer designation without the letter's number (α¹ Cru: α Cru),
// and "" for any other.
func unnumbered(designation string) string {
	letter, rest, _ := strings.Cut(designation, " ")
	r, n := utf8.DecodeRuneInString(letter)
	digit, m := utf8.DecodeRuneInString(letter[n:])
	if n+m != len(letter) || !strings.ContainsRune("¹²³⁴⁵⁶⁷⁸⁹", digit) {
		return ""
	}
	return string(r) + " " + rest
}

// plain writes a name without what a keyboard may lack: Greek letters spelt
// out, no accents, no raised digits, single spaces.
func plain(name string) string {
	return keyboard.Replace(strings.Map(smallGreek, strings.Join(strings.Fields(name), " ")))
}

func smallGreek(r rune) rune {
	if 'Α' <= r && r <= 'Ω' {
		return r + 'α' - 'Α'
	}
	return r
}

var keyboard = strings.NewReplacer(
	"α", "alpha", "β", "beta", "γ", "gamma", "δ", "delta", "ε", "epsilon", "ζ", "zeta",
	"η", "eta", "θ", "theta", "ι", "iota", "κ", "kappa", "λ", "lambda", "μ", "mu", "µ", "mu",
	"ν", "nu", "ξ", "xi", "ο", "omicron", "π", "pi", "ρ", "rho", "σ", "sigma", "ς", "sigma",
	"τ", "tau", "υ", "upsilon", "φ", "phi", "χ", "chi", "ψ", "psi", "ω", "omega",
	"¹", "1", "²", "2", "³", "3", "⁴", "4", "⁵", "5", "⁶", "6", "⁷", "7", "⁸", "8", "⁹", "9",
	"é", "e", "É", "E", "á", "a", "Á", "A", "ā", "a", "Ā", "A", "â", "a", "Â", "A",
	"ã", "a", "Ã", "A", "í", "i", "Í", "I", "ó", "o", "Ó", "O", "ö", "o", "Ö", "O",
	"ú", "u", "Ú", "U", "’", "'",
)
