package frame_test

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"

	"trueturn/drift/frame"
	"trueturn/drift/star"
	"trueturn/ephem/amiss"
)

// kindOfFile is a kind of file whose memory is tried: a picture of nothing, of
// any size, in as few bytes as the format allows.
type kindOfFile struct {
	name  string
	told  string // as the manual tells its limit
	bulky bool   // tiles or strips as large as the picture, or garbage beyond it: tried against the system's count alone
	write func(w *out, width, height int)
}

// kindsOfFiles are the worst of each kind.
var kindsOfFiles = []kindOfFile{
	{name: "JPEG grey", told: "JPEG: grey", write: jpegOf(false, false, 0x11)},
	{name: "JPEG 4:2:0", told: "JPEG: 4:2:0", write: jpegOf(false, false, 0x22, 0x11, 0x11)},
	{name: "JPEG 4:2:2", told: "JPEG: 4:2:2", write: jpegOf(false, false, 0x21, 0x11, 0x11)},
	{name: "JPEG 4:4:4", told: "JPEG: 4:4:4", write: jpegOf(false, false, 0x11, 0x11, 0x11)},
	{name: "JPEG RGB", told: "JPEG: RGB or CMYK", write: jpegOf(false, true, 0x11, 0x11, 0x11)},
	{name: "JPEG CMYK", told: "JPEG: RGB or CMYK", write: jpegOf(false, true, 0x11, 0x11, 0x11, 0x11)},
	{name: "JPEG grey, progressive", told: "JPEG, progressive: grey", write: jpegOf(true, false, 0x11)},
	{name: "JPEG 4:2:0, progressive", told: "JPEG, progressive: 4:2:0", write: jpegOf(true, false, 0x22, 0x11, 0x11)},
	{name: "JPEG 4:4:4, progressive", told: "JPEG, progressive: 4:4:4", write: jpegOf(true, false, 0x11, 0x11, 0x11)},
	{name: "JPEG RGB, progressive", told: "JPEG, progressive: RGB", write: jpegOf(true, true, 0x11, 0x11, 0x11)},
	{name: "JPEG CMYK, progressive", told: "JPEG, progressive: CMYK", write: jpegOf(true, true, 0x11, 0x11, 0x11, 0x11)},
	{name: "PNG 8-bit grey", told: "PNG: 8-bit grey or palette", write: pngOf(8, 0, false)},
	{name: "PNG 8-bit RGBA", told: "PNG: 8-bit colour", write: pngOf(8, 6, false)},
	{name: "PNG 16-bit grey", told: "PNG: 16-bit grey", write: pngOf(16, 0, false)},
	{name: "PNG 16-bit RGBA", told: "PNG: 16-bit colour", write: pngOf(16, 6, false)},
	{name: "PNG 16-bit RGBA, interlaced", told: "PNG: the same interlaced", write: pngOf(16, 6, true)},
	{name: "TIFF 16-bit RGB, plain", told: "TIFF: uncompressed", write: tiffOf(1, 3, 1<<20)},
	{name: "TIFF 16-bit grey, packed", told: "TIFF: packed 16-bit grey", bulky: true, write: tiffOf(8, 1, 1)},
	{name: "TIFF 16-bit RGB, packed", told: "TIFF: packed 16-bit colour", bulky: true, write: tiffOf(8, 3, 1)},
	{name: "TIFF 16-bit RGB, one packed strip", bulky: true, write: tiffOf(8, 3, 1<<20)},
	{name: "FITS 16-bit", told: "FITS: plain", write: fitsOf(16, 1)},
	{name: "FITS 64-bit", told: "FITS: plain", write: fitsOf(-64, 1)},
	{name: "FITS 16-bit, gzip", bulky: true, write: gzipped(fitsOf(16, 1))},
	{name: "FITS 16-bit, Rice", told: "FITS: packed of 16 bits", write: riceOf(16, 1)},
	{name: "FITS 32-bit, Rice", told: "FITS: packed of 32 bits", write: riceOf(32, 1)},
	{name: "FITS 32-bit, Rice in one tile", bulky: true, write: riceOf(32, 1<<20)},
	{name: "DNG mosaic, tiles", told: "DNG: mosaic", bulky: true, write: dngOf(1, 256)},
	{name: "DNG mosaic, one strip", bulky: true, write: dngOf(1, 1<<20)},
	{name: "DNG linear, tiles", told: "DNG: linear", bulky: true, write: dngOf(3, 256)},
}

