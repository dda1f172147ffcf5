// Package kit is the file somebody's equipment is written down in once: the places they
// stand at, cameras, lenses and mounts, each under a name, and what they ask for as a rule.
// It is one TOML file.
//
// Start at Parse, which tells every mistake with its line; it walks the text with go-toml's unstable parser, whose API
// the library does not promise (go.mod pins it). The figures' names, units and limits stand in fields.go; WanderPx is kept and shown
// only, nothing reads it yet.
package kit

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"reflect"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"

	"trueturn/ephem/amiss"
	"trueturn/ephem/catalog/spelling"
)

// Kit is the whole file. A figure that is zero is not known, but for a site's.
type Kit struct {
	Sites    map[string]Site   `toml:"sites,omitempty" json:"sites,omitempty"`
	Cameras  map[string]Camera `toml:"cameras,omitempty" json:"cameras,omitempty"`
	Lenses   map[string]Lens   `toml:"lenses,omitempty" json:"lenses,omitempty"`
	Mounts   map[string]Mount  `toml:"mounts,omitempty" json:"mounts,omitempty"`
	Defaults *Defaults         `toml:"defaults,omitempty" json:"defaults,omitempty"`
}

// Site is a place: decimal degrees, north and east positive, metres above the sea.
type Site struct {
	LatitudeDeg  float64 `toml:"latitude_deg" json:"latitude_deg"`
	LongitudeDeg float64 `toml:"longitude_deg" json:"longitude_deg"`
	HeightM      float64 `toml:"height_m,omitempty" json:"height_m,omitempty"`
	TZ           string  `toml:"tz,omitempty" json:"tz,omitempty"` // the camera's clock there, as Zone takes it
}

// Camera is what holds the pixels.
type Camera struct {
	PixelPitchUM float64 `toml:"pixel_pitch_um,omitempty" json:"pixel_pitch_um,omitempty"`
	WidthPx      int     `toml:"width_px,omitempty" json:"width_px,omitempty"`
	HeightPx     int     `toml:"height_px,omitempty" json:"height_px,omitempty"`
	ReadNoiseE   float64 `toml:"read_noise_e,omitempty" json:"read_noise_e,omitempty"` // electrons rms
	WanderPx     float64 `toml:"wander_px,omitempty" json:"wander_px,omitempty"`       // of the optical centre, rms, measured on a standing tripod
}

// Lens is told by its focal length or by its 35 mm equivalent.
type Lens struct {
	FocalLengthMM float64 `toml:"focal_length_mm,omitempty" json:"focal_length_mm,omitempty"`
	EquivalentMM  float64 `toml:"equivalent_mm,omitempty" json:"equivalent_mm,omitempty"`
	FNumber       float64 `toml:"f_number,omitempty" json:"f_number,omitempty"`
}

// Mount is what turns the camera, and how it is adjusted.
type Mount struct {
	PeriodS               float64 `toml:"period_s,omitempty" json:"period_s,omitempty"` // one turn of the worm
	PeakToPeakArcsec      float64 `toml:"peak_to_peak_arcsec,omitempty" json:"peak_to_peak_arcsec,omitempty"`
	AltitudeArcminPerTurn float64 `toml:"altitude_arcmin_per_turn,omitempty" json:"altitude_arcmin_per_turn,omitempty"`
	AzimuthArcminPerTurn  float64 `toml:"azimuth_arcmin_per_turn,omitempty" json:"azimuth_arcmin_per_turn,omitempty"`
	PlayArcmin            float64 `toml:"play_arcmin,omitempty" json:"play_arcmin,omitempty"`
	RimMM                 float64 `toml:"rim_mm,omitempty" json:"rim_mm,omitempty"` // radius of the head's rim
	LegMM                 float64 `toml:"leg_mm,omitempty" json:"leg_mm,omitempty"` // of the leg lengthened, from the line through the others
}

// Defaults are what is asked for where the command line says nothing.
type Defaults struct {
	MaxElongation float64 `toml:"max_elongation,omitempty" json:"max_elongation,omitempty"`
	Share         float64 `toml:"share,omitempty" json:"share,omitempty"`
	PlannedS      float64 `toml:"planned_s,omitempty" json:"planned_s,omitempty"`
}

// maxBytes is more than any kit needs; a larger file is no kit.
const maxBytes = 1 << 20

// Parse reads a kit. The error is a *FileError with every mistake, in the order of the lines,
// or what the reader said. Accuracy: figures are kept as written.
func Parse(r io.Reader) (Kit, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxBytes+1))
	if err != nil {
		return Kit{}, err
	}
	if len(text) > maxBytes {
		return Kit{}, &FileError{[]Mistake{{1, 1, "larger than a megabyte", "name the kit file; this is another"}}}
	}
	if m := check(text); len(m) > 0 {
		return Kit{}, &FileError{m}
	}
	var k Kit
	d := toml.NewDecoder(strings.NewReader(string(text))).DisallowUnknownFields()
	if err := d.Decode(&k); err != nil {
		return Kit{}, &FileError{[]Mistake{mistakeOf(err)}}
	}
	return k, nil
}

