package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// entry holds what the package knows a star by; fields may be missing.
type entry struct {
	Name  string // proper
	Bayer string // a Greek or Latin letter, perhaps with a digit
	Flam  string // Flamsteed's number
	Var   string // variable star letters, or "NSV 8" with the rest in C
	GL    string // catalogues of nearby stars
	C     string // constellation, three letters
}

// packNames turns the names into the payload of names.bin: a line for each
// star in order of HIP number, of fields parted by tabs: the HIP number, the
// proper name (may be empty) and the designations, the best known first.
func packNames(js []byte) ([]byte, error) {
	var all map[string]entry
	if err := json.Unmarshal(js, &all); err != nil {
		return nil, err
	}
	byHIP := map[int]entry{}
	for id, e := range all {
		hip, err := strconv.Atoi(id)
		if err != nil {
			return nil, err
		}
		byHIP[hip] = e
	}
	var b strings.Builder
	for _, hip := range slices.Sorted(maps.Keys(byHIP)) {
		e := byHIP[hip]
		fmt.Fprintf(&b, "%d\t%s", hip, tidy(e.Name))
		for _, d := range e.designations() {
			b.WriteString("\t" + d)
		}
		b.WriteString("\n")
	}
	return []byte(b.String()), nil
}

// designations lists letter, number, variable star and nearby star in turn.
func (e entry) designations() []string {
	var d []string
	// One entry's letter was lost where the package was made ("undefined3").
	if e.Bayer != "" && !strings.HasPrefix(e.Bayer, "undefined") {
		d = append(d, superscript(e.Bayer)+" "+e.C)
	}
	if e.Flam != "" {
		d = append(d, e.Flam+" "+e.C)
	}
	if e.Var != "" {
		d = append(d, e.variable())
	}
	if e.GL != "" {
		d = append(d, tidy(e.GL))
	}
	return d
}

// variable is the variable star's designation: "V0822 Cen" is written V822 Cen,
// and the number of an NSV entry has its last three digits in the field of the
// constellation.
func (e entry) variable() string {
	if strings.HasPrefix(e.Var, "NSV") {
		return tidy(e.Var) + e.C
	}
	if number, ok := strings.CutPrefix(e.Var, "V0"); ok {
		return "V" + number + " " + e.C
	}
	return e.Var + " " + e.C
}

// superscript raises the digits of a Bayer letter: α1 becomes α¹.
func superscript(s string) string {
	return strings.NewReplacer("1", "¹", "2", "²", "3", "³", "4", "⁴", "5", "⁵",
		"6", "⁶", "7", "⁷", "8", "⁸", "9", "⁹").Replace(s)
}

// tidy makes every run of white space, thin spaces included, a single space.
func tidy(s string) string { return strings.Join(strings.Fields(s), " ") }
