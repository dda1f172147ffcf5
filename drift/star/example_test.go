package star_test

import (
	"context"
	"fmt"
	"math"

	"trueturn/drift/frame"
	"trueturn/drift/star"
)

// Three stars on a sky with a gradient; the middle one was drawn at x = 60.25, y = 40.50.
func ExampleFind() {
	p := frame.Plane{Width: 160, Height: 90, Pix: make([]float32, 160*90), Saturation: 1}
	grain := uint32(1)
	for i := range p.Pix {
		x, y := float64(i%160), float64(i/160)
		light := 0.02 + 0.0001*x
		for _, k := range []float64{0, 1, 2} {
			light += 0.2 * math.Exp(-(math.Pow(x-20.25-40*k, 2)+math.Pow(y-20.5-20*k, 2))/(2*1.3*1.3))
		}
		grain = grain*1664525 + 1013904223 // D. E. Knuth, The Art of Computer Programming, vol. 2, §3.3.4
		p.Pix[i] = float32(light + 0.002*(float64(grain>>8)/(1<<24)-0.5))
	}
	f, err := star.Find(context.Background(), p, star.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d stars, condition %v, FWHM %.1f px, elongation %.2f\n", len(f.Stars), f.Condition, f.FWHM, f.Elongation)
	for _, s := range f.Stars {
		if math.Abs(s.X-60) < 5 {
			fmt.Printf("x %.2f, y %.2f, known to better than 0.01 px: %v\n", s.X, s.Y, s.XErr < 0.01)
		}
	}
	// Output:
	// 3 stars, condition good, FWHM 3.1 px, elongation 1.00
	// x 60.25, y 40.50, known to better than 0.01 px: true
}
