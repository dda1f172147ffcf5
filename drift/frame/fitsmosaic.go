package frame

import (
	"math"
	"slices"
	"strings"
)

// greens reads which diagonal of the stored 2×2 cells is green from the
// colours' order, FourPixels when it does not say. BAYERPAT, XBAYROFF and
// YBAYROFF are not in the standard; their meaning is common practice (no
// source): the pattern starts at the pixel with these offsets.
func (h header) greens(pattern string) Cell {
	p := strings.ToUpper(strings.TrimSpace(pattern))
	if len(p) != 4 || strings.Count(p, "G") != 2 || p[0] == 'G' != (p[3] == 'G') {
		return FourPixels
	}
	x, _ := h.number("XBAYROFF")
	y, _ := h.number("YBAYROFF")
	if odd := math.Mod(math.Abs(x+y), 2) == 1; (p[0] == 'G') != odd {
		return GreensFalling
	}
	return GreensRising
}

// binMosaic makes one value of each 2×2 cell of a one-shot-colour sensor's raw
// picture: the mean of the greens (see mosaic for why), of all four where the
// header does not say which they are. A cell with a clipped pixel among them
// counts as clipped.
//
// Whether the order of colours counts from the top or from the first stored
// row differs between programs, and with an even number of rows that exchanges
// the diagonals. The pixels know: the two greens see the same sky.
func (p *picture) binMosaic(cell Cell) error {
	full := p.light
	if cell != FourPixels {
		differ, err := full.greensDiffer(cell)
		if err != nil {
			return err
		}
		if differ {
			cell = cell.turned(4)
			p.notes = append(p.notes, "the order of colours in the header does not fit the pixels, whose own was taken")
		}
	}
	p.light.width, p.light.height, p.light.cell = full.width/2, full.height/2, cell
	p.light.row = func(dst []float32, y int) error {
		a, b, err := full.pair(2 * y)
		if err != nil {
			return err
		}
		for x := range dst {
			dst[x] = cell.mean(a[2*x:], b[2*x:], full.saturation)
		}
		return nil
	}
	p.light.findSaturation = nil
	if cell == FourPixels {
		p.notes = append(p.notes, "colour mosaic of an order that is not known: the four pixels of each cell were averaged, which moves strongly coloured stars by up to 0.2 pixels")
		return nil
	}
	p.notes = append(p.notes, noteGreens)
	return nil
}

// pair draws two rows, y and the next.
func (l light) pair(y int) (a, b []float32, err error) {
	two := make([]float32, 2*l.width)
	a, b = two[:l.width], two[l.width:]
	if err = l.row(a, y); err == nil {
		err = l.row(b, y+1)
	}
	return a, b, err
}

// mean is the value of the cell whose upper and lower rows begin with a and b;
// their sum itself may overflow.
func (c Cell) mean(a, b []float32, saturation float32) float32 {
	var v, most float32
	switch c {
	case GreensFalling:
		v, most = a[0]/2+b[1]/2, max(a[0], b[1])
	case GreensRising:
		v, most = a[1]/2+b[0]/2, max(a[1], b[0])
	default:
		v, most = a[0]/4+a[1]/4+b[0]/4+b[1]/4, max(a[0], a[1], b[0], b[1])
	}
	if most >= saturation {
		v = max(v, saturation)
	}
	return v
}

// The pixels overrule the header when the pair it calls green differs by
// this many standard errors, and by so many times what the other pair does.
const (
	greensSigmas = 6
	greensTimes  = 4
	greensAsked  = 64 // rows of cells
)

// greensDiffer is whether the pixels of the diagonal called green see
// different skies while those of the other see the same.
func (l light) greensDiffer(called Cell) (bool, error) {
	var falling, rising []float32
	step := max(l.height/2/greensAsked, 1)
	for y := 0; y+1 < l.height; y += 2 * step {
		a, b, err := l.pair(y)
		if err != nil {
			return false, err
		}
		for x := 0; x+1 < l.width; x += 2 {
			falling, rising = append(falling, a[x]-b[x+1]), append(rising, a[x+1]-b[x])
		}
	}
	own, other := middleOf(falling), middleOf(rising)
	if called == GreensRising {
		own, other = other, own
	}
	return own.size > greensSigmas*own.err && own.size > greensTimes*math.Max(other.size, other.err), nil
}

// middle is the size of a median and its standard error.
type middle struct{ size, err float64 }

// middleOf sorts the differences. The error is that of a median of normal
// noise, √(π/2)·σ/√n, σ from the quartiles; stars move neither.
func middleOf(v []float32) middle {
	v = slices.DeleteFunc(v, func(x float32) bool { return x != x })
	if len(v) < 100 {
		return middle{err: math.Inf(1)}
	}
	slices.Sort(v)
	n := len(v)
	sigma := float64(v[3*n/4]-v[n/4]) / 1.349
	return middle{math.Abs(float64(v[n/2])), math.Sqrt(math.Pi/2) * sigma / math.Sqrt(float64(n))}
}