// Write writes a kit so that Parse reads the same.
func (k Kit) Write(w io.Writer) error {
	e := toml.NewEncoder(w)
	e.SetIndentTables(false)
	return e.Encode(k)
}

// With is a kit with the things of another beside its own, and in place of those of the same names.
func (k Kit) With(more Kit) Kit {
	k.Sites, k.Cameras = joined(k.Sites, more.Sites), joined(k.Cameras, more.Cameras)
	k.Lenses, k.Mounts = joined(k.Lenses, more.Lenses), joined(k.Mounts, more.Mounts)
	if more.Defaults != nil {
		k.Defaults = more.Defaults
	}
	return k
}

func joined[T any](mine, more map[string]T) map[string]T {
	if len(mine)+len(more) == 0 {
		return nil
	}
	all := map[string]T{}
	maps.Copy(all, mine)
	maps.Copy(all, more)
	return all
}

// Append is the text of a kit file with more things in it. They are written at its end, so that remarks and order stay as
// they are; where that is not to be done, because one of their names is taken or a section is written in a single line, the
// file is written anew, without remarks. The error is Parse's, of the text there is.
func Append(text string, more Kit) (longer string, anew bool, err error) {
	k, err := Parse(strings.NewReader(text))
	if err != nil {
		return "", false, err
	}
	want := k.With(more)
	var added, whole strings.Builder
	if err := more.Write(&added); err != nil {
		return "", false, err
	}
	longer = text
	if text != "" {
		longer = strings.TrimSuffix(text, "\n") + "\n\n"
	}
	for line := range strings.Lines(added.String()) {
		if head := strings.TrimSpace(line); !strings.HasPrefix(head, "[") || strings.Contains(head, ".") { // [cameras] itself may stand there already
			longer += line
		}
	}
	if got, err := Parse(strings.NewReader(longer)); err == nil && reflect.DeepEqual(got.With(Kit{}), want) {
		return longer, false, nil
	}
	err = want.Write(&whole)
	return whole.String(), true, err
}

// Section is one of the kinds of equipment, by the word its tables begin with.
type Section string

// The sections that hold named things.
const (
	Sites   Section = "sites"
	Cameras Section = "cameras"
	Lenses  Section = "lenses"
	Mounts  Section = "mounts"
)

// One is the word for one of them.
func (s Section) One() string {
	if s == Lenses {
		return "lens"
	}
	return strings.TrimSuffix(string(s), "s")
}

// GoodName is whether a thing may be called so.
func GoodName(name string) bool {
	return strings.TrimSpace(name) != "" && !strings.ContainsFunc(name, unicode.IsControl) && utf8.ValidString(name)
}

// Names lists what a section holds, sorted.
func (k Kit) Names(s Section) []string {
	switch s {
	case Sites:
		return slices.Sorted(maps.Keys(k.Sites))
	case Cameras:
		return slices.Sorted(maps.Keys(k.Cameras))
	case Lenses:
		return slices.Sorted(maps.Keys(k.Lenses))
	}
	return slices.Sorted(maps.Keys(k.Mounts))
}

// Has refuses a name that a section does not hold. The error is [ErrUnknown].
func (k Kit) Has(s Section, name string) error {
	known := k.Names(s)
	if slices.Contains(known, name) {
		return nil
	}
	return amiss.New(ErrUnknown, fmt.Sprintf("the kit has no %s %q", s.One(), name), s.others(name, known))
}

// ErrUnknown: a name the kit does not hold.
var ErrUnknown = errors.New("not in the kit")

// others are the nearest of the names there are, else all of them.
func (s Section) others(name string, known []string) string {
	if i := spelling.Nearest(name, known); i >= 0 {
		return fmt.Sprintf("did you mean %q?", known[i])
	}
	if len(known) == 0 {
		return fmt.Sprintf("it holds no %s yet: add one with trueturn kit add %s NAME, or leave the name out", s.One(), s.One())
	}
	const most = 8
	return fmt.Sprintf("it holds %s; trueturn kit show tells more", strings.Join(known[:min(most, len(known))], ", "))
}

// Empty is whether it holds nothing.
func (k Kit) Empty() bool {
	return len(k.Sites)+len(k.Cameras)+len(k.Lenses)+len(k.Mounts) == 0 && k.Defaults == nil
}

// Sound is whether Parse would take what Write writes.
func (k Kit) Sound() error {
	var b strings.Builder
	if err := k.Write(&b); err != nil {
		return err
	}
	_, err := Parse(strings.NewReader(b.String()))
	return err
}