// out is a file being written.
type out struct {
	*os.File
	t     *testing.T
	brief bool // what comes after the header may be missing
}

func (w *out) put(b ...byte) {
	if _, err := w.Write(b); err != nil {
		w.t.Fatal(err)
	}
}

func (w *out) at() int64 {
	at, err := w.Seek(0, io.SeekCurrent)
	if err != nil {
		w.t.Fatal(err)
	}
	return at
}

// skip leaves so many zeros, which take no room on most disks.
func (w *out) skip(n int64) {
	at := w.at() + n
	if err := w.Truncate(at); err != nil {
		w.t.Fatal(err)
	}
	w.Seek(at, io.SeekStart)
}

// pad makes the file as long as a picture of so many pixels must be.
func (w *out) pad(width, height int) {
	if short := int64(width)*int64(height)/100 + 1 - w.at(); short > 0 {
		w.skip(short)
	}
}

func be16(v int) []byte { return binary.BigEndian.AppendUint16(nil, uint16(v)) }

// jpegOf writes one scan of zeros, each a block's mean like the last one's and,
// where not progressive, the end of the block (ITU-T T.81 annexes B and F).
func jpegOf(progressive, adobe bool, sampling ...byte) func(*out, int, int) {
	return func(w *out, width, height int) {
		segment := func(marker byte, content ...byte) {
			w.put(append(append([]byte{0xff, marker}, be16(len(content)+2)...), content...)...)
		}
		w.put(0xff, 0xd8)
		if adobe {
			segment(0xee, append([]byte("Adobe"), 0, 100, 0, 0, 0, 0, 0)...)
		}
		segment(0xdb, append([]byte{0}, bytes.Repeat([]byte{1}, 64)...)...)
		sof := append(append([]byte{8}, be16(height)...), append(be16(width), byte(len(sampling)))...)
		sos := []byte{byte(len(sampling))}
		blocks, h0, v0 := 0, int(sampling[0]>>4), int(sampling[0]&15)
		for i, s := range sampling {
			sof, sos = append(sof, byte(i+1), s, 0), append(sos, byte(i+1), 0)
			blocks += int(s>>4) * int(s&15)
		}
		segment(0xc0+2*b2i(progressive), sof...)
		one := append([]byte{0, 1}, make([]byte, 15)...) // one code of one bit
		segment(0xc4, append(one, 0)...)
		one[0] = 0x10
		segment(0xc4, append(one, 0)...)
		if progressive {
			segment(0xda, append(sos, 0, 0, 0)...)
		} else {
			segment(0xda, append(sos, 0, 63, 0)...)
		}
		bits := blocks * ((width + 8*h0 - 1) / (8 * h0)) * ((height + 8*v0 - 1) / (8 * v0)) * int(2-b2i(progressive))
		w.put(make([]byte, bits/8+1)...)
		w.put(0xff, 0xd9)
		w.pad(width, height)
	}
}

func b2i(b bool) byte {
	if b {
		return 1
	}
	return 0
}

// pngOf writes rows of zeros (PNG, third edition); colour is the colour type.
func pngOf(depth, colour byte, interlaced bool) func(*out, int, int) {
	samples := map[byte]int{0: 1, 2: 3, 4: 2, 6: 4}[colour]
	return func(w *out, width, height int) {
		chunk := func(name string, content []byte) {
			b := append([]byte(name), content...)
			w.put(binary.BigEndian.AppendUint32(nil, uint32(len(content)))...)
			w.put(binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b))...)
		}
		w.put([]byte("\x89PNG\r\n\x1a\n")...)
		size := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(width)), uint32(height))
		chunk("IHDR", append(size, depth, colour, 0, 0, b2i(interlaced)))
		rows := func(w, h int) int64 { return int64(h) * int64(1+w*samples*int(depth)/8) }
		n := rows(width, height)
		if interlaced {
			n = 0
			for _, p := range [][4]int{{0, 0, 8, 8}, {4, 0, 8, 8}, {0, 4, 4, 8}, {2, 0, 4, 4}, {0, 2, 2, 4}, {1, 0, 2, 2}, {0, 1, 1, 2}} { // §8.2
				n += rows((width-p[0]+p[2]-1)/p[2], (height-p[1]+p[3]-1)/p[3])
			}
		}
		if w.brief {
			n = 1000
		}
		chunk("IDAT", deflated(n))
		chunk("IEND", nil)
		w.pad(width, height)
	}
}

