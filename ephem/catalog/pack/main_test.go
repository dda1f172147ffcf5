package main

import (
	"bytes"
	"compress/flate"
	"io"
	"os"
	"strings"
	"testing"
)

// The committed files hold what the package gives. Where D3_CELESTIAL names a
// folder with the unpacked npm package, they are made anew and compared as
// they are before compression, which may differ between releases of Go.
func TestCommittedFiles(t *testing.T) {
	from := os.Getenv("D3_CELESTIAL")
	if from == "" {
		t.Skip("D3_CELESTIAL does not name a folder with the unpacked npm package " + source)
	}
	out := t.TempDir()
	if err := run(from, out); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"stars.bin", "names.bin", "showpieces.bin"} {
		if !bytes.Equal(inflate(t, out+"/"+name), inflate(t, "../"+name)) {
			t.Errorf("%s differs from the committed one", name)
		}
	}
}

func inflate(t *testing.T, name string) []byte {
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	b, err := io.ReadAll(flate.NewReader(f))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Two stars, given in the wrong order, by hand from the format at encode.
func TestPackStars(t *testing.T) {
	got, err := packStars([]byte(`{"features":[
		{"id":300,"properties":{"mag":5,"bv":""},"geometry":{"coordinates":[-0.0001,-90]}},
		{"id":1,"properties":{"mag":-1.44,"bv":"-0.4"},"geometry":{"coordinates":[0.0002,90]}}]}`))
	if err != nil {
		t.Fatal(err)
	}
	want := []byte{
		2,             // stars
		1, 0xAB, 0x02, // HIP 1, 299 on
		4, 0xFA, 0xB9, 0xB7, 0x03, // RA 2, 3 599 997 on (zigzag)
		0x40, 0, 0x77, 0, 0x1B, 0, // Dec 1 800 000, 0
		56, 0xBC, 0, 0x02, // magnitude 56, 700
		0x58, 0xFF, 0x02, 0xFF, // B−V 600, none
	}
	if !bytes.Equal(got, want) {
		t.Errorf("got  % x\nwant % x", got, want)
	}
}

func TestPackStarsRefuses(t *testing.T) {
	const ok = `{"id":1,"properties":{"mag":1,"bv":"0"},"geometry":{"coordinates":[1,1]}}`
	for name, star := range map[string]string{
		"not JSON":               `{`,
		"twice":                  ok + `,` + ok,
		"no number":              `{"properties":{"mag":1,"bv":"0"},"geometry":{"coordinates":[1,1]}}`,
		"right ascension in 360": `{"id":1,"properties":{"mag":1,"bv":"0"},"geometry":{"coordinates":[181,1]}}`,
		"declination":            `{"id":1,"properties":{"mag":1,"bv":"0"},"geometry":{"coordinates":[1,91]}}`,
		"more decimals":          `{"id":1,"properties":{"mag":1,"bv":"0"},"geometry":{"coordinates":[1.00005,1]}}`,
		"magnitude":              `{"id":1,"properties":{"mag":-3,"bv":"0"},"geometry":{"coordinates":[1,1]}}`,
		"colour":                 `{"id":1,"properties":{"mag":1,"bv":"red"},"geometry":{"coordinates":[1,1]}}`,
	} {
		if _, err := packStars([]byte(`{"features":[` + star + `]}`)); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// An object of each list, by hand from the format at packShowpieces; the bright list's M 4 is left out.
func TestPackShowpieces(t *testing.T) {
	list := func(feature string) []byte { return []byte(`{"features":[` + feature + `]}`) }
	all := ""
	for _, k := range chosen {
		all += `,{"id":"` + k.id + `","properties":{"type":"oc","mag":"999","dim":"3x20"},"geometry":{"coordinates":[1,2]}}`
	}
	got, err := packShowpieces(
		list(`{"id":"M42","properties":{"desig":"NGC 1976","alt":"Orion´s Nebula","type":"sfr","mag":4,"dim":"66x60"},"geometry":{"coordinates":[83.85,-5.45]}}`),
		list(`{"id":"NGC 6121","properties":{"desig":"M 4","type":"gc","mag":5.4},"geometry":{"coordinates":[83.82,-26]}},`+
			`{"id":"C 41","properties":{"desig":"Mel 25","type":"oc","mag":0.5,"dim":""},"geometry":{"coordinates":[-0.25,16]}}`),
		list(all[1:]), []byte(`{"NGC 1976":{"name":"Great  Nebula"},"NGC 55":{"name":"Pearls"}}`))
	if err != nil {
		t.Fatal(err)
	}
	want := "M 42\tOrion’s Nebula\tnebula\t4.0\t66\t83.8500\t-5.4500\tNGC 1976\tGreat Nebula\n" +
		"C 41\tHyades\topen cluster\t0.5\t\t359.7500\t16.0000\tMel 25\n" +
		"NGC 55\t\topen cluster\t\t20\t1.0000\t2.0000\tPearls\n"
	if !strings.HasPrefix(string(got), want) {
		t.Errorf("got\n%.400s\nwant\n%s", got, want)
	}
	if _, err := packShowpieces(list(""), list(""), list(""), []byte("{}")); err == nil {
		t.Error("no error where chosen objects are missing")
	}
	if _, err := packShowpieces(list(`{"id":"M1","properties":{"type":"nova"}}`), list(""), list(all[1:]), []byte("{}")); err == nil {
		t.Error("no error for a type nobody knows")
	}
}

func TestPackNames(t *testing.T) {
	got, err := packNames([]byte(`{
		"20":{"name":"","bayer":"undefined3","flam":"43","c":"Eri"},
		"3":{"name":"Some Star","bayer":"α1","flam":"","var":"V0822","gl":"GJ 1A","c":"Cen"},
		"4":{"name":"","var":"NSV 8","c":"148"}}`))
	if err != nil {
		t.Fatal(err)
	}
	want := "3\tSome Star\tα¹ Cen\tV822 Cen\tGJ 1A\n4\t\tNSV 8148\n20\t\t43 Eri\n"
	if string(got) != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
}
