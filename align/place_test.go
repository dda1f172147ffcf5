package align_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"trueturn/align"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
	"trueturn/ephem/say"
)

// takenAt are pictures with a place each.
func takenAt(t *testing.T, places ...[2]float64) (shots []drift.Shot) {
	for i, p := range places {
		s := siteAt(t, p[0], p[1])
		shots = append(shots, drift.Shot{File: string(rune('a'+i)) + ".jpg", Place: &s})
	}
	return shots
}

// Where the site given and the pictures' place differ: which is used, and what is said.
func TestPlaceOf(t *testing.T) {
	hut := [2]float64{46.02, 7.75}
	for _, row := range []struct {
		name  string
		given *[2]float64
		taken [][2]float64
		sunk  [][2]float64 // from where the pictures would have been below the horizon
		used  [2]float64
		rests align.PlaceRests
		files string       // of the doubt; empty: there is none
		says  []string     // keys
		asks  say.Key      // empty: nothing is asked
		of    [][2]float64 // places asked after, in order
		km    float64      // apart
	}{
		{"no picture tells", &hut, nil, nil, hut, align.PlaceGiven, "", nil, "", nil, 0},
		{"no site given", nil, [][2]float64{hut, hut}, nil, hut, align.PlacePictures, "", nil, "", nil, 0},
		{"the two agree", &hut, [][2]float64{{46.1, 7.7}}, nil, hut, align.PlaceBoth, "", nil, "", nil, 0},
		{"49 km north", &hut, [][2]float64{{46.46, 7.75}}, nil, hut, align.PlaceBoth, "", nil, "", nil, 0},
		{"51 km north", &hut, [][2]float64{{46.48, 7.75}}, nil, hut, align.PlaceGiven, "ab", []string{"site given and pictures apart", "site given used", "place in pictures may be old"},
			"as given or as the pictures say?", [][2]float64{hut, {46.48, 7.75}}, 51},
		{"a sign of the latitude", &hut, [][2]float64{{-46.1, 7.7}}, nil, [2]float64{-46.1, 7.7}, align.PlacePictures, "a", []string{"site given and pictures apart", "latitude's sign", "pictures' place used"},
			"as the pictures say, not as given?", [][2]float64{{-46.1, 7.7}, hut}, 0},
		{"a sign of the longitude", &hut, [][2]float64{{46.02, -7.75}}, nil, [2]float64{46.02, -7.75}, align.PlacePictures, "a", []string{"site given and pictures apart", "longitude's sign", "pictures' place used"},
			"as the pictures say, not as given?", [][2]float64{{46.02, -7.75}, hut}, 0},
		{"both signs", &hut, [][2]float64{{-46.02, -7.75}}, nil, [2]float64{-46.02, -7.75}, align.PlacePictures, "a", []string{"site given and pictures apart", "both signs", "pictures' place used"},
			"as the pictures say, not as given?", [][2]float64{{-46.02, -7.75}, hut}, 0},
		{"exchanged", &hut, [][2]float64{{7.75, 46.02}}, nil, [2]float64{7.75, 46.02}, align.PlacePictures, "a", []string{"site given and pictures apart", "exchanged", "pictures' place used"},
			"as the pictures say, not as given?", [][2]float64{{7.75, 46.02}, hut}, 0},
		{"exchanged, with a sign", &hut, [][2]float64{{7.75, -46.02}}, nil, [2]float64{7.75, -46.02}, align.PlacePictures, "a", []string{"site given and pictures apart", "exchanged and a sign", "pictures' place used"},
			"as the pictures say, not as given?", [][2]float64{{7.75, -46.02}, hut}, 0},
		{"elsewhere", &hut, [][2]float64{{52.5, 13.4}}, nil, hut, align.PlaceGiven, "a", []string{"site given and pictures apart", "site given used", "place in pictures may be old"},
			"as given or as the pictures say?", [][2]float64{hut, {52.5, 13.4}}, 828},
		{"elsewhere, where the sky fits alone", &hut, [][2]float64{{52.5, 100}}, [][2]float64{hut}, [2]float64{52.5, 100}, align.PlacePictures, "a", []string{"site given and pictures apart", "pictures' place used", "other is ruled out"}, "", nil, 0},
		{"a sign the sky rules out", &hut, [][2]float64{{-46.02, 7.75}}, [][2]float64{{-46.02, 7.75}}, hut, align.PlaceGiven, "a", []string{"site given and pictures apart", "latitude's sign", "site given used", "other is ruled out"}, "", nil, 0},
		{"one picture strays", nil, [][2]float64{hut, {52.5, 13.4}, hut}, nil, hut, align.PlacePictures, "b", []string{"some taken elsewhere", "others' place used"},
			"most or the rest?", [][2]float64{hut, {52.5, 13.4}}, 828},
		{"one strays, and the site agrees with the others", &hut, [][2]float64{hut, {52.5, 13.4}, hut}, nil, hut, align.PlaceBoth, "b", []string{"some taken elsewhere", "site given agrees with the others"}, "", nil, 0},
		{"across the date line", &[2]float64{-17, 179.9}, [][2]float64{{-17, -179.9}}, nil, [2]float64{-17, 179.9}, align.PlaceBoth, "", nil, "", nil, 0},
	} {
		t.Run(row.name, func(t *testing.T) {
			var given *ephem.Site
			if row.given != nil {
				s := siteAt(t, row.given[0], row.given[1])
				given = &s
			}
			taken := row.taken
			if row.name == "51 km north" {
				taken = append(taken, taken[0])
			}
			sunk := func(s ephem.Site) bool {
				return slices.ContainsFunc(row.sunk, func(p [2]float64) bool { return siteAt(t, p[0], p[1]) == s })
			}
			p, ok := align.PlaceOf(given, takenAt(t, taken...), sunk)
			if !ok || p.Site != siteAt(t, row.used[0], row.used[1]) || p.Rests != row.rests {
				t.Errorf("%v (%v), rests on %d; want %v on %d", p.Site, ok, p.Rests, row.used, row.rests)
			}
			var d align.Doubt
			for _, d = range p.Doubts {
			}
			files := strings.ReplaceAll(strings.Join(d.Files, ""), ".jpg", "")
			if len(p.Doubts) > 1 || files != row.files || !slices.Equal(keysOf(d.Says), row.says) {
				t.Errorf("%d doubts, of %q: %q; want %q of %q", len(p.Doubts), files, keysOf(d.Says), row.says, row.files)
			}
			checkAsked(t, d.Other.Ask, row.asks, row.of, row.km)
			if noSite := slices.ContainsFunc(d.Ways, func(w amiss.Way) bool { return w.Thing == amiss.NoSite }); noSite != (row.asks == "as given or as the pictures say?") {
				t.Errorf("the way out is %v", d.Ways)
			}
		})
	}
	if _, ok := align.PlaceOf(nil, nil, nil); ok {
		t.Error("a place from nothing")
	}
}