// deflated packs n zeros.
func deflated(n int64) []byte {
	var b bytes.Buffer
	z := zlib.NewWriter(&b)
	io.CopyN(z, zeros{}, n)
	z.Close()
	return b.Bytes()
}

type zeros struct{}

func (zeros) Read(b []byte) (int, error) { clear(b); return len(b), nil }

// tiffWith ends a little-endian TIFF (TIFF 6.0): fields of LONGs in ascending order.
func tiffWith(w *out, fields map[uint16][]uint32) {
	var tags []uint16
	for tag := range 1 << 16 {
		if fields[uint16(tag)] != nil {
			tags = append(tags, uint16(tag))
		}
	}
	directory := binary.LittleEndian.AppendUint16(nil, uint16(len(tags)))
	for _, tag := range tags {
		v := fields[tag]
		kind, content := uint16(4), []byte{}
		if tag == 33422 { // CFAPattern: bytes
			kind, content = 1, []byte{byte(v[0]), byte(v[1]), byte(v[2]), byte(v[3])}
		} else {
			for _, x := range v {
				content = binary.LittleEndian.AppendUint32(content, x)
			}
		}
		if len(content) > 4 {
			at := w.at()
			w.put(content...)
			content = binary.LittleEndian.AppendUint32(nil, uint32(at))
		}
		directory = binary.LittleEndian.AppendUint16(directory, tag)
		directory = binary.LittleEndian.AppendUint16(directory, kind)
		directory = binary.LittleEndian.AppendUint32(directory, uint32(len(v)))
		directory = append(directory, content...)
	}
	at := w.at()
	w.put(append(directory, 0, 0, 0, 0)...)
	w.WriteAt(binary.LittleEndian.AppendUint32(nil, uint32(at)), 4)
}

// tiffOf writes strips of 16-bit samples, plain (1) or deflated (8).
func tiffOf(compression, samples, rows int) func(*out, int, int) {
	return func(w *out, width, height int) {
		rows := min(rows, height)
		line := int64(2 * samples * width)
		w.put([]byte("II*\x00\x00\x00\x00\x00")...)
		var whole, rest []byte
		if compression != 1 {
			whole, rest = deflated(line*int64(rows)), deflated(line*int64(height%rows))
		}
		var offsets, counts []uint32
		for y := 0; y < height; y += rows {
			offsets = append(offsets, uint32(w.at()))
			n := line * int64(min(rows, height-y))
			switch {
			case compression == 1:
				w.skip(n)
			case y+rows > height:
				w.put(rest...)
			default:
				w.put(whole...)
			}
			counts = append(counts, uint32(w.at())-offsets[len(offsets)-1])
		}
		bits := []uint32{16, 16, 16}[:samples]
		w.pad(width, height)
		tiffWith(w, map[uint16][]uint32{256: {uint32(width)}, 257: {uint32(height)}, 258: bits, 259: {uint32(compression)}, 262: {uint32(samples/3 + 1)},
			273: offsets, 277: {uint32(samples)}, 278: {uint32(rows)}, 279: counts})
	}
}

// dngOf writes plain tiles of 16-bit samples, or one strip where they would be
// larger than the picture (DNG 1.6, chapters 2 and 4).
func dngOf(samples, tile int) func(*out, int, int) {
	return func(w *out, width, height int) {
		w.put([]byte("II*\x00\x00\x00\x00\x00")...)
		fields := map[uint16][]uint32{254: {0}, 256: {uint32(width)}, 257: {uint32(height)}, 258: []uint32{16, 16, 16}[:samples], 259: {1}, 277: {uint32(samples)}, 50706: {0x0401}}
		fields[262] = []uint32{34892}
		if samples == 1 {
			fields[262], fields[33421], fields[33422] = []uint32{32803}, []uint32{2, 2}, []uint32{0, 1, 1, 2}
		}
		if tile > width {
			fields[273], fields[278], fields[279] = []uint32{8}, []uint32{uint32(height)}, []uint32{uint32(2 * samples * width * height)}
			w.skip(int64(2 * samples * width * height))
			tiffWith(w, fields)
			return
		}
		for range ((width + tile - 1) / tile) * ((height + tile - 1) / tile) {
			fields[324] = append(fields[324], uint32(w.at()))
			fields[325] = append(fields[325], uint32(2*samples*tile*tile))
			w.skip(int64(2 * samples * tile * tile))
		}
		fields[322], fields[323] = []uint32{uint32(tile)}, []uint32{uint32(tile)}
		tiffWith(w, fields)
	}
}

