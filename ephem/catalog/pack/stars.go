package main

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
)

// A row is a star in the units of the packed file.
type row struct {
	hip       int32
	ra        int32 // 0.0001°, 0 ≤ ra < 3 600 000
	dec       int32 // 0.0001°, from the south pole up: 0 to 1 800 000
	magnitude int32 // 0.01, from magnitude −2
	bv        int32 // 0.001, from B−V = −1; noBV where there is none
}

const (
	circle = 3_600_000 // 0.0001° in a turn
	noBV   = 0xFFFF
)

// feature is a star as the package has it.
type feature struct {
	ID         int32
	Properties struct {
		Mag float64
		BV  string
	}
	Geometry struct{ Coordinates [2]float64 }
}

// packStars turns the GeoJSON of the stars into the payload of stars.bin.
func packStars(js []byte) ([]byte, error) {
	var doc struct{ Features []feature }
	if err := json.Unmarshal(js, &doc); err != nil {
		return nil, err
	}
	rows := make([]row, len(doc.Features))
	for i, f := range doc.Features {
		r, err := f.row()
		if err != nil {
			return nil, fmt.Errorf("HIP %d: %w", f.ID, err)
		}
		rows[i] = r
	}
	slices.SortFunc(rows, func(a, b row) int { return int(a.hip - b.hip) })
	for i := 1; i < len(rows); i++ {
		if rows[i].hip == rows[i-1].hip {
			return nil, fmt.Errorf("HIP %d is there twice", rows[i].hip)
		}
	}
	return encode(rows), nil
}

// row converts a star to fixed point and refuses what would not survive it.
func (f feature) row() (row, error) {
	lon, lat := f.Geometry.Coordinates[0], f.Geometry.Coordinates[1]
	if f.ID <= 0 || !(math.Abs(lon) <= 180) || !(math.Abs(lat) <= 90) {
		return row{}, fmt.Errorf("number or position out of range: %v, %v", lon, lat)
	}
	var r row
	var err error
	// The package runs right ascension from −180° to 180°.
	if r.ra, err = fixed(lon, 1e4, 0); err != nil {
		return row{}, err
	}
	if r.dec, err = fixed(lat, 1e4, 90); err != nil {
		return row{}, err
	}
	if r.magnitude, err = fixed(f.Properties.Mag, 100, 2); err != nil {
		return row{}, err
	}
	r.hip, r.ra, r.bv = f.ID, (r.ra+circle)%circle, noBV
	if f.Properties.BV != "" { // 1279 stars have none
		bv, err := strconv.ParseFloat(f.Properties.BV, 64)
		if err != nil {
			return row{}, err
		}
		if r.bv, err = fixed(bv, 1000, 1); err != nil {
			return row{}, err
		}
	}
	return r, r.fits()
}

// fixed is v + offset in units of 1/scale; it is an error if v has more
// decimals than that.
func fixed(v, scale, offset float64) (int32, error) {
	n := math.Round(v * scale)
	if math.Abs(n-v*scale) > 1e-6 {
		return 0, fmt.Errorf("%v has more decimals than the file keeps", v)
	}
	return int32(n + offset*scale), nil
}

// fits says whether the columns are wide enough for the row.
func (r row) fits() error {
	if r.magnitude < 0 || r.magnitude > 0xFFFF || r.bv < 0 || r.bv > noBV {
		return fmt.Errorf("magnitude or colour out of range: %d, %d", r.magnitude, r.bv)
	}
	return nil
}

// encode writes the columns one after the other, each in order of HIP number,
// in which right ascension runs almost in order too: what is alike stands
// together and deflates well.
//
//	count        uvarint
//	HIP          uvarint differences
//	RA           zigzag varint differences
//	Dec          three planes of bytes, low to high
//	magnitude    two planes
//	B−V          two planes
func encode(rows []row) []byte {
	b := binary.AppendUvarint(nil, uint64(len(rows)))
	var last row
	for _, r := range rows {
		b = binary.AppendUvarint(b, uint64(r.hip-last.hip))
		last = r
	}
	last = row{}
	for _, r := range rows {
		b = binary.AppendVarint(b, int64(r.ra-last.ra))
		last = r
	}
	b = planes(b, rows, 3, func(r row) int32 { return r.dec })
	b = planes(b, rows, 2, func(r row) int32 { return r.magnitude })
	return planes(b, rows, 2, func(r row) int32 { return r.bv })
}

// planes appends the n low bytes of a column, byte by byte.
func planes(b []byte, rows []row, n int, column func(row) int32) []byte {
	for k := range n {
		for _, r := range rows {
			b = append(b, byte(column(r)>>(8*k)))
		}
	}
	return b
}
