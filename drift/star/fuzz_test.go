package star

import (
	"context"
	"encoding/binary"
	"math"
	"testing"

	"trueturn/drift/frame"
)

// Whatever the pixels hold, Find returns, and what it returns are numbers.
func FuzzFind(f *testing.F) {
	for _, seed := range []struct {
		w    uint8
		data []byte
	}{
		{1, []byte{0, 0, 128, 63}}, {5, []byte("any bytes will do as light of a small picture")},
		{40, make([]byte, 4000)}, {3, []byte{0, 0, 192, 127, 0, 0, 128, 127, 0, 0, 128, 255}}, {64, []byte{1, 2, 3, 4, 255, 255, 127, 127}},
	} {
		f.Add(seed.w, seed.data)
	}
	f.Fuzz(func(t *testing.T, w uint8, data []byte) {
		width := int(w)%100 + 1
		if len(data) < 4 || len(data) > 1<<16 {
			return
		}
		height := 70 // the data are repeated: a picture needs some size to have stars
		p := frame.Plane{Width: width, Height: height, Pix: make([]float32, width*height), Saturation: 1}
		for i := range p.Pix {
			k := (i * 4) % (len(data) - 3)
			p.Pix[i] = math.Float32frombits(binary.LittleEndian.Uint32(data[k:]))
		}
		field, err := Find(context.Background(), p, Options{Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range field.Stars {
			for _, v := range []float64{s.X, s.Y, s.XErr, s.YErr, s.Flux, s.FluxErr, s.FWHM, s.Elongation, s.TrailPxErr} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Errorf("star %+v", s)
				}
			}
			if !(s.XErr > 0) || s.Elongation < 1 {
				t.Errorf("star %+v", s)
			}
		}
	})
}
