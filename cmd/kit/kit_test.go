package kit

import (
	"errors"
	"fmt"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"trueturn/cmd/words"
)

const good = `# all there is
[sites.hut]
latitude_deg = 46.02
longitude_deg = -7
height_m = 1_620
tz = "+01:00"
[cameras."the grey one"]
pixel_pitch_um = 3.9
width_px = 6000
height_px = 4000
[lenses]
fifty = { focal_length_mm = 50, f_number = 2.8 }
phone.equivalent_mm = 115
[mounts.crank]
period_s = 480
peak_to_peak_arcsec = 4.4e1
[defaults]
share = 0.8
`

func TestParse(t *testing.T) {
	got, err := Parse(strings.NewReader(good))
	if err != nil {
		t.Fatal(err)
	}
	want := Kit{
		Sites:    map[string]Site{"hut": {46.02, -7, 1620, "+01:00"}},
		Cameras:  map[string]Camera{"the grey one": {PixelPitchUM: 3.9, WidthPx: 6000, HeightPx: 4000}},
		Lenses:   map[string]Lens{"fifty": {FocalLengthMM: 50, FNumber: 2.8}, "phone": {EquivalentMM: 115}},
		Mounts:   map[string]Mount{"crank": {PeriodS: 480, PeakToPeakArcsec: 44}},
		Defaults: &Defaults{Share: 0.8},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

// TestMistakes: every mistake with the line and the column its key begins at, counted by hand.
func TestMistakes(t *testing.T) {
	for _, row := range []struct {
		name, text string
		want       []string // line:column beginning of the words
	}{
		{"empty", "", nil},
		{"all there is", good, nil},
		{"wrong type", "[lenses.a]\nfocal_length_mm = \"50\"", []string{"2:1 focal_length_mm is no number but a text"}},
		{"wrong type after a space and a wide letter", "[lenses]\né = { f_number=[2], focal_length_mm=9 }", []string{"2:1 not TOML"}},
		{"in an inline table", "[lenses]\na = { f_number=[2], focal_length_mm=9 }", []string{"2:7 f_number is no number but a list"}},
		{"letters, not bytes", "[lenses]\n\"é\" = { f_number=[2], focal_length_mm=9 }", []string{"2:9 f_number is no number"}},
		{"NaN", "[sites.a]\nlatitude_deg = nan\nlongitude_deg=-inf", []string{"2:1 latitude_deg = nan is out", "3:1 longitude_deg = -inf is out"}},
		{"unknown key", "[lenses.a]\nfocal_length_mm = 50\n  fnumber = 2", []string{`3:3 there is no key "fnumber"`}},
		{"unknown section, told once", "[lens.a]\nfocal_length_mm = 50\nf_number = 2", []string{`1:2 there is no section "lens"`}},
		{"name twice", "[lenses.a]\nequivalent_mm = 50\n[lenses.a]\nf_number = 2", []string{`3:2 lens "a" is here a second time, first in line 1`}},
		{"key twice", "[defaults]\nshare = 0.5\nshare = 0.6", []string{`3:1 key "share" is here a second time, first in line 2`}},
		{"place without longitude", "[sites.a]\nlatitude_deg = 3", []string{`1:2 site "a" has no longitude_deg`}},
		{"zone", "[sites.a]\nlatitude_deg = 3\nlongitude_deg = 3\ntz = \"+25:00\"", []string{`4:1 tz "+25:00" is no time zone`}},
		{"two ways", "[lenses.a]\nfocal_length_mm = 3\nequivalent_mm = 30", []string{`1:2 lens "a" must be given in one way`}},
		{"half a size", "[cameras.a]\nwidth_px = 300", []string{`1:2 camera "a" has one side`}},
		{"huge", "[cameras.a]\nwidth_px = 30000\nheight_px=30000", []string{`2:1 width_px times height_px is too large`}},
		{"part of a pixel", "[cameras.a]\nwidth_px = 30.5\nheight_px=30", []string{`2:1 width_px is no whole number`}},
		{"wobble without period", "[mounts.a]\npeak_to_peak_arcsec = 30", []string{`1:2 mount "a" wobbles`}},
		{"not under a name", "[cameras]\npixel_pitch_um = 3", []string{`2:1 "pixel_pitch_um" belongs under`}},
		{"list", "[[cameras]]\npixel_pitch_um = 3", []string{`1:3 [[cameras]] is a list`}},
		{"no name", "[cameras.\"\"]\npixel_pitch_um = 3", []string{`1:2 "" is no name`}},
		{"not UTF-8", "[cameras.a]\n#\xff", []string{"2:2 not UTF-8"}},
		{"broken, and more behind", "[defaults]\nshare = = 1\n[mounts.x\nperiod_s = \"3\"\n[defaults.a]\n[lenses.a]\nf_number=1000\nequivalent_mm=3e1",
			[]string{"2:9 not TOML", "3:10 not TOML", "5:2 [defaults.a] is one heading too deep", "7:1 f_number = 1000 is out"}},
	} {
		t.Run(row.name, func(t *testing.T) {
			_, err := Parse(strings.NewReader(row.text))
			var wrong *FileError
			if errors.As(err, &wrong) != (err != nil) || (err != nil) != (row.want != nil) {
				t.Fatalf("error %v, want %q", err, row.want)
			}
			if wrong == nil {
				return
			}
			var got []string
			for _, m := range wrong.Mistakes {
				got = append(got, fmt.Sprintf("%d:%d %s", m.Line, m.Column, m.Text))
				if m.Way == "" {
					t.Errorf("%s: no way out", m.Text)
				}
			}
			if !slices.EqualFunc(got, row.want, strings.HasPrefix) {
				t.Errorf("got %q\nwant %q", got, row.want)
			}
		})
	}
}

func TestHas(t *testing.T) {
	k := Kit{Lenses: map[string]Lens{"fifty": {}, "wide": {}}}
	for _, row := range []struct{ name, typed, hint string }{
		{"there", "fifty", ""},
		{"slip", "fitfy", `did you mean "fifty"?`},
		{"capitals", "FIFTY", `did you mean "fifty"?`},
		{"nothing like it", "telescope", "it holds fifty, wide; trueturn kit show tells more"},
	} {
		t.Run(row.name, func(t *testing.T) {
			err := k.Has(Lenses, row.typed)
			if row.hint == "" {
				if err != nil {
					t.Error(err)
				}
			} else if !errors.Is(err, ErrUnknown) || words.Hint(err) != row.hint {
				t.Errorf("got %v, want hint %q", err, row.hint)
			}
		})
	}
}

// TestAppend: what is added stands at the end and nothing before it changes, unless it must.
func TestAppend(t *testing.T) {
	more := Kit{Cameras: map[string]Camera{"grey one": {PixelPitchUM: 3.9}}, Sites: map[string]Site{"hut": {LatitudeDeg: 46, LongitudeDeg: 7, TZ: "Europe/Zurich"}}}
	const added = "[sites.hut]\nlatitude_deg = 46.0\nlongitude_deg = 7.0\ntz = 'Europe/Zurich'\n\n[cameras.'grey one']\npixel_pitch_um = 3.9\n"
	for _, row := range []struct {
		name, text, want string // want "" is anew
	}{
		{"nothing there", "", added},
		{"remarks stay", "# mine\n[lenses.a]\nequivalent_mm = 24 # wide", "# mine\n[lenses.a]\nequivalent_mm = 24 # wide\n\n" + added},
		{"under a section that has a heading", "[cameras]\nold = { pixel_pitch_um = 5 }\n", "[cameras]\nold = { pixel_pitch_um = 5 }\n\n" + added},
		{"an empty section", "[cameras]\n", "[cameras]\n\n" + added},
		{"after the defaults", "[defaults]\nshare = 0.5\n", "[defaults]\nshare = 0.5\n\n" + added},
		{"in one line", "cameras = { old = { pixel_pitch_um = 5 } }\n", ""},
		{"a name that is taken", "[cameras.'grey one']\npixel_pitch_um = 5\n", ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			got, anew, err := Append(row.text, more)
			if err != nil || anew != (row.want == "") || !anew && got != row.want {
				t.Errorf("anew %v, error %v, text\n%s\nwant\n%s", anew, err, got, row.want)
			}
			before, _ := Parse(strings.NewReader(row.text))
			after, err := Parse(strings.NewReader(got))
			if d := cmp.Diff(before.With(more), after.With(Kit{})); err != nil || d != "" {
				t.Errorf("%v\n%s", err, d)
			}
		})
	}
	if text, _, err := Append("[lenses.a]\nf_number = 2", more); err == nil || text != "" {
		t.Errorf("a broken kit was taken: %q", text)
	}
}

// TestPath: the XDG Base Directory Specification 0.8: a relative path does not count.
func TestPath(t *testing.T) {
	home := t.TempDir()
	t.Setenv("HOME", home)
	for _, row := range []struct{ name, xdg, want string }{
		{"set", filepath.Join(home, "x"), filepath.Join(home, "x", "trueturn", "kit.toml")},
		{"relative", "x", filepath.Join(home, ".config", "trueturn", "kit.toml")},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Setenv("XDG_CONFIG_HOME", row.xdg)
			if got, err := Path(); got != row.want || err != nil {
				t.Errorf("got %q, %v, want %q", got, err, row.want)
			}
		})
	}
}