// cards writes a header (FITS 4.0 §4.1).
func cards(w *out, lines ...string) {
	b := ""
	for _, l := range append(lines, "END") {
		b += fmt.Sprintf("%-80s", l)
	}
	w.put([]byte(b + strings.Repeat(" ", (2880-len(b)%2880)%2880))...)
}

func fitsOf(bitpix, planes int) func(*out, int, int) {
	return func(w *out, width, height int) {
		cards(w, "SIMPLE  = T", fmt.Sprintf("BITPIX  = %d", bitpix), "NAXIS   = 3", fmt.Sprintf("NAXIS1  = %d", width), fmt.Sprintf("NAXIS2  = %d", height), fmt.Sprintf("NAXIS3  = %d", planes))
		w.skip(int64(width) * int64(height) * int64(planes) * int64(max(bitpix, -bitpix)/8))
	}
}

// gzipped packs what another writes.
func gzipped(write func(*out, int, int)) func(*out, int, int) {
	return func(w *out, width, height int) {
		plain, err := os.CreateTemp(w.t.TempDir(), "")
		if err != nil {
			w.t.Fatal(err)
		}
		defer plain.Close()
		write(&out{File: plain, t: w.t}, width, height)
		plain.Seek(0, io.SeekStart)
		z := gzip.NewWriter(w)
		io.Copy(z, plain)
		z.Close()
		at := w.at()
		w.pad(width*2, height) // of its bytes, which may be a hundred times the file's
		if w.at() > at {       // an empty member; zeros would be damage
			w.Seek(at, io.SeekStart)
			w.put(emptyMember(int(int64(width)*int64(height)*2/100 + 64 - at))...)
		}
	}
}

// emptyMember is gzip of nothing, its name field so long (RFC 1952 §2.3.1).
func emptyMember(n int) []byte {
	head := []byte{0x1f, 0x8b, 8, 0x04, 0, 0, 0, 0, 0, 0xff} // FEXTRA
	var b []byte
	for n > 0 {
		m := min(n, 60000)
		b = append(append(b, head...), byte(m), byte(m>>8))
		b = append(append(b, make([]byte, m)...), 3, 0, 0, 0, 0, 0, 0, 0, 0, 0)
		n -= m
	}
	return b
}

// riceOf writes tiles of so many rows of zeros: a first number, then for every
// block of 32 a field of zeros that says that nothing changes (FITS 4.0 §10.4.1).
func riceOf(bitpix, rows int) func(*out, int, int) {
	return func(w *out, width, height int) {
		rows := min(rows, height)
		tiles := (height + rows - 1) / rows
		bits := map[int]int{16: 4, 32: 5}[bitpix]
		n := bitpix/8 + (bits*((width*rows+31)/32)+7)/8
		cards(w, "SIMPLE  = T", "BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 8", fmt.Sprintf("NAXIS2  = %d", tiles), fmt.Sprintf("PCOUNT  = %d", n*tiles), "TFIELDS = 1",
			"TTYPE1  = 'COMPRESSED_DATA'", fmt.Sprintf("TFORM1  = '1PB(%d)'", n), "ZIMAGE  = T", fmt.Sprintf("ZBITPIX = %d", bitpix), "ZNAXIS  = 2",
			fmt.Sprintf("ZNAXIS1 = %d", width), fmt.Sprintf("ZNAXIS2 = %d", height), fmt.Sprintf("ZTILE2  = %d", rows), "ZCMPTYPE= 'RICE_1'",
			"ZNAME1  = 'BYTEPIX'", fmt.Sprintf("ZVAL1   = %d", bitpix/8))
		for i := range tiles {
			w.put(binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(n)), uint32(n*i))...)
		}
		w.skip(int64(n * tiles))
		w.pad(width, height)
	}
}

