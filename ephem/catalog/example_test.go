package catalog_test

import (
	"fmt"

	"github.com/soniakeys/unit"

	"trueturn/ephem/catalog"
)

// The five brightest stars within 10° of the star Alnilam.
func ExampleNear() {
	stars := catalog.Stars()
	middle, _ := catalog.ByName("Alnilam")
	for _, i := range catalog.Near(nil, stars[middle].Direction, unit.AngleFromDeg(10), 5) {
		s := stars[i]
		fmt.Printf("%-10s %-5s %.2f\n", catalog.Name(s.HIP), catalog.Designation(s.HIP), s.Magnitude)
	}
	// Output:
	// Rigel      β Ori 0.18
	// Betelgeuse α Ori 0.45
	// Bellatrix  γ Ori 1.64
	// Alnilam    ε Ori 1.69
	// Alnitak    ζ Ori 1.74
}

// A star by its designation.
func ExampleByName() {
	i, ok := catalog.ByName("alpha umi")
	s := catalog.Stars()[i]
	fmt.Println(ok, catalog.Name(s.HIP), s.HIP)
	// Output: true Polaris 11767
}
