package frame

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"io"
	"math"
)

// iccpChunk reads the tone curve from the compressed profile of a PNG.
func iccpChunk(b []byte) curve {
	_, rest, ok := bytes.Cut(b, []byte{0})
	if !ok || len(rest) < 2 || rest[0] != 0 {
		return nil
	}
	z, err := zlib.NewReader(bytes.NewReader(rest[1:]))
	if err != nil {
		return nil
	}
	profile, err := io.ReadAll(io.LimitReader(z, maxFieldBytes))
	if err != nil {
		return nil
	}
	return iccCurve(profile)
}

// iccCurve finds the tone curve of an ICC profile (ICC.1:2022 §7, §10.6,
// §10.18): the grey curve, else the green one. nil when there is none.
func iccCurve(profile []byte) curve {
	if len(profile) < 132 {
		return nil
	}
	n := int(min(binary.BigEndian.Uint32(profile[128:]), 100))
	for i := 0; i < n && 132+12*i+12 <= len(profile); i++ {
		e := profile[132+12*i:]
		name := string(e[:4])
		off, size := uint64(binary.BigEndian.Uint32(e[4:])), uint64(binary.BigEndian.Uint32(e[8:]))
		if (name == "kTRC" || name == "gTRC") && off+size <= uint64(len(profile)) && size >= 12 {
			return iccTone(profile[off : off+size])
		}
	}
	return nil
}

func iccTone(b []byte) curve {
	switch string(b[:4]) {
	case "curv":
		return iccTable(b[8:])
	case "para":
		return iccParametric(int(binary.BigEndian.Uint16(b[8:])), b[12:])
	}
	return nil
}

// iccTable reads curveType: empty is linear, one value a power, more a table.
func iccTable(b []byte) curve {
	n := int(min(binary.BigEndian.Uint32(b), 1<<16))
	if n == 0 {
		return identity
	}
	if len(b) < 4+2*n {
		return nil
	}
	at := func(i int) float64 { return float64(binary.BigEndian.Uint16(b[4+2*i:])) }
	if n == 1 {
		return plausiblePower(at(0) / 256)
	}
	return func(v float64) float64 {
		x := v * float64(n-1)
		i := min(int(x), n-2)
		f := x - float64(i)
		return ((1-f)*at(i) + f*at(i+1)) / 65535
	}
}

// iccParametric reads parametricCurveType, functions 0, 3 and 4: a power, and
// a power with a straight foot. Values are signed 15.16 fixed point.
func iccParametric(function int, b []byte) curve {
	need := map[int]int{0: 1, 3: 5, 4: 7}[function]
	if need == 0 || len(b) < 4*need {
		return nil
	}
	var k [7]float64 // g a b c d e f
	for i := range need {
		k[i] = float64(int32(binary.BigEndian.Uint32(b[4*i:]))) / 65536
	}
	if function == 0 || plausiblePower(k[0]) == nil {
		return plausiblePower(k[0])
	}
	return func(v float64) float64 {
		if v < k[4] {
			return clipped(k[3]*v + k[6])
		}
		return clipped(math.Pow(max(0, k[1]*v+k[2]), k[0]) + k[5])
	}
}

// clipped holds a value in the range that ICC.1:2022 §10.18 gives the functions.
func clipped(v float64) float64 { return min(max(v, 0), 1) }

// plausiblePower is nil for an exponent that no picture is coded with: powers
// of zero and less turn black into light, or into infinity.
func plausiblePower(exponent float64) curve {
	if exponent < 0.1 || exponent > 10 {
		return nil
	}
	return powerCurve(exponent)
}