// file writes a picture and returns its path.
func (k kindOfFile) file(t *testing.T, width, height int) string {
	t.Helper()
	return k.save(t, width, height, false)
}

func (k kindOfFile) save(t *testing.T, width, height int, brief bool) string {
	t.Helper()
	f, err := os.Create(filepath.Join(t.TempDir(), "picture"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	k.write(&out{f, t, brief}, width, height)
	return f.Name()
}

// eachPixel is what reading takes of a pixel, as Decode says before it begins.
func (k kindOfFile) eachPixel(t *testing.T, width, height int) float64 {
	t.Helper()
	then := errStop
	if k.bulky { // some ask again when they know more
		then = nil
	}
	need, err := needOf(t, k.file(t, width, height), then)
	if !errors.Is(err, then) {
		t.Fatal(err)
	}
	return float64(need) / float64(width*height)
}

// errStop ends Decode once it is known what it needs.
var errStop = errors.New("stop")

func needOf(t *testing.T, path string, then error) (need int64, err error) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	_, err = frame.Decode(f, frame.Options{Admit: func(n int64) error { need = n; return then }})
	return need, err
}

// TestLimitsTold: "trueturn help formats" tells the limit of each kind as it is.
func TestLimitsTold(t *testing.T) {
	manual, err := os.ReadFile("../../cmd/face/manual/formats.txt")
	if err != nil {
		t.Fatal(err)
	}
	told := map[string]string{}
	rows := regexp.MustCompile(`,\n +`).ReplaceAllString(string(manual), ", ") // one line a format
	for _, row := range regexp.MustCompile(`(?m)^  ([A-Z]{3,4}(?:, progressive)?)  +(.* \d+)$`).FindAllStringSubmatch(rows, -1) {
		for _, m := range regexp.MustCompile(`([^,]+) (\d+)(?:, |$)`).FindAllStringSubmatch(row[2], -1) {
			told[row[1]+": "+m[1]] = m[2]
		}
	}
	for _, k := range kindsOfFiles {
		const width, height = 2048, 2048
		want := strconv.Itoa(min(200, int(frame.MostBytes/k.eachPixel(t, width, height)/1e6)))
		if k.told != "" && told[k.told] != want {
			t.Errorf("%s: the manual says %q, %s are read", k.told, told[k.told], want)
		}
	}
}

// TestTooLarge: just over its limit a picture of each kind is refused before anything is asked for, with the limit and a
// way out.
func TestTooLarge(t *testing.T) {
	for _, k := range kindsOfFiles {
		if k.told == "" { // the same code, and slow to write
			continue
		}
		t.Run(k.name, func(t *testing.T) {
			const width = 16000
			height := int(min(200e6, frame.MostBytes/k.eachPixel(t, 2048, 2048))) / width
			asked, err := needOf(t, k.save(t, width, height-height/50, true), errStop)
			if !errors.Is(err, errStop) || asked == 0 || asked > frame.MostBytes {
				t.Errorf("below the limit: %v, %d bytes asked for", err, asked)
			}
			asked, err = needOf(t, k.save(t, width, height+height/50, true), nil)
			var own *amiss.Error
			if !errors.As(err, &own) || own.Kind != frame.ErrTooLarge || asked != 0 {
				t.Fatalf("over the limit: %v, %d bytes asked for", err, asked)
			}
			if !strings.Contains(fmt.Sprint(own.Ways), "megapixels") || !strings.Contains(fmt.Sprint(own.Ways), "save it smaller") {
				t.Errorf("hint %q", own.Ways)
			}
		})
	}
}

// TestMemory holds what is reckoned of each kind to what the decoders ask Go
// for, on pictures of a megapixel.
func TestMemory(t *testing.T) {
	const width, height = 1280, 832
	for _, k := range kindsOfFiles {
		t.Run(k.name, func(t *testing.T) {
			path := k.file(t, width, height)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			need, err := needOf(t, path, nil)
			runtime.ReadMemStats(&after)
			if err != nil {
				t.Fatal(err)
			}
			if k.bulky {
				return // held to what the system counts, below
			}
			const pixels, plane = width * height, 4
			each, taken := float64(need)/pixels, float64(after.TotalAlloc-before.TotalAlloc)/pixels
			// Reckoned is the dearer of two steps, and what is taken is counted over both: the plane may come on top. A
			// megapixel feels the 0.6 MB of tables and buffers that a picture of any size takes.
			const tables = 0.7
			if taken < 0.9*each-tables || taken > each+plane+tables {
				t.Errorf("%.2f bytes a pixel were set aside, %.2f reckoned", taken, each)
			}
		})
	}
}

// memoryFor names the picture to the test below, when it is run as a program of its own.
const memoryFor = "TRUETURN_TEST_PICTURE"

// TestMemoryOfOne is no test but a program that reads a picture and finds its stars.
func TestMemoryOfOne(t *testing.T) {
	path := os.Getenv(memoryFor)
	if path == "" {
		t.Skip("only run by TestMemoryTable")
	}
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	fr, err := frame.Decode(f, frame.Options{})
	if err == nil {
		fmt.Printf("decoded %d\n", peak(t))
		_, err = star.Find(t.Context(), fr.Plane, star.Options{})
	}
	fmt.Printf("peak %d\nerror %v\n", peak(t), err)
}

// peak is the most memory this process has held, in thousands of bytes.
func peak(t *testing.T) int {
	t.Helper()
	f, err := os.Open("/proc/self/status")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		if v, ok := strings.CutPrefix(s.Text(), "VmHWM:"); ok {
			n, _ := strconv.Atoi(strings.Fields(v)[0])
			return n * 1024 / 1000
		}
	}
	return 0
}

