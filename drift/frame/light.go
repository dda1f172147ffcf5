package frame

import (
	"math"
	"runtime"
	"sync"
)

// light is a picture whose rows can be asked for, in the order the file stores
// them, as linear values. Rows are independent: row is called from several
// goroutines.
type light struct {
	width, height int
	saturation    float32
	cell          Cell   // as stored
	signal        string // what the values are made of; see signalOf
	row           func(dst []float32, y int) error

	// findSaturation, where set, settles the saturation once all is drawn.
	findSaturation func(Plane) float32
}

// band is how many stored rows are turned at once: sixteen float32 fill one
// cache line of the turned picture.
const band = 16

// draw fills a plane, turned as the EXIF orientation says.
func (l light) draw(orient int) (Plane, error) {
	p := Plane{Width: l.width, Height: l.height, Cell: l.cell.turned(orient), Saturation: l.saturation}
	if orient >= 5 && orient <= 8 {
		p.Width, p.Height = l.height, l.width
	}
	p.Pix = make([]float32, p.Width*p.Height)
	bands := (l.height + band - 1) / band
	err := parallel(bands, func(next func() (int, bool)) (err error) {
		defer guard(&err)
		var buf []float32
		if orient >= 5 && orient <= 8 {
			buf = make([]float32, l.width*band)
		}
		for i, ok := next(); ok; i, ok = next() {
			if err := l.drawBand(p, orient, buf, i*band); err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil && l.findSaturation != nil {
		p.Saturation = l.findSaturation(p)
	}
	return p, err
}

func largest(v []float32) float32 {
	m := float32(0)
	for _, x := range v {
		if x > m {
			m = x
		}
	}
	return m
}

// drawBand places the stored rows y0 … y0+band−1.
func (l light) drawBand(p Plane, orient int, buf []float32, y0 int) error {
	y1 := min(y0+band, l.height)
	for y := y0; y < y1; y++ {
		var dst []float32
		switch orient {
		case 3, 4:
			dst = p.Row(l.height - 1 - y)
		case 5, 6, 7, 8:
			dst = buf[(y-y0)*l.width : (y-y0+1)*l.width]
		default:
			dst = p.Row(y)
		}
		if err := l.row(dst, y); err != nil {
			return err
		}
		if orient == 2 || orient == 3 {
			reverse(dst)
		}
	}
	if orient >= 5 && orient <= 8 {
		l.turn(p, orient, buf, y0, y1)
	}
	return nil
}

// turn writes a band of stored rows as columns. The EXIF standard (CIPA
// DC-008) names where the stored first row and first column lie when
// displayed: 5 left and top, 6 right and top, 7 right and bottom, 8 left and
// bottom.
func (l light) turn(p Plane, orient int, buf []float32, y0, y1 int) {
	fromRight := orient == 6 || orient == 7
	fromBottom := orient == 7 || orient == 8
	first, at, step := 0, y0, l.width // of buf, of the turned row, of buf
	if fromRight {
		first, at, step = (y1-y0-1)*l.width, l.height-y1, -l.width
	}
	for x := range l.width {
		row := x
		if fromBottom {
			row = l.width - 1 - x
		}
		i := first + x
		out := p.Row(row)[at : at+y1-y0]
		for k := range out {
			out[k] = buf[i]
			i += step
		}
	}
}

func reverse(v []float32) {
	for i, j := 0, len(v)-1; i < j; i, j = i+1, j-1 {
		v[i], v[j] = v[j], v[i]
	}
}

// parallelShare: of the parts of a picture no more than this share is worked on
// at once, for each takes memory beside the picture.
const parallelShare = 1.0 / 16

// parallel runs work on as many goroutines as there are cores; next hands out
// 0 … n−1. The first error is returned. work must not panic.
func parallel(n int, work func(next func() (int, bool)) error) error {
	var (
		mu    sync.Mutex
		given int
		first error
		wg    sync.WaitGroup
	)
	next := func() (int, bool) {
		mu.Lock()
		defer mu.Unlock()
		given++
		return given - 1, given <= n && first == nil
	}
	for range min(max(1, int(parallelShare*float64(n))), runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			if err := work(next); err != nil {
				mu.Lock()
				defer mu.Unlock()
				if first == nil {
					first = err
				}
			}
		})
	}
	wg.Wait()
	return first
}

// linearOf undoes the sRGB curve, IEC 61966-2-1:1999 §5.2. v and the result
// run from 0 to 1.
func linearOf(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// codedOf applies the sRGB curve, the inverse of linearOf.
func codedOf(v float64) float64 {
	if v <= 0.0031308 {
		return v * 12.92
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

// curve maps a coded value 0 … 1 to linear light 0 … 1.
type curve func(float64) float64

func identity(v float64) float64 { return v }

// table tabulates a curve over the values 0 … n−1 of an integer file.
func (c curve) table(n int) []float32 {
	t := make([]float32, n)
	for i := range t {
		t[i] = float32(c(float64(i) / float64(n-1)))
	}
	return t
}

// Colour is weighed as a mosaic counts it: two greens to one red and one blue.
// That beats luminance and green alone in the signal-to-noise of stars: a
// converter's colour matrix takes green from red and blue, and gives them its
// noise; luminance leans on what is left of green. Stars of 3 pixels FWHM on a
// mosaic of 400 electrons of sky, developed by dcraw with a typical matrix: white
// 12.9 against 10.4 (luminance), 10.5 (mean), 7.3 (green); red 12.7, 10.3, 11.2,
// 5.7; blue 12.7, 9.1, 11.0, 6.5. Without matrix and white balance, as in FITS
// cubes: white 14.1, 13.2, 13.4, 11.5 (testdata/signal_study.py).
const (
	redWeight   = 0.25
	greenWeight = 0.5
	blueWeight  = 0.25
)

func colourSignal(r, g, b float32) float32 { return redWeight*r + greenWeight*g + blueWeight*b }

// What Frame.Signal says.
const (
	signalGrey   = "grey"
	signalLuma   = "luma"
	signalRGB    = "red, green and blue as 1:2:1"
	signalPlanes = "three planes as 1:2:1"
	signalGreens = "the two greens of each cell"
	signalFour   = "all four pixels of each cell"
)

// signalLinear is for raw pictures without a mosaic, by the number of components.
var signalLinear = map[int]string{1: signalGrey, 2: "mean of two components", 3: signalRGB, 4: "mean of four components"}

// signalOf says which pixels were measured.
func (l light) signalOf() string {
	switch l.cell {
	case GreensFalling, GreensRising:
		return signalGreens
	case FourPixels:
		return signalFour
	}
	return l.signal
}
