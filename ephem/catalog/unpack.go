package catalog

import (
	"compress/flate"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// unit0 is the unit of the packed positions, 0.0001°, in radians.
const unit0 = math.Pi / 180 / 1e4

// maxStars bounds what a broken file can make unpack allocate.
const maxStars = 1 << 20

// noBV stands in the packed file for a colour that is not known.
const noBV = 0xFFFF

var errShort = errors.New("ends too early")

// columns are the stars as the file has them, in order of HIP number. The
// format is described at encode in the command pack.
type columns struct {
	hip, ra, dec, magnitude, bv []int32
}

// unpack reads the catalogue and makes it ready for use.
func unpack(packed string) (*sky, error) {
	payload, err := io.ReadAll(io.LimitReader(flate.NewReader(strings.NewReader(packed)), 16*maxStars))
	if err != nil {
		return nil, err
	}
	c, err := decode(payload)
	if err != nil {
		return nil, err
	}
	order := c.brightestFirst()
	s := &sky{stars: make([]Star, len(order)), byHIP: make([]int32, slices.Max(c.hip)+1)}
	for i := range s.byHIP {
		s.byHIP[i] = -1
	}
	for i, k := range order {
		s.stars[i] = c.star(int(k))
		s.byHIP[c.hip[k]] = int32(i)
	}
	s.layers = layers(len(order), func(i int) (ra, dec float64) { return c.place(int(order[i])) })
	return s, nil
}

// decode parts the payload into its columns.
func decode(b []byte) (columns, error) {
	n, k := binary.Uvarint(b)
	if k <= 0 || n == 0 || n > maxStars {
		return columns{}, fmt.Errorf("a count of %d stars", n)
	}
	var c columns
	b = b[k:]
	c.hip, b = differences(b, int(n), func(b []byte) (int64, int) {
		v, k := binary.Uvarint(b)
		return int64(v), k
	})
	c.ra, b = differences(b, int(n), binary.Varint)
	if len(b) != 7*int(n) {
		return columns{}, errShort
	}
	c.dec, b = planes(b, int(n), 3)
	c.magnitude, b = planes(b, int(n), 2)
	c.bv, _ = planes(b, int(n), 2)
	return c, nil
}

// differences reads n numbers, each written as its difference from the one
// before, and gives the bytes left: none of them if there were too few.
func differences(b []byte, n int, read func([]byte) (int64, int)) ([]int32, []byte) {
	out := make([]int32, n)
	var sum int64
	for i := range out {
		d, k := read(b)
		if k <= 0 {
			return nil, nil
		}
		sum, b = sum+d, b[k:]
		if sum < 0 || sum > 4*maxStars {
			return nil, nil
		}
		out[i] = int32(sum)
	}
	return out, b
}

// planes reads n numbers of so many bytes, written low bytes first, all stars
// for each byte.
func planes(b []byte, n, bytes int) ([]int32, []byte) {
	out := make([]int32, n)
	for k := range bytes {
		for i, v := range b[:n] {
			out[i] |= int32(v) << (8 * k)
		}
		b = b[n:]
	}
	return out, b
}

// brightestFirst orders the stars by magnitude, those of one magnitude as they
// stand, by counting: there are far fewer magnitudes than stars.
func (c columns) brightestFirst() []int32 {
	first := make([]int32, slices.Max(c.magnitude)+2)
	for _, m := range c.magnitude {
		first[m+1]++
	}
	for m := 1; m < len(first); m++ {
		first[m] += first[m-1]
	}
	order := make([]int32, len(c.magnitude))
	for k, m := range c.magnitude {
		order[first[m]] = int32(k)
		first[m]++
	}
	return order
}

// place is the right ascension (0 to 2π) and declination of star k, in radians.
func (c columns) place(k int) (ra, dec float64) {
	return float64(c.ra[k]) * unit0, float64(c.dec[k]-900_000) * unit0
}

func (c columns) star(k int) Star {
	ra, dec := c.place(k)
	sa, ca := math.Sincos(ra)
	sd, cd := math.Sincos(dec)
	bv := math.NaN()
	if c.bv[k] != noBV {
		bv = float64(c.bv[k]-1000) / 1000
	}
	return Star{
		Direction: r3.Vec{X: ca * cd, Y: sa * cd, Z: sd},
		Magnitude: float32(float64(c.magnitude[k]-200) / 100),
		BV:        float32(bv),
		HIP:       c.hip[k],
	}
}