// TestMemoryTable is the table of files tried against memory: the worst of each
// kind at its limit and just over it, each read by a process of its own and held to
// what Linux counts (VmHWM).
//
//	TRUETURN_MEMORY=1 go test ./drift/frame -run TestMemoryTable -v -timeout 2h
func TestMemoryTable(t *testing.T) {
	if os.Getenv("TRUETURN_MEMORY") == "" {
		t.Skip("minutes and a gigabyte; set TRUETURN_MEMORY=1")
	}
	if runtime.GOOS != "linux" {
		t.Skip("asks the system through /proc")
	}
	// A program of Go's takes some 30 MB for itself, and collecting is no exact science.
	const most = frame.MostBytes/1000*1.1 + 40_000
	fmt.Println("| file | size | megapixels | bytes a pixel | peak, MB | just over | peak, MB |\n|---|---|---|---|---|---|---|")
	for _, k := range kindsOfFiles {
		t.Run(k.name, func(t *testing.T) {
			const width = 16000
			height := 832
			for range 2 { // the share of a tile changes with the height
				each := k.eachPixel(t, width, height)
				height = min(200_000_000/width, int(frame.MostBytes/each)/width) / 16 * 16
			}
			at, over := k.file(t, width, height), k.file(t, width, height+max(16, height/50/16*16))
			info, _ := os.Stat(at)
			good, bad := readAlone(t, at), readAlone(t, over)
			fmt.Printf("| %s | %.1f MB | %.0f | %.1f | %.0f, %.0f with its stars | %s | %.0f |\n", k.name, float64(info.Size())/1e6, float64(width*height)/1e6, k.eachPixel(t, width, height),
				float64(good.decoded)/1e3, float64(good.peak)/1e3, bad.err, float64(bad.peak)/1e3)
			if good.err != "<nil>" || float64(good.peak) > most {
				t.Errorf("at the limit: %+v", good)
			}
			if !strings.Contains(bad.err, "pixels") || bad.peak > 100_000 {
				t.Errorf("over the limit: %+v", bad)
			}
		})
	}
}

type alone struct {
	decoded, peak int // thousands of bytes
	err           string
}

func readAlone(t *testing.T, path string) (a alone) {
	t.Helper()
	c := exec.Command(os.Args[0], "-test.run=^TestMemoryOfOne$", "-test.v")
	c.Env = append(os.Environ(), memoryFor+"="+path)
	text, err := c.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	find := func(what string) string {
		m := regexp.MustCompile(`(?m)^` + what + ` (.*)$`).FindSubmatch(text)
		if m == nil {
			return ""
		}
		return string(m[1])
	}
	a.decoded, _ = strconv.Atoi(find("decoded"))
	a.peak, _ = strconv.Atoi(find("peak"))
	a.err = find("error")
	return a
}