func TestTooLarge(t *testing.T) {
	if _, err := Parse(strings.NewReader(strings.Repeat("#", maxBytes+1))); err == nil {
		t.Error("taken")
	}
}

// FuzzParse: nothing panics, mistakes lie within the text, and what is taken is written and read the same.
func FuzzParse(f *testing.F) {
	for _, seed := range []string{good, "", "[a", "[[sites]]\n", "a.b.c = {}", "[lenses]\na={equivalent_mm=30}\n[lenses.a]\nf_number=2",
		"[sites.x]\nlatitude_deg=0x1f\nlongitude_deg=0\n", "lenses = 3\n", "defaults = {share=0.5}\n", "\xef\xbb\xbf", "[mounts.a.b]\n"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		k, err := Parse(strings.NewReader(text))
		var wrong *FileError
		if errors.As(err, &wrong) {
			for _, m := range wrong.Mistakes {
				if m.Line < 1 || m.Line > strings.Count(text, "\n")+1 || m.Column < 1 || m.Text == "" || m.Way == "" {
					t.Errorf("%+v", m)
				}
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		if err := k.Write(&b); err != nil {
			t.Fatal(err)
		}
		again, err := Parse(strings.NewReader(b.String()))
		if err != nil {
			t.Fatalf("%v\n%s", err, b.String())
		}
		if !reflect.DeepEqual(k.Defaults, again.Defaults) || fmt.Sprint(k.Sites, k.Cameras, k.Lenses, k.Mounts) != fmt.Sprint(again.Sites, again.Cameras, again.Lenses, again.Mounts) {
			t.Errorf("read %+v, and again %+v", k, again)
		}
	})
}