// keysOf are the keys of a line's parts.
func keysOf(l say.Line) (keys []string) {
	if l.None() {
		return nil
	}
	if len(l.With) == 1 {
		if parts, several := l.With[0].([]say.Line); several {
			for _, x := range parts {
				keys = append(keys, string(x.Key))
			}
			return keys
		}
	}
	return []string{string(l.Key)}
}

// checkAsked holds a question to its key, the places in it, and how many kilometres they are said to be apart; 0: it does not say.
func checkAsked(t *testing.T, ask say.Line, key say.Key, of [][2]float64, km float64) {
	t.Helper()
	if ask.Key != key {
		t.Errorf("asks %v, want %q", ask, key)
	}
	for _, w := range ask.With {
		switch w := w.(type) {
		case say.Place:
			if len(of) == 0 || math.Hypot(w.LatitudeDeg-of[0][0], w.LongitudeDeg-of[0][1]) > 1e-9 {
				t.Errorf("asks after %v, want %v", w, of)
				return
			}
			of = of[1:]
		case say.Kilometres:
			if km == 0 || math.Abs(float64(w)-km) > 1 {
				t.Errorf("%.0f km apart, want %.0f", float64(w), km)
			}
		}
	}
	if len(of) > 0 {
		t.Errorf("asks %v, which leaves out %v", ask, of)
	}
}

// TestZoneSlips: a zone that is in use nowhere near the site given, but at the place a slip of the pen makes of it, is asked after; one
// that is in use there, or at neither, is not.
func TestZoneSlips(t *testing.T) {
	for _, c := range []struct {
		name     string
		lat, lon float64
		hours    float64
		other    *[2]float64 // asked after; nil: nothing is
	}{
		{"summer time in western Spain", 42.2, -8.7, 2, nil},
		{"western China", 39.5, 76, 8, nil},
		{"the line islands", 1.9, -157.4, 14, nil},
		{"winter in Colorado", 39.7, -105, -7, nil},
		{"Colorado without its sign", 39.7, 105, -7, &[2]float64{39.7, -105}},
		{"central Asia with a sign", 42.9, -74.6, 6, &[2]float64{42.9, 74.6}},
		{"exchanged", -58.4, -34.6, 9, nil},
		{"the Maldives exchanged", 73.2, 4.2, 5, &[2]float64{4.2, 73.2}},
		{"a camera that kept the zone of its home", -23, -71, 1, nil},
		{"Europe, either sign", 46, -7, 1, nil},
	} {
		site := siteAt(t, c.lat, c.lon)
		shot := drift.Shot{File: "a.jpg", Clock: &frame.Clock{Told: frame.Told{Zone: frame.ZoneInFile, Offset: time.Duration(c.hours * float64(time.Hour))}}}
		p, _ := align.PlaceOf(&site, []drift.Shot{shot}, func(ephem.Site) bool { return false })
		switch {
		case (len(p.Doubts) == 1) != (c.other != nil) || len(p.Doubts) > 1:
			t.Errorf("%s: %+v, want %v", c.name, p.Doubts, c.other)
		case c.other != nil:
			checkAsked(t, p.Doubts[0].Other.Ask, "as given or where the zone is?", [][2]float64{{c.lat, c.lon}, *c.other}, 0)
		}
		if p.Site != site {
			t.Errorf("%s: %v is not used", c.name, site)
		}
	}
}
