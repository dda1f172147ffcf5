package guide_test

import (
	"context"
	"errors"
	"fmt"

	"trueturn/align/guide"
	"trueturn/drift"
)

// A picture nothing could be made of is listed with the reason.
func Example() {
	g := guide.New(guide.Options{})
	fmt.Println(g.View().Live.Phase)
	if err := g.Add(context.Background(), drift.Shot{File: "a.jpg", Err: errors.New("the file is cut short")}); err != nil {
		fmt.Println(err)
	}
	v := g.View()
	fmt.Println(v.Live.Phase)
	fmt.Println(v.Frames[0].File, v.Frames[0].Used, v.Frames[0].WhyNot)
	// Output:
	// waiting
	// measuring
	// a.jpg false the file is cut short
}
