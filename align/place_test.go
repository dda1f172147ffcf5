package align_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"trueturn/align"
	"trueturn/drift"
	"trueturn/drift/frame"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
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
		name   string
		given  *[2]float64
		taken  [][2]float64
		sunk   [][2]float64 // from where the pictures would have been below the horizon
		used   [2]float64
		rests  align.PlaceRests
		files  string // of the doubt; empty: there is none
		says   string
		asks   string // empty: nothing is asked
		unsaid string
	}{
		{"no picture tells", &hut, nil, nil, hut, align.PlaceGiven, "", "", "", ""},
		{"no site given", nil, [][2]float64{hut, hut}, nil, hut, align.PlacePictures, "", "", "", ""},
		{"the two agree", &hut, [][2]float64{{46.1, 7.7}}, nil, hut, align.PlaceBoth, "", "", "", ""},
		{"49 km north", &hut, [][2]float64{{46.46, 7.75}}, nil, hut, align.PlaceBoth, "", "", "", ""},
		{"51 km north", &hut, [][2]float64{{46.48, 7.75}}, nil, hut, align.PlaceGiven, "ab", "lies 51 km from", "51 km away?", ""},
		{"a sign of the latitude", &hut, [][2]float64{{-46.1, 7.7}}, nil, [2]float64{-46.1, 7.7}, align.PlacePictures, "a", "it looks like 46.02° N for 46.02° S. The pictures' own place is used.", "Were these pictures taken at 46.10° S, 7.70° E, as they say, and not at 46.02° N, 7.75° E, as given?", string(amiss.NoSite)},
		{"a sign of the longitude", &hut, [][2]float64{{46.02, -7.75}}, nil, [2]float64{46.02, -7.75}, align.PlacePictures, "a", "it looks like 7.75° E for 7.75° W.", "not at", ""},
		{"both signs", &hut, [][2]float64{{-46.02, -7.75}}, nil, [2]float64{-46.02, -7.75}, align.PlacePictures, "a", "it looks like 46.02° N, 7.75° E for 46.02° S, 7.75° W.", "not at", ""},
		{"exchanged", &hut, [][2]float64{{7.75, 46.02}}, nil, [2]float64{7.75, 46.02}, align.PlacePictures, "a", "latitude and longitude look exchanged.", "not at", ""},
		{"exchanged, with a sign", &hut, [][2]float64{{7.75, -46.02}}, nil, [2]float64{7.75, -46.02}, align.PlacePictures, "a", "look exchanged, and a sign is wrong.", "not at", ""},
		{"elsewhere", &hut, [][2]float64{{52.5, 13.4}}, nil, hut, align.PlaceGiven, "a", "The site given is used, for a place in pictures may be an old one.", "Which place is right: 46.02° N, 7.75° E, as given, or 52.50° N, 13.40° E, as the pictures say, 830 km away?", ""},
		{"elsewhere, where the sky fits alone", &hut, [][2]float64{{52.5, 100}}, [][2]float64{hut}, [2]float64{52.5, 100}, align.PlacePictures, "a", "own place is used, for from the other the stars", "", "an old one"},
		{"a sign the sky rules out", &hut, [][2]float64{{-46.02, 7.75}}, [][2]float64{{-46.02, 7.75}}, hut, align.PlaceGiven, "a", "The site given is used, for from the other the stars", "", ""},
		{"one picture strays", nil, [][2]float64{hut, {52.5, 13.4}, hut}, nil, hut, align.PlacePictures, "b", "By their own account one picture was taken at 52.50° N, 13.40° E, 830 km from the others, at 46.02° N, 7.75° E. The others' place is used.", "as most of the pictures say", ""},
		{"one strays, and the site agrees with the others", &hut, [][2]float64{hut, {52.5, 13.4}, hut}, nil, hut, align.PlaceBoth, "b", "The site given is used, and agrees with the others.", "", ""},
		{"across the date line", &[2]float64{-17, 179.9}, [][2]float64{{-17, -179.9}}, nil, [2]float64{-17, 179.9}, align.PlaceBoth, "", "", "", ""},
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
			if len(p.Doubts) > 1 || files != row.files || !strings.Contains(saidOf(d), row.says) || row.unsaid != "" && strings.Contains(saidOf(d), row.unsaid) {
				t.Errorf("%d doubts, of %q: %q; want %q of %q", len(p.Doubts), files, saidOf(d), row.says, row.files)
			}
			if (d.Other.Ask != "") != (row.asks != "") || !strings.Contains(d.Other.Ask, row.asks) {
				t.Errorf("asks %q, want %q", d.Other.Ask, row.asks)
			}
		})
	}
	if _, ok := align.PlaceOf(nil, nil, nil); ok {
		t.Error("a place from nothing")
	}
}

// TestZoneSlips: a zone that is in use nowhere near the site given, but at the place a slip of the pen makes of it, is asked after; one
// that is in use there, or at neither, is not.
func TestZoneSlips(t *testing.T) {
	for _, c := range []struct {
		name     string
		lat, lon float64
		hours    float64
		asks     string
	}{
		{"summer time in western Spain", 42.2, -8.7, 2, ""},
		{"western China", 39.5, 76, 8, ""},
		{"the line islands", 1.9, -157.4, 14, ""},
		{"winter in Colorado", 39.7, -105, -7, ""},
		{"Colorado without its sign", 39.7, 105, -7, "105.00° W"},
		{"central Asia with a sign", 42.9, -74.6, 6, "74.60° E"},
		{"exchanged", -58.4, -34.6, 9, ""},
		{"the Maldives exchanged", 73.2, 4.2, 5, "4.20° N, 73.20° E"},
		{"a camera that kept the zone of its home", -23, -71, 1, ""},
		{"Europe, either sign", 46, -7, 1, ""},
	} {
		site := siteAt(t, c.lat, c.lon)
		shot := drift.Shot{File: "a.jpg", Clock: &frame.Clock{Told: frame.Told{Zone: frame.ZoneInFile, Offset: time.Duration(c.hours * float64(time.Hour))}}}
		p, _ := align.PlaceOf(&site, []drift.Shot{shot}, func(ephem.Site) bool { return false })
		switch {
		case c.asks == "" && len(p.Doubts) > 0, c.asks != "" && (len(p.Doubts) != 1 || !strings.Contains(p.Doubts[0].Other.Ask, c.asks)):
			t.Errorf("%s: %+v, want %q", c.name, p.Doubts, c.asks)
		}
		if p.Site != site {
			t.Errorf("%s: %v is not used", c.name, site)
		}
	}
}
